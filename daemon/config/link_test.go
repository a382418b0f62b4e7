package config

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
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
