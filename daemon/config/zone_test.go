package config

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"linecamp/manifest/geo"
)

func TestFeetWhereTheTimeZoneIsAmerican(t *testing.T) {
	for zone, want := range map[string]geo.Units{
		"America/Denver": geo.Feet, "America/Boise": geo.Feet, ":America/Chicago": geo.Feet, "US/Mountain": geo.Feet,
		"America/Indiana/Knox": geo.Feet, "Pacific/Honolulu": geo.Feet, "/usr/share/zoneinfo/America/Phoenix": geo.Feet, "MST7MDT": geo.Feet,
		"America/Edmonton": geo.Meters, "America/Hermosillo": geo.Meters, "America/Sao_Paulo": geo.Meters, "Europe/Lisbon": geo.Meters, "UTC": geo.Meters, "": geo.Meters,
	} {
		t.Setenv("TZ", zone)
		if zone == "" && american("", time.Now()) {
			continue // decided by the machine's own zone
		}
		if got := (Archive{}).Distances(); got != want {
			t.Errorf("in %q distances are in %s, want %s", zone, got, want)
		}
		if got := (Archive{Units: geo.Meters}).Distances(); got != geo.Meters {
			t.Errorf("in %q the settings do not count: %s", zone, got)
		}
	}
}

// Without TZ, the link that names the system's zone.
func TestTheSystemsOwnZone(t *testing.T) {
	t.Setenv("TZ", "") // so that it is put back
	os.Unsetenv("TZ")
	defer func(was *time.Location) { time.Local = was }(time.Local)
	time.Local = time.FixedZone("Local", -7*3600) // what Go calls a zone that no TZ names
	dir := t.TempDir()
	file := filepath.Join(dir, "zoneinfo", "America", "Denver")
	put(t, file, "")
	link := filepath.Join(dir, "localtime")
	if err := os.Symlink(file, link); err != nil {
		t.Fatal(err)
	}
	defer func(was string) { zoneFile = was }(zoneFile)
	zoneFile = link
	if LocalUnits() != geo.Feet {
		t.Errorf("the zone is %q", zone())
	}
}

func TestZonesByTheirAbbreviation(t *testing.T) {
	for _, c := range []struct {
		short  string
		offset int
		want   bool
	}{{"MST", -7, true}, {"CDT", -5, true}, {"CST", 8, false}, {"CST", -6, true}, {"CET", 1, false}, {"IST", 5, false}} {
		now := time.Date(2026, 7, 1, 0, 0, 0, 0, time.FixedZone(c.short, c.offset*3600))
		if got := american("", now); got != c.want {
			t.Errorf("%s at %d is American: %v", c.short, c.offset, got)
		}
	}
}

func TestUnitsInTheSettings(t *testing.T) {
	file := filepath.Join(alone(t), "a.toml")
	for value, want := range map[string]geo.Units{"feet": geo.Feet, "meters": geo.Meters, "metres": geo.Meters} {
		put(t, file, "units = \""+value+"\"\n"+example)
		if got, faults := Load(file); faults != nil || got[0].Units != want {
			t.Errorf("%s: %+v, %v", value, got, faults)
		}
	}
	put(t, file, "units = \"rods\"\n"+example)
	if _, faults := Load(file); len(faults) != 1 || !strings.Contains(faults[0].Error(), "a.toml:1: units: there are no such units") {
		t.Errorf("rods: %v", faults)
	}
	put(t, file, strings.Replace(example, "[schedule]", "[years]\nfeet = 150\n[schedule]", 1))
	if got, faults := Load(file); faults != nil || got[0].Years.Meters != 45.72 {
		t.Errorf("150 feet: %+v, %v", got, faults)
	}
	if err := (Archive{Name: "a", Units: geo.Feet}).Write(filepath.Join(alone(t), "b", "a.toml")); err != nil {
		t.Error(err)
	}
}
