package status

import (
	"fmt"
	"time"

	"linecamp/daemon/archive"
	"linecamp/daemon/drill"
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
	return past, service.NextRounds(tables, func(kind string) (time.Time, bool, error) { return drill.LastRound(a, kind) }, now), nil
}
