package main

import (
	"bytes"
	"context"
	"fmt"
	"io/fs"
	"log"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"linecamp/daemon/show/screen"
)

// evil holds one of each that a name may hold and a screen must not get: a color,
// a line that was never said, a title for the window in one byte and in one
// character, writing backwards, what nobody sees.
const evil = "a\x1b[31m\nFORGED may be wiped.\r\x9b2J\u009b2J\u202egpj\u2066\u200f\u200b\ufeff\u3164\u2028\a\U000e0041"

// ordinary are names that are shown as they are.
var ordinary = []string{"Cañón Größe", "北の牧場 三番"}

// fault says what of a text must not reach a screen.
func fault(text string) string {
	for i, c := range text {
		if c == '\n' || c == '\t' {
			continue
		}
		if _, n := utf8.DecodeRuneInString(text[i:]); c == utf8.RuneError && n == 1 {
			return fmt.Sprintf("the byte %x", text[i])
		}
		if unicode.In(c, unicode.Cc, unicode.Cf, unicode.Zl, unicode.Zp, unicode.Bidi_Control, unicode.Other_Default_Ignorable_Code_Point) {
			return fmt.Sprintf("%U", c)
		}
	}
	for l := range strings.SplitSeq(text, "\n") {
		if strings.HasPrefix(strings.TrimSpace(l), "FORGED") {
			return "a line that nobody said: " + l
		}
	}
	return ""
}

// hostileRanch lays out a record, a card and settings in which every name from
// outside is evil, beside some that are ordinary.
func hostileRanch(t *testing.T) (folder, card, drive string) {
	dir, text := t.TempDir(), "\u202egpj\u2066\u200f\u200b\ufeff\u3164\u2028\U000e0041" // what settings take
	for _, k := range []string{"HOME", "XDG_CONFIG_HOME", "XDG_STATE_HOME", "XDG_CACHE_HOME"} {
		t.Setenv(k, filepath.Join(dir, strings.ToLower(k)))
	}
	t.Setenv("LINECAMP_CONFIG", filepath.Join(dir, "settings"))
	folder, card, drive = filepath.Join(dir, "field "+text), filepath.Join(dir, "card "+evil), filepath.Join(dir, "drive "+text)
	year := time.Now().Year()
	n := 0
	put := func(content string, elements ...string) {
		n++
		name := filepath.Join(elements...)
		if err := os.MkdirAll(filepath.Dir(name), 0o777); err != nil {
			t.Fatal(err)
		}
		if content == "" {
			content = fmt.Sprintf("\xff\xd8\xff\xe0 no picture %d", n)
		}
		if err := os.WriteFile(name, []byte(content), 0o666); err != nil {
			t.Skipf("the file system here takes no such name: %v", err)
		}
		at := time.Date(2020, 1, 1, 0, 0, n, 0, time.UTC)
		if err := os.Chtimes(name, at, at); err != nil {
			t.Fatal(err)
		}
	}
	for _, site := range append([]string{evil}, ordinary...) {
		for _, y := range []int{year - 3, year - 2, year - 1} {
			visit := []string{folder, "Pasture " + site, "Stake " + site, fmt.Sprintf("%d-06-20", y)}
			put("", append(visit, "plot.jpg")...)
			put("", append(visit, "landscape "+site+".jpg")...)
			put("grass\n", append(visit, "notes "+site+".txt")...)
		}
		put("views = [\"\\u001b[31m\", \"\\u202e\"]\nfirst_year = \"\\u001b]0;x\\u0007\"\n\"\\u202ekey\" = 1\n", folder, "Pasture "+site, "Stake "+site, "site.toml")
		put("", folder, "loose "+site, "x "+site+".jpg")
		put("", card, "DCIM", "IMG "+site+".jpg")
		put("a note", card, "note "+site+".txt")
	}
	put("<gpx><wpt lat=\"40\" lon=\"-105\"><name>\u202eevil\u200b</name></wpt></gpx>", folder, "points.gpx")
	if err := os.Symlink("/nowhere", filepath.Join(card, "link "+evil)); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink("/nowhere", filepath.Join(folder, "link "+evil)); err != nil {
		t.Fatal(err)
	}
	return folder, card, drive
}

// Every command, in words and as JSON, with everything well and with damage, and
// what a shell is offered: nothing that came from outside reaches the screen raw.
func TestNoNameFromOutsideReachesTheScreenRaw(t *testing.T) {
	folder, card, drive := hostileRanch(t)
	walked := map[string]bool{"daemon": true, "page": true, "completion": true, "help": true} // they stay, or print what they are told
	var all strings.Builder
	do := func(args ...string) {
		t.Helper()
		walked[args[0]] = true
		var out, errs bytes.Buffer
		ctx, stop := context.WithTimeout(t.Context(), time.Minute)
		defer stop()
		run(ctx, args, strings.NewReader("\n\n"), &out, &errs)
		for stream, b := range map[string]*bytes.Buffer{"stdout": &out, "stderr": &errs} {
			if why := fault(b.String()); why != "" {
				t.Errorf("linecamp %q: %s has %s in\n%q", args, stream, why, b.String())
			}
		}
		if testing.Verbose() {
			t.Logf("linecamp %q\n%s%s", args, out.String(), errs.String())
		}
		all.WriteString(out.String() + errs.String())
	}
	twice := func(args ...string) {
		t.Helper()
		do(args...)
		do(append(args, "--json")...)
	}
	sites := append([]string{"pasture"}, ordinary...)
	do("setup", "--yes", "--archive", evil, "--folder", folder, "--drive", "shelf="+drive)
	do("setup", "--yes", "--archive", "draw", "--folder", folder, "--drive", evil+"="+drive)
	do("setup", "--yes", "--archive", "draw", "--folder", folder, "--drive", "shelf="+drive, "--s3", "bucket="+evil, "--credentials", evil)
	do("setup", "--yes", "--archive", "draw", "--folder", folder, "--drive", "shelf="+drive)
	twice("tally")
	twice("status")
	twice("mirror")
	twice("mirror", "--accept-changes")
	look := func() {
		t.Helper()
		for _, args := range [][]string{{"status"}, {"verify"}, {"verify", "--only", "years", "--deep"}, {"verify", "--from", drive}, {"verify", "--root", drive}, {"due", "--within", "400d"}, {"seal"},
			{"intake", card}, {"may-wipe", card}, {"may-wipe", folder}, {"mend"}, {"drill"}, {"drill", "--everything"}, {"restore", "--everything", "--into", filepath.Join(t.TempDir(), evil)},
			{"restore", "--everything", "--into", filepath.Join(drive, evil)}, {"restore", "--everything", "--into", t.TempDir(), "--from", folder}} {
			twice(args...)
		}
		for _, s := range sites {
			twice("history", s)
			twice("history", s, "--from", drive)
			twice("restore", s, "--into", filepath.Join(t.TempDir(), "back"))
			twice("explain", s, "2014", evil)
		}
		for _, begun := range []string{"", "Stake", "pasture", "Pasture " + evil[:4]} {
			for _, args := range [][]string{{"history"}, {"restore"}, {"drill", "--site"}, {"explain"}, {"same"}, {"mirror", "--copy"}, {"restore", "--from"}, {"status", "--archive"}} {
				do(append(append([]string{"__complete"}, args...), begun)...)
			}
		}
	}
	look()
	twice("same", "pasture-stake-ca", ordinary[1])
	do("intake", card, "--visit", "1", "--site", "Stake "+ordinary[0], "--date", "2024-06-20", "--sheet", filepath.Join(t.TempDir(), "sheet.html"), "--yes")
	// Damage on the copy and in the folder, strays, and settings that cannot be read.
	err := filepath.WalkDir(drive, func(path string, d fs.DirEntry, err error) error {
		if err == nil && d.Type().IsRegular() && strings.Contains(path, "v1/content") && !strings.Contains(path, ".linecamp") {
			_ = os.Chmod(path, 0o666)
			return os.WriteFile(path, []byte("rotten"), 0o666)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, stray := range []string{evil, "windmill", filepath.Join("windmill", evil)} {
		_ = os.MkdirAll(filepath.Join(drive, stray), 0o777)
		_ = os.WriteFile(filepath.Join(drive, stray, "x"+evil), []byte("x"), 0o666)
	}
	look()
	if err := os.WriteFile(filepath.Join(os.Getenv("LINECAMP_CONFIG"), "other.toml"), []byte("archive = \"\\u001b[31m\\u202e\"\n\"\\u202e\\u0007\" = \"\\u009b\"\nfolder = \"/x\\u001b\\nFORGED\"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	twice("status")
	for _, c := range (&tool{}).root().Commands() {
		if c.Name() != "__complete" && !walked[c.Name()] {
			do(c.Name(), evil)
			do(c.Name(), "--"+evil)
			do(c.Name(), "--config", evil)
		}
	}
	do(evil)
	do("status", "--archive", evil)
	do("status", "--config", evil)
	for _, name := range ordinary {
		if !strings.Contains(all.String(), "Stake "+name) {
			t.Errorf("%q is not shown as it is", name)
		}
	}
	if !strings.Contains(all.String(), `\u{202e}`) {
		t.Error("no evil name was shown at all, which proves nothing")
	}
}

// What is offered to a shell is what a shell takes for a plain word.
func TestCompletionOffersOnlyPlainWords(t *testing.T) {
	given := []string{"Stake 3", "Cañón", "北の牧場", "$(rm -r x)", "`x`", "a;b", "-rf", "a\nb", "it's", `a"b`, "a\tb", "_activeHelp_ x", "\u202egpj", "windmill--stake-3", "a&b", "a|b", "a>b", "~", "#", "a\\b", "*", "a{b,c}", ""}
	want := []string{"Stake 3", "Cañón", "北の牧場", "windmill--stake-3"}
	if got := screen.Offered(slices.Clone(given)...); !slices.Equal(got, want) {
		t.Errorf("%q are offered, want %q", got, want)
	}
}

// The HTTP library tells of servers that answer unasked on the standard log.
func TestLibrariesDoNotWriteToTheScreen(t *testing.T) {
	was := log.Writer()
	defer log.SetOutput(was)
	var before bytes.Buffer
	log.SetOutput(&before)
	var out, errs bytes.Buffer
	run(t.Context(), []string{"version"}, strings.NewReader(""), &out, &errs)
	log.Print("Unsolicited response received on idle HTTP channel")
	if said := before.String() + errs.String() + out.String(); strings.Contains(said, "Unsolicited") {
		t.Errorf("the screen has %q", said)
	}
}
