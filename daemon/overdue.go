package daemon

import (
	"time"

	"linecamp/daemon/attention"
	"linecamp/daemon/ledger"
)

// How long after its time a round is waited for before that is a fault: half the
// time between two rounds, within these bounds. A machine that sleeps at night
// or a slow copy makes rounds late, and that is as it should be.
const (
	leastSlack = time.Hour
	mostSlack  = 24 * time.Hour
)

// overdue returns when a round should have run that did not; zero where none is
// late. last is when one last began that came to an end.
func (tt timetable) overdue(last, now time.Time) time.Time {
	if tt.wall == nil || last.IsZero() || last.After(now) {
		return time.Time{}
	}
	due := tt.next(last.In(now.Location()))
	if due.IsZero() {
		return time.Time{}
	}
	slack := leastSlack
	if then := tt.next(due); !then.IsZero() {
		slack = min(mostSlack, max(leastSlack, then.Sub(due)/2))
	}
	if now.After(due.Add(slack)) {
		return due
	}
	return time.Time{}
}

// roundFacts is how the rounds of each kind stand. The first round of a kind is
// waited for from the first round of any kind on. One of kind at is coming to its
// end just now.
func (a *Archive) roundFacts(now time.Time, at string) ([]attention.Round, error) {
	tables, err := timetables(a.cfg, a.among)
	if err != nil {
		return nil, err
	}
	first, err := a.ledger.FirstRound()
	if err != nil {
		return nil, err
	}
	var all []attention.Round
	for _, kind := range []string{roundMirror, roundVerify} {
		last, _, err := a.ledger.LastRound(kind)
		if err != nil {
			return nil, err
		}
		done, err := a.ledger.LastDone(kind, outcomeWell, outcomeWants, outcomeStopped)
		if err != nil {
			return nil, err
		}
		if kind == at {
			if !last.Ended.IsZero() || last.Began.IsZero() { // it is none that is noted
				last.Began = now
			}
			last = ledger.Round{Began: last.Began, Ended: now}
			done = last.Began
		}
		f := attention.Round{Kind: kind, At: last.Began, Done: done, Scheduled: tables[kind].wall != nil, Service: a.service().String()}
		if last.Outcome == outcomeFailed {
			f.Failed = last.Detail
		}
		since := done
		if since.IsZero() {
			since = first
		}
		if last.Ended.IsZero() && now.Sub(last.Began) < mostSlack { // under way
			since = last.Began
		}
		f.Overdue = tables[kind].overdue(since, now)
		all = append(all, f)
	}
	return all, nil
}
