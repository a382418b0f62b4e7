package config

import (
	"testing"
	"time"
)

func TestParseAway(t *testing.T) {
	for text, want := range map[string]time.Duration{
		"14d": 14 * 24 * time.Hour, "36h": 36 * time.Hour, "2w": 14 * 24 * time.Hour, "0": 0, "0d": 0, "3660d": 3660 * 24 * time.Hour,
	} {
		if got, err := ParseAway(text); err != nil || got != want {
			t.Errorf("%q: got %v, %v; want %v", text, got, err, want)
		}
	}
	for _, text := range []string{"", "d", "14", "14 d", "-1d", "+1d", "1.5d", "14m", "14days", "1d12h", "3661d", "99999999999999999999w"} {
		if got, err := ParseAway(text); err == nil {
			t.Errorf("%q: got %v, want an error", text, got)
		}
	}
}

func TestParseAllowance(t *testing.T) {
	for text, want := range map[string]Allowance{
		"2GB/month":          {Bytes: 2_000_000_000, Per: "month"},
		"2 GiB / week":       {Bytes: 2 << 30, Per: "week"},
		"1.5MB/day":          {Bytes: 1_500_000, Per: "day"},
		"500kb/Day":          {Bytes: 500_000, Per: "day"},
		"0.0000000001TB/day": {Bytes: 100, Per: "day"},
		"7B/day":             {Bytes: 7, Per: "day"},
		"0":                  {},
		"0GB/month":          {},
		"unlimited":          {Bytes: Unlimited},
	} {
		want.Text = text
		if got, err := ParseAllowance(text); err != nil || got != want {
			t.Errorf("%q: got %+v, %v; want %+v", text, got, err, want)
		}
	}
	for _, text := range []string{"", "2GB", "2/month", "2GB/year", "GB/month", "-2GB/month", "2XB/month", "1e9B/month", "infB/month", "0x2B/day", "2..0GB/day", "9999999999TB/day", "none"} {
		if got, err := ParseAllowance(text); err == nil {
			t.Errorf("%q: got %+v, want an error", text, got)
		}
	}
}

func TestWindowsBeginAtLocalMidnight(t *testing.T) {
	zone := time.FixedZone("here", -7*3600)
	// 1 July 2026 is a Wednesday (ISO 8601 calendar).
	now := time.Date(2026, 7, 1, 23, 30, 0, 0, zone)
	for per, want := range map[string]time.Time{
		"day":   time.Date(2026, 7, 1, 0, 0, 0, 0, zone),
		"week":  time.Date(2026, 6, 29, 0, 0, 0, 0, zone),
		"month": time.Date(2026, 7, 1, 0, 0, 0, 0, zone),
		"":      {},
	} {
		if got := (Allowance{Per: per}).Since(now); !got.Equal(want) {
			t.Errorf("%q: got %v, want %v", per, got, want)
		}
	}
	sunday := time.Date(2026, 7, 5, 0, 0, 0, 0, zone)
	if got, want := (Allowance{Per: "week"}).Since(sunday), time.Date(2026, 6, 29, 0, 0, 0, 0, zone); !got.Equal(want) {
		t.Errorf("a Sunday: got %v, want %v", got, want)
	}
}

// POSIX.1-2017, crontab: five fields; where both day fields are restricted,
// either one matching is enough ("0 0 1,15 * 1" is its own example: the first
// and fifteenth of each month, as well as every Monday).
func TestCronAsInPOSIX(t *testing.T) {
	start := time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC) // a Monday
	for line, want := range map[string][]string{
		"0 0 1,15 * 1":  {"2026-06-08 00:00", "2026-06-15 00:00", "2026-06-22 00:00", "2026-06-29 00:00", "2026-07-01 00:00"},
		"30 2 * * *":    {"2026-06-01 02:30", "2026-06-02 02:30"},
		"0 4 * * 0":     {"2026-06-07 04:00", "2026-06-14 04:00"},
		"0\t12\t4 7\t*": {"2026-07-04 12:00", "2027-07-04 12:00"},
		"0 0 29 2 *":    {"2028-02-29 00:00"},
	} {
		s, err := Cron(line)
		if err != nil {
			t.Errorf("%q: %v", line, err)
			continue
		}
		at := start
		for _, w := range want {
			if at = s.Next(at); at.Format("2006-01-02 15:04") != w {
				t.Errorf("%q: got %s, want %s", line, at.Format("2006-01-02 15:04"), w)
				break
			}
		}
	}
}
