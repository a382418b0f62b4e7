package daemon

import (
	"slices"

	"linecamp/daemon/attention"
	"linecamp/daemon/event"
	"linecamp/daemon/mirror/report"
)

// ended is what a round's end tells of its report.
func (r MirrorReport) ended() event.RoundEnded {
	e := event.RoundEnded{Made: r.Made, Copies: []event.Copy{}, Attention: r.Attention}
	for _, c := range r.Copies {
		e.Copies = append(e.Copies, event.Copy{Copy: c.Copy, State: c.State, Versions: c.Versions, Files: c.Files, Bytes: c.Bytes, Error: c.Error})
	}
	return e
}

func (r VerifyReport) ended() event.RoundEnded {
	e := event.RoundEnded{Copies: []event.Copy{}, Attention: r.Attention}
	for _, c := range r.Copies {
		e.Copies = append(e.Copies, event.Copy{Copy: c.Copy, Files: c.ReadBack.Files, Bytes: c.ReadBack.Bytes, Damaged: len(c.Damage), Error: c.Error})
	}
	return e
}

func mendEnded(r MendReport) event.RoundEnded {
	e := event.RoundEnded{Copies: []event.Copy{}}
	of := func(name string) *event.Copy {
		i := slices.IndexFunc(e.Copies, func(c event.Copy) bool { return c.Copy == name })
		if i < 0 {
			i, e.Copies = len(e.Copies), append(e.Copies, event.Copy{Copy: name})
		}
		return &e.Copies[i]
	}
	for _, m := range r.Mended {
		of(m.Copy).Files++
	}
	for _, u := range r.Unmended {
		of(u.Copy).Damaged++
	}
	for _, u := range r.Unreached {
		of(u.Copy).Error = u.Reason
	}
	return e
}

// tellWaits tells what a mirror round saw and did not record, once for each reason. That
// another computer records is told as attention when it arises.
func (a *Archive) tellWaits(all []report.Waiting) {
	var by []event.Waits
	for _, w := range all {
		if w.Kind == attention.OtherRecorder && w.Path == "" {
			continue
		}
		i := slices.IndexFunc(by, func(x event.Waits) bool { return x.Reason == w.Reason && x.Person == w.Person })
		if i < 0 {
			i, by = len(by), append(by, event.Waits{Reason: w.Reason, Person: w.Person, Path: w.Path})
		}
		if w.Path != "" {
			by[i].Files++
		}
	}
	for _, w := range by {
		a.Events.Tell(w)
	}
}
