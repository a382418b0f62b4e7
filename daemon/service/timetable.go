package service

import (
	"hash/fnv"
	"time"

	"github.com/robfig/cron/v3"

	"linecamp/daemon/config"
)

// Timetable says when one kind of round is due: the five fields of POSIX
// crontab, in the machine's local time.
//
// The fields are matched against the clock on the wall, not against elapsed
// time, so that the change of the clocks in spring and autumn neither skips a
// nightly round (02:30 does not exist that night: it runs at 03:30) nor runs
// it twice (01:30 comes twice: the first one counts).
type Timetable struct {
	wall  cron.Schedule
	after time.Duration // how much later this archive's rounds begin; see spread
}

func parseTimetable(line string) (Timetable, error) {
	if line == "" {
		return Timetable{}, nil
	}
	s, err := config.Cron(line)
	return Timetable{wall: s}, err
}

// IsSet reports whether there is such a round at all.
func (tt Timetable) IsSet() bool { return tt.wall != nil }

// next returns the first time after t at which the round is due, in t's
// location, or zero if that day never comes (30 February). A Timetable never
// set is never due.
func (tt Timetable) next(t time.Time) time.Time {
	if tt.wall == nil {
		return time.Time{}
	}
	if tt.after > 0 {
		return tt.nextSpread(t)
	}
	// The same hands of the clock, in a zone whose clocks never change.
	wall := time.Date(t.Year(), t.Month(), t.Day(), t.Hour(), t.Minute(), t.Second(), 0, time.UTC)
	for {
		wall = tt.wall.Next(wall)
		if wall.IsZero() {
			return time.Time{}
		}
		due := onClock(wall, t.Location())
		// In the hour that comes twice, the wall clock runs behind: go on until
		// the time is truly ahead.
		if due.After(t) {
			return due
		}
	}
}

// The rounds of several archives are spread over this time from that of the
// settings on, or less where there are few; as many as can run at once all begin then.
const (
	spreadOver = 3 * time.Hour
	spreadEach = time.Minute
	together   = 8
)

// spread is the Timetable of one of so many archives: the settings' time is the
// earliest, and each begins so much later, the same every time.
func (tt Timetable) spread(name string, among int) Timetable {
	over := min(spreadOver, time.Duration(among-together)*spreadEach)
	if over <= 0 {
		return tt
	}
	h := fnv.New64a()
	h.Write([]byte(name))
	tt.after = time.Duration(h.Sum64()>>1) % over
	return tt
}

// nextSpread is next where the rounds begin later than the settings say, though
// by no more than half the time to the one that follows.
func (tt Timetable) nextSpread(t time.Time) time.Time {
	plain := Timetable{wall: tt.wall}
	for due := plain.next(t.Add(-tt.after)); ; {
		following := plain.next(due)
		if due.IsZero() || following.IsZero() {
			return due
		}
		if at := due.Add(min(tt.after, following.Sub(due)/2)); at.After(t) {
			return at
		}
		due = following
	}
}

// onClock returns the moment a clock in loc shows what wall shows: the first
// of two where the hour comes twice, and as far after the jump where it is
// jumped over.
func onClock(wall time.Time, loc *time.Location) time.Time {
	_, before := wall.Add(-36 * time.Hour).In(loc).Zone()
	_, after := wall.Add(36 * time.Hour).In(loc).Zone()
	first := wall.Add(-time.Duration(before) * time.Second).In(loc)
	second := wall.Add(-time.Duration(after) * time.Second).In(loc)
	shows := func(t time.Time) bool { return t.Format(time.DateTime) == wall.Format(time.DateTime) }
	if !shows(first) && shows(second) {
		return second
	}
	return first
}

// due returns when a round is due that last began at last (zero for never):
// at its next time after that. A time already past means the round was missed,
// because the machine was off or the round before it was still running, and is
// due now. A round that never ran counts as missed.
func (tt Timetable) due(last, now time.Time) time.Time {
	if tt.wall == nil {
		return time.Time{}
	}
	if last.IsZero() {
		return now
	}
	if last.After(now) { // a clock that was set back must not stop the rounds
		return tt.next(now)
	}
	at := tt.next(last.In(now.Location()))
	if !at.IsZero() && at.Before(now) {
		return now
	}
	return at
}
