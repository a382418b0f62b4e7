package mirror

import (
	"slices"

	"linecamp/daemon/attention"
	"linecamp/daemon/mirror/report"
	"linecamp/manifest/tally"
)

// inquire puts a question into the report.
func (r *round) inquire(question string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if ask := report.Ask(question); !slices.Contains(r.report.Asks, ask) {
		r.report.Asks = append(r.report.Asks, ask)
	}
}

func (r *round) wait(kind attention.Kind, path, reason string, person bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.report.Waiting = append(r.report.Waiting, report.Waiting{Kind: kind, Path: tally.Logical(path), Raw: path, Reason: reason, Person: person})
}

func (r *round) heldUp(h report.HeldUp) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if !slices.Contains(r.report.HeldUp, h) {
		r.report.HeldUp = append(r.report.HeldUp, h)
	}
}

func (c *copyRun) expectBytes(n int64) { c.tell(0, n) }

func (c *copyRun) advance(n int64) { c.tell(n, 0) }

// tell counts bytes that are done, and bytes that are still to come, and says how
// far the copy is.
func (c *copyRun) tell(done, more int64) {
	c.mu.Lock()
	c.done, c.total = c.done+done, c.total+more
	done, total := c.done, c.total
	c.mu.Unlock()
	if c.r.Progress != nil {
		c.r.Progress(c.Name, done, max(total, done))
	}
}

// finish sets the last words of the report, copies in the config's order.
func (r *round) finish() report.Report {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.report.Copies = r.report.Copies[:0]
	for _, c := range r.copies {
		r.report.Copies = append(r.report.Copies, c.final(r.log))
	}
	r.report.Settle()
	return r.report
}
