package status

import (
	"time"

	"linecamp/daemon/archive"

	"linecamp/daemon/attention"
	"linecamp/daemon/event"
	"linecamp/daemon/ledger"
	"linecamp/daemon/service"
)

// roundFacts is how the rounds of each kind stand. The first round of a kind is
// waited for from the first round of any kind on. One of kind at is coming to its
// end just now.
func roundFacts(a *archive.Archive, now time.Time, at string) ([]attention.Round, error) {
	tables, err := service.Timetables(a.Config, a.Among)
	if err != nil {
		return nil, err
	}
	first, err := a.Ledger.FirstRound()
	if err != nil {
		return nil, err
	}
	var all []attention.Round
	for _, kind := range service.Kinds {
		last, _, err := a.Ledger.LastRound(kind)
		if err != nil {
			return nil, err
		}
		done, err := a.Ledger.LastDone(kind, event.Well, event.Wants, event.Stopped)
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
		f := attention.Round{Kind: kind, At: last.Began, Done: done, Scheduled: tables[kind].IsSet(), Service: service.StateOf(a.Dir, now).String()}
		if last.Outcome == event.Failed {
			f.Failed = last.Detail
		}
		since := done
		if since.IsZero() {
			since = first
		}
		if last.Ended.IsZero() && now.Sub(last.Began) < 24*time.Hour { // under way
			since = last.Began
		}
		if kind != service.Drill { // what a copy lacks of drills is told of the copy
			f.Overdue = tables[kind].Overdue(since, now)
		}
		all = append(all, f)
	}
	return all, nil
}
