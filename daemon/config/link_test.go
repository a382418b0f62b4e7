package config

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

const bucketWith = `archive = "saltbush-draw"
folder = "/srv/monitoring"

[[copy]]
name = "shelf-drive"
kind = "drive"
root = "/media/office/line-camp"
id = "3f6c0d52-8a31-4c1e-9d57-0b6a4f2e7c19"

[[copy]]
name = "bucket"
kind = "s3"
url = "https://s3.example.net/monitoring/saltbush-draw"
id = "b81e0d52-8a31-4c1e-9d57-0b6a4f2e7c19"
`

func readWith(t *testing.T, lines string) Archive {
	t.Helper()
	path := filepath.Join(t.TempDir(), "saltbush-draw.toml")
	if err := os.WriteFile(path, []byte(bucketWith+lines), 0o600); err != nil {
		t.Fatal(err)
	}
	all, faults := Load(path)
	if len(all) != 1 || len(faults) > 0 {
		t.Fatalf("read %d archives, faults %v", len(all), faults)
	}
	return all[0]
}

func TestLinkIsReadAndWrittenAgain(t *testing.T) {
	a := readWith(t, "hours = [\"22:00-06:00\", \"12:00-13:00\"]\nrate = \"1 Mbit/s\"\nallowance = \"20 GB/month\"\n")
	l := a.Copies[1].Link
	if l.Hours.String() != "22:00-06:00 and 12:00-13:00" || l.Rate.Bytes != 125_000 || l.Allowance.Bytes != 20e9 || l.Allowance.Per != "month" || l.Fault != nil {
		t.Errorf("%+v", l)
	}
	if got := readWith(t, strings.Join(strings.SplitAfter(a.Copies[1].encode(), "\n")[5:], "")).Copies[1].Link; got.Hours.String() != l.Hours.String() || got.Rate != l.Rate || got.Allowance != l.Allowance {
		t.Errorf("written and read again: %+v, want %+v", got, l)
	}
	if readWith(t, "").Copies[1].Link.IsLimited() {
		t.Error("a bucket without these settings is limited")
	}
}

// TestMistakeInLinkLeavesTheArchive: the other copies are kept up all the same.
func TestMistakeInLinkLeavesTheArchive(t *testing.T) {
	for _, c := range []struct{ line, key, says string }{
		{`hours = ["22:00"]`, "hours", "22:00-06:00"},
		{`hours = ["22:00-25:00"]`, "hours", "22:00-06:00"},
		{`hours = ["22:60-23:00"]`, "hours", "22:00-06:00"},
		{`hours = ["08:00-08:00"]`, "hours", "whole day"},
		{`hours = "22:00-06:00"`, "hours", "list"},
		{`rate = "fast"`, "rate", "1 Mbit/s"},
		{`rate = "1 Mbit"`, "rate", "1 Mbit/s"},
		{`rate = "1 kbit/s"`, "rate", "too slow"},
		{`rate = "-1 Mbit/s"`, "rate", "1 Mbit/s"},
		{`rate = 1`, "rate", "quotes"},
		{`allowance = "20 GB"`, "allowance", "20 GB/month"},
		{`allowance = "20/month"`, "allowance", "20 GB/month"},
		{`allowance = "0"`, "allowance", "nothing would ever be sent"},
	} {
		a := readWith(t, c.line+"\n")
		fault := a.Copies[1].Link.Fault
		if fault == nil || len(a.Copies) != 2 {
			t.Errorf("%s: fault %v, %d copies", c.line, fault, len(a.Copies))
			continue
		}
		if p := fault.Problems[0]; p.Line != 15 || !strings.HasSuffix(p.Key, c.key) || !strings.Contains(p.Text, c.says) {
			t.Errorf("%s: %+v", c.line, p)
		}
	}
}

func TestHours(t *testing.T) {
	denver, err := time.LoadLocation("America/Denver")
	if err != nil {
		t.Skip(err)
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
