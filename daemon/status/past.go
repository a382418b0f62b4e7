package status

import (
	"fmt"
	"time"

	"linecamp/daemon/archive"
	"linecamp/daemon/drill"
	"linecamp/daemon/link"
	"linecamp/daemon/reach"
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
func pastAndNext(a *archive.Archive, now time.Time) (past []PastRound, next []service.NextRound, err error) {
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
	next = service.NextRounds(tables, func(kind string) (time.Time, bool, error) { return drill.LastRound(a, kind) }, now)
	opens := Opens(a)
	for i, n := range next {
		if n.Round == service.Mirror && !opens.IsZero() && opens.Before(n.At) {
			next[i].At = later(opens, now).UTC().Truncate(time.Second)
		}
	}
	return past, next, nil
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

// Opens is when the first link opens that kept something back in the last mirror round: the
// service runs another one then. Zero for none. Where nothing is left of an allowance, the
// hours change nothing.
func Opens(a *archive.Archive) (at time.Time) {
	began, _, err := drill.LastRound(a, service.Mirror)
	if err != nil || began.IsZero() {
		return at
	}
	for _, c := range a.Config.Copies {
		seen, err := a.Ledger.Seen(c.ID)
		if err != nil || seen.State != reach.Behind || seen.Error != "" {
			continue
		}
		way := link.Of(c, a.Ledger, a.Now)
		if opens := way.Opens(began); !opens.IsZero() && (at.IsZero() || opens.Before(at)) {
			if left, err := way.Left(); err == nil && left > 0 {
				at = opens
			}
		}
	}
	return at
}
