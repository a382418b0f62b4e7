// Package config reads and writes the one TOML file that describes an archive: its
// working folder, its copies and its schedule. Begin with [Load] or [LoadFrom];
// [Archive.Write] writes a new one, and [Rewrite] changes single lines.
//
// A person writes and reads this file, so every fault in it is told with file,
// line and key and a sentence that says what to do, and all faults of a file
// are told at once. A file at fault stops its own archive only: [Load] still
// returns the others.
//
// Rules that are not plain from the example that setup writes:
//
//   - Folders and files named in the config may be relative; they are taken
//     from the folder the config file is in.
//   - An unknown key is a fault, because a misspelt key would otherwise be a
//     setting silently not made.
//   - A working folder and a copy never lie inside one another, links
//     followed: linecamp would go on copying its own copies.
//   - Copies are known by id, not by path. Two copies may name the same drive
//     folder if their ids differ: drives swapped month by month.
//   - A copy that a person gave up stays in the file, marked given_up, so that
//     it is known again if it turns up. Its name is free for another.
//   - No secret belongs in the file. One found in a URL is refused, and not
//     repeated in the message.
package config

import (
	"cmp"
	"net"
	"time"

	"linecamp/manifest/geo"
	"linecamp/manifest/store/s3"
)

// Archive is one archive as its config file describes it. All paths are
// absolute and clean.
type Archive struct {
	Name     string              // valid as part of an object id
	Title    string              // as people write it, "O'Brien Land & Cattle"; "" for none
	Paper    string              // PaperLetter or PaperA4; "" is PaperLetter
	Folder   string              // working folder; "" where this machine only keeps the archive
	Layout   string              // "" for the common layouts
	Dates    string              // the order in which dates of numbers are written, one of dates.Orders; "" lets the archive decide
	Views    map[string][]string // further words that tell a view, by view
	Copies   []Copy
	GivenUp  []Copy // copies that a person gave up: never used, and told of when they turn up
	Schedule Schedule
	Years    Years
	Page     Page
	Notice   Notice
	Units    geo.Units // what distances are printed in; "" by the time zone, see Distances
	State    string    // "" for the usual state folder, see StateDir
	File     string    // where it was read; "" if it was not read from a file
}

// Place is where the copy is: its folder or its address.
func (c Copy) Place() string { return cmp.Or(c.Root, c.URL) }

// NoCredentials stands in the place of a bucket's keys while no person has confirmed its
// address: no key is sent there.
const NoCredentials = "none"

// Sizes of paper.
const (
	PaperLetter = "letter"
	PaperA4     = "a4"
)

// Copy is one storage root that holds the archive.
type Copy struct {
	Name  string
	Kind  string // KindDrive or KindS3
	ID    string // the root's uuid, lower case, written by setup
	Where string // where it is kept, in the office's own words: "bank box"; "" for not told

	GivenUp string // the day, 2026-07-02, on which a person gave the copy up; "" for one in use

	// Drives only.
	Root string        // the root's folder
	Away time.Duration // how long the drive may be unplugged before that is a fault; 0 for not at all

	// S3 only.
	URL         string    // https://host/bucket/prefix, no slash at the end
	Region      string    // "" to let the server tell
	Credentials string    // "env", or the file that holds them
	CAFile      string    // certificates to trust beside the system's; "" for none
	Addressing  string    // "path", "host" (bucket in the host name), or "" to let the URL tell
	Fence       string    // "" or "none": a person vouches that one machine writes there
	ReadBack    bool      // read back every upload: the server does not check what it is sent
	Reread      Allowance // how much may be downloaded to check it
	Link        Link      // how much the way to it may be used

	// Set by who opens it with regard to Link: see the options of package s3.
	Conn  func(net.Conn) net.Conn
	Pause func() error
	Parts s3.Memory
	Page  int

	// Tried is what Kind.Try found out of its key; it is in no settings.
	Tried *KeyTried
}

// Schedule says when the rounds run: five-field cron lines, local time. Cron
// parses them.
type Schedule struct {
	Mirror string
	Verify string
	Drill  string
}

// Page says whether the service serves the archive's page, and where.
type Page struct {
	Listen string // an address of this computer, "127.0.0.1:8710"; "" for not at all
}

// Years say how far a visit may be from what is usual without a finding. Zero is
// as usual.
type Years struct {
	SeasonDays int     // days out of its season
	Meters     float64 // from its site
}

// What holds where the config says nothing.
const (
	DefaultMirror = "30 2 * * *"
	DefaultVerify = "0 4 * * 0"
	DefaultDrill  = "0 5 1 * *"
	DefaultReread = "2GB/month"
)

// Allowance limits how much is downloaded from a copy to check it.
type Allowance struct {
	Bytes int64  // per period; 0 for nothing, Unlimited for no limit
	Per   string // "day", "week" or "month"; "" with 0 and Unlimited
	Text  string // as written
}

// Unlimited is the Bytes of an allowance without a limit.
const Unlimited = -1
