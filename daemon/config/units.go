package config

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/robfig/cron/v3"
)

// ParseAway reads how long a drive may be unplugged: a whole number of hours,
// days (of 24 hours) or weeks, "36h", "14d", "2w", at most ten years. "0" is
// not at all.
func ParseAway(s string) (time.Duration, error) {
	wrong := errors.New("this is not a length of time; write a whole number of hours, days or weeks, such as \"36h\", \"14d\" or \"2w\"")
	if s == "0" {
		return 0, nil
	}
	units := map[byte]time.Duration{'h': time.Hour, 'd': 24 * time.Hour, 'w': 7 * 24 * time.Hour}
	if len(s) < 2 || strings.Trim(s[:len(s)-1], "0123456789") != "" {
		return 0, wrong
	}
	unit, ok := units[s[len(s)-1]]
	if !ok {
		return 0, wrong
	}
	const most = 10 * 366 * 24 * time.Hour
	n, err := strconv.ParseInt(s[:len(s)-1], 10, 64)
	if err != nil || n > int64(most/unit) {
		return 0, errors.New("this is longer than ten years; write a shorter time, such as \"14d\"")
	}
	return time.Duration(n) * unit, nil
}

// sizes are the units of IEC 80000-13: decimal, and binary with an i.
var sizes = map[string]float64{
	"b": 1, "kb": 1e3, "mb": 1e6, "gb": 1e9, "tb": 1e12,
	"kib": 1 << 10, "mib": 1 << 20, "gib": 1 << 30, "tib": 1 << 40,
}

// ParseAllowance reads how much may be downloaded: "2GB/month", "500 MiB/week",
// "0" for nothing, "unlimited". A window begins at local midnight of the day,
// of the week's Monday or of the month's first.
func ParseAllowance(s string) (Allowance, error) {
	switch s {
	case "0":
		return Allowance{Text: s}, nil
	case "unlimited":
		return Allowance{Bytes: Unlimited, Text: s}, nil
	}
	amount, per, ok := strings.Cut(s, "/")
	per = strings.ToLower(strings.TrimSpace(per))
	if !ok || (per != "day" && per != "week" && per != "month") {
		return Allowance{}, errors.New("this does not say how much in which time; write for instance \"2GB/month\", \"500MB/week\" or \"100MB/day\", \"0\" for nothing, or \"unlimited\"")
	}
	bytes, err := ParseSize(amount)
	if err != nil {
		return Allowance{}, errors.New(strings.NewReplacer("2 GB", "2GB/month", "1.5 GiB", "1.5GiB/week").Replace(err.Error()))
	}
	a := Allowance{Bytes: bytes, Per: per, Text: s}
	if a.Bytes == 0 {
		a.Per = ""
	}
	return a, nil
}

// ParseSize reads a size: "2GB", "500 MiB".
func ParseSize(amount string) (int64, error) {
	amount = strings.TrimSpace(amount)
	digits := strings.TrimRight(amount, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ")
	unit, ok := sizes[strings.ToLower(amount[len(digits):])]
	if !ok {
		return 0, errors.New("this size has no unit linecamp knows; write B, kB, MB, GB or TB, or KiB, MiB, GiB or TiB, as in \"2 GB\"")
	}
	n, err := strconv.ParseFloat(strings.TrimSpace(digits), 64)
	if err != nil || strings.Trim(strings.TrimSpace(digits), "0123456789.") != "" {
		return 0, errors.New("this size is not a number with a unit; write for instance \"2 GB\" or \"1.5 GiB\"")
	}
	bytes := math.Round(n * unit)
	if bytes > 1<<60 {
		return 0, errors.New("this size is larger than any archive; write a smaller one")
	}
	return int64(bytes), nil
}

// Since returns when the window that now lies in began, in now's time zone:
// local midnight of the day, of the week's Monday or of the month's first. It
// is the zero time for an allowance without a period.
func (a Allowance) Since(now time.Time) time.Time {
	y, m, d := now.Date()
	switch a.Per {
	case "day":
	case "week":
		d -= (int(now.Weekday()) + 6) % 7
	case "month":
		d = 1
	default:
		return time.Time{}
	}
	return time.Date(y, m, d, 0, 0, 0, 0, now.Location())
}

// Cron reads a five-field crontab line as POSIX describes it (minute, hour, day
// of the month, month, day of the week); names of months and days, and steps
// such as */15, are understood too. Times are local.
func Cron(line string) (cron.Schedule, error) {
	const form = "write five fields: minute, hour, day of the month, month, day of the week; \"30 2 * * *\" is every night at half past two"
	if n := len(strings.Fields(line)); n != 5 || strings.ContainsAny(line, "@=") {
		return nil, fmt.Errorf("this is not a time for a round; %s", form)
	}
	s, err := cron.ParseStandard(line)
	if err != nil {
		return nil, fmt.Errorf("this is not a time for a round (%w); %s", err, form)
	}
	// The first of a leap year: whatever comes in four years comes after it.
	if s.Next(time.Date(2024, 1, 1, 0, 0, 0, 0, time.UTC)).IsZero() {
		return nil, errors.New("this day never comes, so the round would never run; correct the day or the month")
	}
	return s, nil
}

// Until returns when the window that now lies in ends.
func (a Allowance) Until(now time.Time) time.Time {
	switch from := a.Since(now); a.Per {
	case "day":
		return from.AddDate(0, 0, 1)
	case "week":
		return from.AddDate(0, 0, 7)
	case "month":
		return from.AddDate(0, 1, 0)
	default:
		return time.Time{}
	}
}
