package config

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"linecamp/manifest/store/fault"
	"linecamp/manifest/tomlline"
	"linecamp/manifest/wholefile"
)

// Write writes the archive's config file, for a person to read and change, and
// makes the folder it goes to. It never overwrites: a file already there is
// fs.ErrExist. An archive that Load would refuse is refused here with the same
// *Error. The file is there whole or not at all.
func (a Archive) Write(path string) error {
	path, err := filepath.Abs(path)
	if err != nil {
		return err
	}
	b := a.encode()
	if _, err := parse(path, b); err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return fmt.Errorf("the settings' folder cannot be made: %w", err)
	}
	switch err := wholefile.Create(path, 0o644, b); {
	case errors.Is(err, fs.ErrExist):
		return fault.Say(fs.ErrExist, "%s is already there and is left as it is", path)
	case err != nil:
		return fmt.Errorf("the settings cannot be written: %w", err)
	}
	return nil
}

// Check reports, as the same *Error, whether Write to this file would refuse the archive.
func (a Archive) Check(path string) error {
	path, err := filepath.Abs(path)
	if err != nil {
		return err
	}
	_, err = parse(path, a.encode())
	return err
}

func (a Archive) encode() []byte {
	var w writer
	w.comment("The archive \"" + a.Name + "\". Written by linecamp setup; change it as you like.")
	w.comment("Folders may be relative to the one this file is in.")
	w.pair("archive", tomlline.Quote(a.Name), "")
	w.optional("name", a.Title, "as people write it")
	w.optional("paper", a.Paper, "the size that the office prints on")
	if a.Folder != "" {
		w.pair("folder", tomlline.Quote(a.Folder), "linecamp reads it and changes nothing in it")
	} else {
		w.comment("no folder: this computer only keeps copies of the archive")
	}
	w.optional("layout", a.Layout, "how the folders below it are named")
	w.optional("dates", a.Dates, "how folders' dates are written")
	w.optional("state", a.State, "what linecamp remembers between rounds")
	w.optional("units", string(a.Units), "what distances are printed in")
	if len(a.Views) > 0 {
		w.line("")
		w.line("[views]")
		for _, view := range slices.Sorted(maps.Keys(a.Views)) {
			words := make([]string, len(a.Views[view]))
			for i, word := range a.Views[view] {
				words[i] = tomlline.Quote(word)
			}
			w.pair(key(view), "["+strings.Join(words, ", ")+"]", "")
		}
	}
	if y := a.Years; y != (Years{}) {
		w.line("")
		w.line("[years]")
		if y.SeasonDays != 0 {
			w.pair("season_days", fmt.Sprint(y.SeasonDays), "how far out of its season a visit may be")
		}
		if y.Meters != 0 {
			w.pair("meters", strconv.FormatFloat(y.Meters, 'f', -1, 64), "how far from its site a photo may be taken")
		}
	}
	if a.Page.Listen != "" {
		w.line("")
		w.line("[page]")
		w.pair("listen", tomlline.Quote(a.Page.Listen), "where the service serves the record, to this computer only")
	}
	a.Notice.encode(&w)
	for _, c := range a.Copies {
		w.line("")
		w.b.WriteString(c.encode())
	}
	w.line("")
	w.line("[schedule]")
	w.comment("minute, hour, day of the month, month, day of the week (0 is Sunday); local time")
	s := a.Schedule
	w.pair("mirror", tomlline.Quote(or(s.Mirror, DefaultMirror)), "bring the copies up to date")
	w.pair("verify", tomlline.Quote(or(s.Verify, DefaultVerify)), "read the copies again and look for damage")
	w.pair("drill", tomlline.Quote(or(s.Drill, DefaultDrill)), "practice a recovery from each copy")
	return w.b.Bytes()
}

func (c Copy) encode() string {
	var w writer
	w.line("[[copy]]")
	w.pair("name", tomlline.Quote(c.Name), "")
	w.pair("kind", tomlline.Quote(c.Kind), "")
	w.optional("where", c.Where, "where it is kept, for the recovery sheet")
	if k := Kinds[c.Kind]; k.write != nil {
		k.write(&w, c)
	} else {
		w.pair("url", tomlline.Quote(c.URL), "")
		w.pair("id", tomlline.Quote(c.ID), "")
	}
	return w.b.String()
}

func or(s, otherwise string) string {
	if s == "" {
		return otherwise
	}
	return s
}

// away is how long a drive may be away; "" for not at all.
func away(c Copy) string {
	if c.Away <= 0 {
		return ""
	}
	return span(c.Away)
}

// span is a length of time as ParseAway reads it.
func span(d time.Duration) string {
	switch hours := int64(d.Hours()); {
	case hours <= 0:
		return "0"
	case hours%24 == 0:
		return fmt.Sprintf("%dd", hours/24)
	default:
		return fmt.Sprintf("%dh", hours)
	}
}

type writer struct{ b bytes.Buffer }

func (w *writer) line(s string)    { w.b.WriteString(s + "\n") }
func (w *writer) comment(s string) { w.line("# " + s) }

func (w *writer) pair(key, value, comment string) {
	s := key + " = " + value
	if comment != "" {
		s += "   # " + comment
	}
	w.line(s)
}

// key writes a key bare where it may be (TOML 1.0, "Keys").
func key(s string) string {
	if s != "" && strings.Trim(s, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-") == "" {
		return s
	}
	return tomlline.Quote(s)
}

// optional writes a text that may be left out.
func (w *writer) optional(key, value, comment string) {
	if value != "" {
		w.pair(key, tomlline.Quote(value), comment)
	}
}
