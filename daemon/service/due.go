package service

import (
	"fmt"
	"time"

	"linecamp/daemon/config"
)

// The kinds of rounds that have a schedule, as the ledger records them. A
// verify round checks, and then mends on the copies what it found.
const (
	Mirror = "mirror"
	Verify = "verify"
)

// Kinds are both, in the order of reports.
var Kinds = []string{Mirror, Verify}

// Timetables reads the schedule of an archive, which is one of so many that this
// machine serves.
func Timetables(cfg config.Archive, among int) (map[string]Timetable, error) {
	mirror, err := parseTimetable(cfg.Schedule.Mirror)
	if err != nil {
		return nil, fmt.Errorf("schedule mirror: %w", err)
	}
	verify, err := parseTimetable(cfg.Schedule.Verify)
	if err != nil {
		return nil, fmt.Errorf("schedule verify: %w", err)
	}
	return map[string]Timetable{Mirror: mirror.spread(cfg.Name, among), Verify: verify.spread(cfg.Name, among)}, nil
}

// NextRound is when a round is due.
type NextRound struct {
	Round string    `json:"round"`
	At    time.Time `json:"at"`
}

// NextRounds lists when each kind of round is due next, mirror first.
func NextRounds(tables map[string]Timetable, last func(kind string) (began time.Time, ended bool, err error), now time.Time) []NextRound {
	next := []NextRound{}
	for _, kind := range Kinds {
		began, _, err := last(kind)
		if err != nil {
			began = time.Time{}
		}
		if at := tables[kind].due(began, now); !at.IsZero() {
			next = append(next, NextRound{Round: kind, At: at.UTC().Truncate(time.Second)})
		}
	}
	return next
}

// How long after its time a round is waited for before that is a fault: half the
// time between two rounds, within these bounds. A machine that sleeps at night
// or a slow copy makes rounds late, and that is as it should be.
const (
	leastSlack = time.Hour
	mostSlack  = 24 * time.Hour
)

// Overdue returns when a round should have run that did not; zero where none is
// late. last is when one last began that came to an end.
func (tt Timetable) Overdue(last, now time.Time) time.Time {
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
