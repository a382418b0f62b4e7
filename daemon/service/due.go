package service

import (
	"fmt"
	"time"

	"linecamp/daemon/config"
)

// The kinds of rounds that have a schedule, as the ledger records them. A
// verify round checks, and then mends on the copies what it found; a drill round
// practices a recovery from each copy.
const (
	Mirror = "mirror"
	Verify = "verify"
	Drill  = "drill"
)

// Kinds are all of them, in the order of reports.
var Kinds = []string{Mirror, Verify, Drill}

// Timetables reads the schedule of an archive, which is one of so many that this
// machine serves.
func Timetables(cfg config.Archive, among int) (map[string]Timetable, error) {
	tables := map[string]Timetable{}
	for kind, line := range map[string]string{Mirror: cfg.Schedule.Mirror, Verify: cfg.Schedule.Verify, Drill: cfg.Schedule.Drill} {
		tt, err := parseTimetable(line)
		if err != nil {
			return nil, fmt.Errorf("schedule %s: %w", kind, err)
		}
		tables[kind] = tt.spread(cfg.Name, among)
	}
	return tables, nil
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

// First is when a round is due for the first time that is waited for since a time;
// zero for never.
func (tt Timetable) First(since time.Time) time.Time { return tt.next(since.Local()) }
