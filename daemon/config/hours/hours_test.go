package hours

import (
	"testing"
	"time"
)

func TestHours(t *testing.T) {
	denver, err := time.LoadLocation("America/Denver")
	if err != nil {
		t.Fatal(err)
	}
	night := Hours{{22 * 60, 6 * 60}}
	small := Hours{{90, 150}} // 01:30-02:30
	at := func(s string) time.Time {
		v, err := time.Parse(time.RFC3339, s)
		if err != nil {
			t.Fatal(err)
		}
		return v.In(denver)
	}
	for _, c := range []struct {
		name string
		h    Hours
		now  string
		open bool
		next string
	}{
		{"before midnight", night, "2026-07-01T23:00:00-06:00", true, "2026-07-02T06:00:00-06:00"},
		{"after midnight", night, "2026-07-02T05:59:59-06:00", true, "2026-07-02T06:00:00-06:00"},
		{"in the morning", night, "2026-07-02T06:00:00-06:00", false, "2026-07-02T22:00:00-06:00"},
		// Set forward at 02:00 on March 8, 2026: an hour less.
		{"set forward", night, "2026-03-07T22:00:00-07:00", true, "2026-03-08T06:00:00-06:00"},
		{"its hour is cut short", small, "2026-03-08T01:45:00-07:00", true, "2026-03-08T03:00:00-06:00"},
		// Set back at 02:00 on November 1, 2026: an hour more.
		{"set back", night, "2026-10-31T22:00:00-06:00", true, "2026-11-01T06:00:00-07:00"},
		{"the first half past one", small, "2026-11-01T01:30:00-06:00", true, "2026-11-01T01:00:00-07:00"},
		{"between", small, "2026-11-01T01:10:00-07:00", false, "2026-11-01T01:30:00-07:00"},
		{"the second", small, "2026-11-01T01:30:00-07:00", true, "2026-11-01T02:30:00-07:00"},
		{"leap day", night, "2028-02-28T23:59:00-07:00", true, "2028-02-29T06:00:00-07:00"},
	} {
		now := at(c.now)
		if got := c.h.Open(now); got != c.open {
			t.Errorf("%s: open %v", c.name, got)
		}
		if got := c.h.Next(now); !got.Equal(at(c.next)) {
			t.Errorf("%s: next change %v, want %s", c.name, got, c.next)
		}
	}
	if d := night.Daily(); d != 8*time.Hour {
		t.Errorf("a night is %v", d)
	}
	if !(Hours{}).Open(time.Now()) || !(Hours{}).Next(time.Now()).IsZero() {
		t.Error("without hours the link is not always open")
	}
}
