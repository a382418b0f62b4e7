package service

import (
	"testing"
	"time"

	"github.com/robfig/cron/v3"
)

func zone(t *testing.T, name string) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation(name)
	if err != nil {
		t.Skipf("no time zone data here: %v", err)
	}
	return loc
}

func table(t *testing.T, line string) Timetable {
	t.Helper()
	s, err := cron.ParseStandard(line)
	if err != nil {
		t.Fatal(err)
	}
	return Timetable{wall: s}
}

func TestNext(t *testing.T) {
	const form = "2006-01-02 15:04 MST"
	// The clocks of America/Denver and Europe/London changed on these days
	// (IANA time zone database): Denver 2026-03-08 02:00 to 03:00 and
	// 2026-11-01 02:00 to 01:00; London 2026-03-29 01:00 to 02:00.
	for _, c := range []struct{ name, zone, line, after, want string }{
		{"the same night", "America/Denver", "30 2 * * *", "2026-06-01 01:00 MDT", "2026-06-01 02:30 MDT"},
		{"not again in its own minute", "America/Denver", "30 2 * * *", "2026-06-01 02:30 MDT", "2026-06-02 02:30 MDT"},
		{"02:30 does not exist", "America/Denver", "30 2 * * *", "2026-03-07 12:00 MST", "2026-03-08 03:30 MDT"},
		{"after it ran at 03:30", "America/Denver", "30 2 * * *", "2026-03-08 03:30 MDT", "2026-03-09 02:30 MDT"},
		{"01:30 comes twice: the first", "America/Denver", "30 1 * * *", "2026-10-31 12:00 MDT", "2026-11-01 01:30 MDT"},
		{"01:30 comes twice: not the second", "America/Denver", "30 1 * * *", "2026-11-01 01:30 MDT", "2026-11-02 01:30 MST"},
		{"within the second 01 hour", "America/Denver", "*/15 * * * *", "2026-11-01 01:20 MST", "2026-11-01 02:00 MST"},
		{"every hour across the jump", "America/Denver", "0 * * * *", "2026-03-08 01:00 MST", "2026-03-08 03:00 MDT"},
		{"01:30 does not exist", "Europe/London", "30 1 * * *", "2026-03-28 12:00 GMT", "2026-03-29 02:30 BST"},
		{"weekly", "America/Denver", "0 4 * * 0", "2026-06-03 01:00 MDT", "2026-06-07 04:00 MDT"},
		// POSIX crontab: where both day fields are restricted, either matches.
		{"day or weekday", "America/Denver", "0 4 15 * 1", "2026-06-09 01:00 MDT", "2026-06-15 04:00 MDT"},
		{"day or weekday, the day", "America/Denver", "0 4 10 * 1", "2026-06-09 01:00 MDT", "2026-06-10 04:00 MDT"},
		{"29 February", "America/Denver", "0 0 29 2 *", "2026-06-01 01:00 MDT", "2028-02-29 00:00 MST"},
	} {
		t.Run(c.name, func(t *testing.T) {
			loc := zone(t, c.zone)
			after, err := time.ParseInLocation(form, c.after, loc)
			if err != nil {
				t.Fatal(err)
			}
			if got := table(t, c.line).next(after).Format(form); got != c.want {
				t.Errorf("next of %s after %s is %s, want %s", c.line, c.after, got, c.want)
			}
		})
	}
	if got := table(t, "0 0 30 2 *").next(time.Now()); !got.IsZero() {
		t.Errorf("30 February is due at %v", got)
	}
}

func TestDue(t *testing.T) {
	night := table(t, "30 2 * * *")
	at := func(day, hour, min int) time.Time { return time.Date(2026, 6, day, hour, min, 0, 0, time.UTC) }
	for _, c := range []struct {
		name            string
		last, now, want time.Time
	}{
		{"never ran", time.Time{}, at(5, 12, 0), at(5, 12, 0)},
		{"ran last night", at(5, 2, 30), at(5, 12, 0), at(6, 2, 30)},
		{"machine was off last night", at(4, 2, 30), at(5, 12, 0), at(5, 12, 0)},
		{"machine was off for a week", at(1, 2, 30), at(8, 12, 0), at(8, 12, 0)},
		{"a person ran it at noon", at(4, 12, 0), at(4, 13, 0), at(5, 2, 30)},
		{"the clock was set back", at(20, 2, 30), at(5, 12, 0), at(6, 2, 30)},
		{"due this instant", at(4, 2, 30), at(5, 2, 30), at(5, 2, 30)},
	} {
		if got := night.due(c.last, c.now); !got.Equal(c.want) {
			t.Errorf("%s: due %v, want %v", c.name, got, c.want)
		}
	}
	if got := (Timetable{}).due(time.Time{}, at(1, 0, 0)); !got.IsZero() {
		t.Errorf("without a schedule: due %v", got)
	}
}
