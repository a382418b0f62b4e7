package config

import (
	"os"
	"path/filepath"
	"strings"
	"time"

	"linecamp/manifest/geo"
)

// Distances are what this archive's distances are printed in: what its settings
// say, else feet where this machine's time zone is one of the United States.
func (a Archive) Distances() geo.Units {
	if a.Units != "" {
		return a.Units
	}
	return LocalUnits()
}

// LocalUnits are the units where no settings say any.
func LocalUnits() geo.Units {
	if american(zone(), time.Now()) {
		return geo.Feet
	}
	return geo.Meters
}

// zoneFile is the system's own time zone: tzfile(5), localtime(5).
var zoneFile = "/etc/localtime"

// zone is the name of this machine's time zone, "America/Denver"; "" where
// nothing tells it.
func zone() string {
	name, set := os.LookupEnv("TZ")
	if set {
		name = strings.TrimPrefix(name, ":")
	} else if name = time.Local.String(); name == "Local" {
		name, _ = filepath.EvalSymlinks(zoneFile)
	}
	if _, below, ok := strings.Cut(filepath.ToSlash(name), "zoneinfo/"); ok {
		name = below
	}
	if filepath.IsAbs(name) {
		return ""
	}
	return name
}

// The zones of the United States in the IANA time zone database (zone1970.tab
// and backward, of 2025b), where a name alone does not say so.
var american50 = map[string]bool{
	"America/New_York": true, "America/Detroit": true, "America/Chicago": true, "America/Menominee": true, "America/Denver": true,
	"America/Boise": true, "America/Phoenix": true, "America/Los_Angeles": true, "America/Anchorage": true, "America/Juneau": true,
	"America/Sitka": true, "America/Metlakatla": true, "America/Yakutat": true, "America/Nome": true, "America/Adak": true,
	"Pacific/Honolulu": true, "America/Louisville": true, "America/Indianapolis": true, "America/Fort_Wayne": true,
	"America/Knox_IN": true, "America/Shiprock": true, "America/Atka": true, "Pacific/Johnston": true, "Navajo": true,
	"EST5EDT": true, "CST6CDT": true, "MST7MDT": true, "PST8PDT": true, "EST": true, "MST": true, "HST": true,
}

// american reports whether a time zone is one of the United States. Where its
// name is not known, its abbreviation and its offset from UTC tell.
func american(name string, now time.Time) bool {
	if name != "" {
		if american50[name] {
			return true
		}
		for _, part := range []string{"US/", "America/Indiana/", "America/Kentucky/", "America/North_Dakota/"} {
			if strings.HasPrefix(name, part) {
				return true
			}
		}
		return false
	}
	short, offset := now.Zone()
	hours, ok := map[string]int{"EST": -5, "EDT": -4, "CST": -6, "CDT": -5, "MST": -7, "MDT": -6, "PST": -8, "PDT": -7,
		"AKST": -9, "AKDT": -8, "HST": -10, "HDT": -9}[short]
	return ok && offset == hours*3600
}
