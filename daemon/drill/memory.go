package drill

import (
	"fmt"
	"time"

	"linecamp/daemon/archive"
	"linecamp/daemon/service"
)

// Memory is what is remembered of the drills of one copy.
type Memory struct {
	Success time.Time `json:"success"` // when one last passed; zero for never
	// Tried is when the last one did not pass, with the step and the reason; zero
	// where none did since the last that passed.
	Tried   time.Time `json:"tried"`
	Step    Step      `json:"step"`
	Failure string    `json:"failure"`
	Damaged bool      `json:"damaged"` // the copy did not have the right bytes
	// Since is when drills of this copy began to be waited for.
	Since time.Time `json:"since"`
}

func key(copyID string) string { return "drill of " + copyID }

// MemoryOf is what is remembered of a copy, by its id. The first look begins it.
func MemoryOf(a *archive.Archive, copyID string) (m Memory, err error) {
	if err := a.Recall(key(copyID), &m); err != nil {
		return m, fmt.Errorf("the ledger: %w", err)
	}
	if m.Since.IsZero() {
		m.Since = a.Now().UTC()
		err = a.Remember(key(copyID), m)
	}
	return m, err
}

// remember takes a drill in. One that tried nothing is none.
func remember(a *archive.Archive, copyID string, c Copy) error {
	if c.Untried != "" {
		return nil
	}
	m, err := MemoryOf(a, copyID)
	if err != nil {
		return err
	}
	now := a.Now().UTC().Truncate(time.Second)
	if c.Passed {
		m = Memory{Success: now, Since: m.Since}
	} else {
		m.Tried, m.Step, m.Failure, m.Damaged = now, c.Step, c.Error, c.Step == Fetching && c.Differs()
	}
	return a.Remember(key(copyID), m)
}

// Most is how long a copy may go without a drill that passed.
const Most = 100 * 24 * time.Hour

// Lack says since when a copy has gone without a drill that passed, where that is
// too long; zero where it is not. first is when the first drill was due.
func (m Memory) Lack(first, now time.Time) time.Time {
	if from := m.LacksFrom(first); !from.IsZero() && now.After(from) {
		return from.Add(-Most)
	}
	return time.Time{}
}

// LacksFrom says after which moment that will be so, if none passes; zero for never.
func (m Memory) LacksFrom(first time.Time) time.Time {
	since := m.Success
	if since.IsZero() {
		since = first
	}
	if since.IsZero() {
		return since
	}
	return since.Add(Most)
}

// LastRound is archive's, where the first drill is waited for like one that follows
// another: a machine that begins to keep an archive does not begin with a drill.
func LastRound(a *archive.Archive, kind string) (began time.Time, ended bool, err error) {
	began, ended, err = a.LastRound(kind)
	if err != nil || kind != service.Drill || !began.IsZero() {
		return began, ended, err
	}
	for _, c := range a.Config.Copies {
		m, err := MemoryOf(a, c.ID)
		if err != nil {
			return time.Time{}, true, err
		}
		if began.IsZero() || m.Since.Before(began) {
			began = m.Since
		}
	}
	return began, true, nil
}
