package daemon

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/robfig/cron/v3"
)

// ErrSchedule marks a cron line linecamp does not understand.
var ErrSchedule = errors.New("not a five-field cron line such as 30 2 * * * (minute, hour, day, month, weekday)")

var fiveFields = cron.NewParser(cron.Minute | cron.Hour | cron.Dom | cron.Month | cron.Dow)

// timetable says when one kind of round is due: the five fields of POSIX
// crontab, in the machine's local time.
//
// The fields are matched against the clock on the wall, not against elapsed
// time, so that the change of the clocks in spring and autumn neither skips a
// nightly round (02:30 does not exist that night: it runs at 03:30) nor runs
// it twice (01:30 comes twice: the first one counts).
type timetable struct{ wall cron.Schedule }

func parseTimetable(line string) (timetable, error) {
	if len(strings.Fields(line)) != 5 || strings.Contains(line, "=") {
		return timetable{}, fmt.Errorf("%q: %w", line, ErrSchedule)
	}
	s, err := fiveFields.Parse(line)
	if err != nil {
		return timetable{}, fmt.Errorf("%q: %w: %w", line, ErrSchedule, err)
	}
	return timetable{s}, nil
}

// next returns the first time after t at which the round is due, in t's
// location, or zero if that day never comes (30 February). A timetable never
// set is never due.
func (tt timetable) next(t time.Time) time.Time {
	if tt.wall == nil {
		return time.Time{}
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

// onClock returns the moment a clock in loc shows what wall shows; where it
// jumps over that time, the moment as far after the jump.
func onClock(wall time.Time, loc *time.Location) time.Time {
	y, m, d := wall.Date()
	at := time.Date(y, m, d, wall.Hour(), wall.Minute(), wall.Second(), 0, loc)
	if at.Hour() == wall.Hour() && at.Minute() == wall.Minute() {
		// Of two such moments take the earlier.
		if _, now := at.Zone(); true {
			_, before := at.Add(-3 * time.Hour).Zone()
			if gap := time.Duration(before-now) * time.Second; gap > 0 {
				if e := at.Add(-gap); e.Hour() == at.Hour() && e.Minute() == at.Minute() && e.Day() == at.Day() {
					return e
				}
			}
		}
		return at
	}
	// The time does not exist. time.Date may have used the offset of either
	// side; with the one before the jump, 02:30 becomes 03:30.
	_, before := at.Add(-12 * time.Hour).Zone()
	return time.Date(y, m, d, wall.Hour(), wall.Minute(), wall.Second(), 0, time.FixedZone("", before)).In(loc)
}

// due returns when a round is due that last began at last (zero for never):
// at its next time after that. A time already past means the round was missed,
// because the machine was off or the round before it was still running, and is
// due now. A round that never ran counts as missed.
func (tt timetable) due(last, now time.Time) time.Time {
	if tt.wall == nil {
		return time.Time{}
	}
	if last.IsZero() || last.After(now) { // a clock set back must not stop the rounds
		if last.IsZero() {
			return now
		}
		return tt.next(now)
	}
	at := tt.next(last.In(now.Location()))
	if !at.IsZero() && at.Before(now) {
		return now
	}
	return at
}
