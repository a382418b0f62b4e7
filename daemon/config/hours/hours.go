// Package hours is the times of day at which a bucket's link may be used. [Parse] reads
// one stretch of a day; [Hours.Open] says whether it is a time now, and [Hours.Next] when
// that changes.
package hours

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"
)

// Hours are the times of day at which a bucket's link may be used, as a clock on
// the wall shows them: "22:00-06:00" goes over midnight. In the night in which the
// clock is set forward the hour that is left out is no hour of the day; in the one
// in which it is set back an hour that comes twice counts twice. None is at any time.
type Hours []Span

// Span is one stretch of a day in minutes since midnight; From is in it, To is not.
type Span struct{ From, To int }

const day = 24 * 60

// Parse reads one stretch, "22:00-06:00".
func Parse(s string) (Span, error) {
	wrong := errors.New("this is not a time of day from and to; write for instance \"22:00-06:00\"")
	from, to, ok := strings.Cut(s, "-")
	if !ok {
		return Span{}, wrong
	}
	a, aok := minute(from)
	b, bok := minute(to)
	switch {
	case !aok || !bok || a == day:
		return Span{}, wrong
	case a == b, a == 0 && b == day:
		return Span{}, errors.New("this is the whole day; to have no limit, take it out")
	}
	return Span{a, b}, nil
}

// minute reads "6:00" or "06:00"; "24:00" is the end of the day.
func minute(s string) (int, bool) {
	hour, min, ok := strings.Cut(strings.TrimSpace(s), ":")
	if !ok || len(hour) < 1 || len(hour) > 2 || len(min) != 2 || strings.Trim(hour+min, "0123456789") != "" {
		return 0, false
	}
	h, _ := strconv.Atoi(hour)
	m, _ := strconv.Atoi(min)
	return h*60 + m, m < 60 && (h < 24 || h == 24 && m == 0)
}

func (s Span) has(minute int) bool {
	if s.From < s.To {
		return s.From <= minute && minute < s.To
	}
	return minute >= s.From || minute < s.To
}

func (s Span) String() string {
	return fmt.Sprintf("%02d:%02d-%02d:%02d", s.From/60, s.From%60, s.To/60, s.To%60)
}

// Open reports whether now, in its own time zone, is one of the hours.
func (h Hours) Open(now time.Time) bool {
	if len(h) == 0 {
		return true
	}
	at := now.Hour()*60 + now.Minute()
	for _, s := range h {
		if s.has(at) {
			return true
		}
	}
	return false
}

// Next returns the first minute after now at which Open is another than it is at now.
// It is the zero time where that never comes.
func (h Hours) Next(now time.Time) time.Time {
	is := h.Open(now)
	at := now.Truncate(time.Minute) // zones are whole minutes from UTC today
	for range 9 * day {             // the clock of one night in a year leaves an hour out
		if at = at.Add(time.Minute); h.Open(at) != is {
			return at
		}
	}
	return time.Time{}
}

// Daily is how much of a usual day is among the hours.
func (h Hours) Daily() time.Duration {
	if len(h) == 0 {
		return 24 * time.Hour
	}
	n := 0
	for m := range day {
		for _, s := range h {
			if s.has(m) {
				n++
				break
			}
		}
	}
	return time.Duration(n) * time.Minute
}

// Nightly reports whether one of the stretches goes over midnight.
func (h Hours) Nightly() bool {
	for _, s := range h {
		if s.From > s.To {
			return true
		}
	}
	return false
}

func (h Hours) String() string {
	all := make([]string, len(h))
	for i, s := range h {
		all[i] = s.String()
	}
	return strings.Join(all, " and ")
}
