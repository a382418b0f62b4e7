package daemon

import (
	"fmt"
	"io"
	"strings"
	"time"

	"linecamp/daemon/event"
	"linecamp/daemon/service"
)

// PastRound is the newest round of a kind.
type PastRound struct {
	Round   string     `json:"round"`
	At      time.Time  `json:"at"`    // when it began
	Ended   *time.Time `json:"ended"` // null while it runs, or where it was broken off
	Outcome string     `json:"outcome"`
	Detail  string     `json:"detail,omitempty"`
}

// pastAndNext are the newest rounds, and when the next are due, mirror first.
func (a *Archive) pastAndNext(now time.Time) (past []PastRound, next []service.NextRound, err error) {
	tables, err := service.Timetables(a.Config, a.Among)
	if err != nil {
		return nil, nil, err
	}
	past = []PastRound{}
	for _, kind := range service.Kinds {
		last, ok, err := a.Ledger.LastRound(kind)
		if err != nil {
			return nil, nil, fmt.Errorf("the ledger: %w", err)
		}
		if ok {
			past = append(past, PastRound{Round: kind, At: last.Began.UTC().Truncate(time.Second), Ended: moment(last.Ended), Outcome: last.Outcome, Detail: last.Detail})
		}
	}
	return past, service.NextRounds(tables, scheduled{a}.Last, now), nil
}

// printRounds says when the last rounds ran, when the next are due, and whether
// anything runs them.
func (s Status) printRounds(w io.Writer) {
	if s.Unrecorded.Files > 0 && s.Service.Running {
		fmt.Fprintf(w, "%s in the working folder not recorded yet; the next round takes what is left alone for a minute.\n", s.Unrecorded)
	} else if s.Unrecorded.Files > 0 {
		fmt.Fprintf(w, "%s in the working folder not recorded yet.\n", s.Unrecorded)
	}
	var last []string
	for _, r := range s.Last {
		said := r.Round + " " + when(r.At)
		switch {
		case r.Outcome == event.Failed:
			said += " (failed)"
		case r.Outcome == event.Stopped:
			said += " (stopped before its end)"
		case r.Ended == nil:
			said += " (no end of it is known; it may be under way)"
		}
		last = append(last, said)
	}
	if len(last) == 0 {
		last = []string{"none yet"}
	}
	fmt.Fprintf(w, "Last rounds: %s.\n", strings.Join(last, "; "))
	fmt.Fprintln(w, s.Service)
	if len(s.Next) == 0 {
		return
	}
	var next []string
	for _, n := range s.Next {
		at := when(n.At)
		if !n.At.After(s.now) {
			at = "due now"
		}
		next = append(next, n.Round+" "+at)
	}
	lead := "Next rounds"
	if !s.Service.Running {
		lead = "A service would run next"
	}
	fmt.Fprintf(w, "%s: %s.\n", lead, strings.Join(next, "; "))
}
