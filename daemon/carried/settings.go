package carried

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"linecamp/daemon/config"
	"linecamp/manifest"
	"linecamp/manifest/card"
	"linecamp/manifest/dates"
	"linecamp/manifest/geo"
	"linecamp/manifest/layout"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
	"linecamp/manifest/tomlline"
)

// Settings are what a copy says of its archive's settings. They are untrusted: a value
// that the settings of a machine could not have is left out and named in Passed, as are
// keys that this program does not know.
type Settings struct {
	Archive  string
	Title    string
	Layout   string
	Dates    string
	Units    geo.Units
	Views    map[string][]string
	Years    config.Years
	Schedule config.Schedule
	Copies   []config.Copy // name, kind, id, and a bucket's address and region
	Passed   []string      // what was passed over, and why
	File     string        // its key
}

// Text writes what the settings of a machine give to the copies. Nothing else is in it:
// no key, no password, no path of this machine, and not where a copy is kept.
func Text(a config.Archive) []byte {
	var b strings.Builder
	line := func(key, value string) {
		if value != "" {
			fmt.Fprintf(&b, "%s = %s\n", key, tomlline.Quote(value))
		}
	}
	b.WriteString("# What a new computer needs to go on with this archive. Nothing in it is secret,\n# and nothing in it is needed to read a photo.\n")
	line("archive", a.Name)
	line("name", a.Title)
	line("layout", a.Layout)
	line("dates", a.Dates)
	line("units", string(a.Units))
	if len(a.Views) > 0 {
		b.WriteString("\n[views]\n")
		for _, view := range slices.Sorted(maps.Keys(a.Views)) {
			var list []string
			for _, w := range a.Views[view] {
				list = append(list, tomlline.Quote(w))
			}
			fmt.Fprintf(&b, "%s = [%s]\n", tomlline.Quote(view), strings.Join(list, ", "))
		}
	}
	if a.Years != (config.Years{}) {
		b.WriteString("\n[years]\n")
		if a.Years.SeasonDays != 0 {
			fmt.Fprintf(&b, "season_days = %d\n", a.Years.SeasonDays)
		}
		if a.Years.Meters != 0 {
			fmt.Fprintf(&b, "meters = %s\n", strconv.FormatFloat(a.Years.Meters, 'f', -1, 64))
		}
	}
	b.WriteString("\n[schedule]\n")
	line("mirror", a.Schedule.Mirror)
	line("verify", a.Schedule.Verify)
	line("drill", a.Schedule.Drill)
	for _, c := range a.Copies {
		b.WriteString("\n[[copy]]\n")
		line("name", c.Name)
		line("kind", c.Kind)
		line("id", c.ID)
		line("url", c.URL)
		line("region", c.Region)
		line("addressing", c.Addressing)
	}
	return []byte(b.String())
}

func settingsNote(copyID string) string { return "settings as told to " + copyID }

// PutSettings puts the settings on a copy, if it does not have them as its newest. On a
// drive, hold Lock.
func PutSettings(ctx context.Context, c Copy, n Notes, text []byte, now time.Time) error {
	is := noted{Says: digestOf(text), At: now, Size: int64(len(text))}
	was := recall(n, settingsNote(c.ID))
	if was.Says == is.Says && was.Key != "" && stands(ctx, c.Root, was.Key, was) {
		return nil
	}
	row, err := settingsRow(ctx, c.Root)
	if err == nil {
		is.Key, err = row.put(ctx, c.Root, text, is.Says[:8])
	}
	if err != nil {
		return trouble("the settings could not be written there", err)
	}
	return remember(n, settingsNote(c.ID), is)
}

// put writes settings as the newest of the row, unless they are that already.
func (w row) put(ctx context.Context, r store.Root, text []byte, digest string) (key string, err error) {
	if len(w.files) > 0 {
		if newest := w.files[len(w.files)-1]; newest.digest == digest {
			key = settingsKey(newest.number, digest)
			if b, _, err := store.ReadSmall(ctx, r, key, store.MaxSmall); err == nil && digestOf(b)[:8] == digest {
				return key, nil
			}
		}
	}
	number := w.next()
	if number == 0 {
		return "", fault.Say(store.ErrBadKey, "no number is left for them: %d files are there", len(w.files))
	}
	key = settingsKey(number, digest)
	_, err = r.Create(ctx, key, store.Bytes(text))
	return key, err
}

// settingsFile is one file of settings by its name.
type settingsFile struct {
	number int
	digest string // the first 8 digits
}

func settingsKey(number int, digest string) string {
	return fmt.Sprintf("%s/%05d-%s.toml", SettingsFolder, number, digest)
}

var settingsName = regexp.MustCompile(`^([0-9]{5})-([0-9a-f]{8})\.toml$`)

// Bounds of what is looked at in the folder of settings, into which a stranger may have
// put anything.
const (
	mostNumber = 99_999
	mostListed = 20_000
	mostGap    = 1_000 // numbers that may be missing between two files of the row
)

// row is the files of settings on a copy, the newest last. Each is named by the number
// after the one before, so a file far beyond the others is not of the row: it would take
// all numbers away from those to come.
type row struct {
	files  []settingsFile
	beyond []settingsFile // not of the row
	more   bool           // there are more files in the folder than are looked at
}

// settingsRow lists the files of settings on a copy.
func settingsRow(ctx context.Context, r store.Root) (row, error) {
	var w row
	listed := 0
	for info, err := range r.List(ctx, SettingsFolder) {
		if err != nil {
			return w, err
		}
		if listed++; listed > mostListed {
			w.more = true
			break
		}
		m := settingsName.FindStringSubmatch(strings.TrimPrefix(info.Key, SettingsFolder+"/"))
		if m == nil {
			continue
		}
		if number, err := strconv.Atoi(m[1]); err == nil && number > 0 {
			w.files = append(w.files, settingsFile{number, m[2]})
		}
	}
	slices.SortFunc(w.files, func(a, b settingsFile) int {
		return cmp.Or(cmp.Compare(a.number, b.number), strings.Compare(a.digest, b.digest))
	})
	last := 0
	for i, f := range w.files {
		if f.number > last+mostGap {
			w.files, w.beyond = w.files[:i:i], w.files[i:]
			break
		}
		last = f.number
	}
	return w, nil
}

// next is the number after the newest, else the highest that is free; 0 for none.
func (w row) next() int {
	number := 1
	if len(w.files) > 0 {
		number = w.files[len(w.files)-1].number + 1
	}
	if number <= mostNumber {
		return number
	}
	for _, f := range slices.Backward(w.files) {
		if f.number < number-1 {
			break
		}
		number = f.number
	}
	return number - 1
}

// tries is how many damaged files of settings are passed over.
const tries = 20

// ReadSettings reads the newest settings on a copy that are what their name says;
// fs.ErrNotExist where it has none.
func ReadSettings(ctx context.Context, r store.Root) (Settings, error) {
	row, err := settingsRow(ctx, r)
	if err != nil {
		return Settings{}, err
	}
	files := row.files
	if len(files) == 0 {
		return Settings{}, fault.Say(fs.ErrNotExist, "no settings are on this copy")
	}
	var passed []string
	if len(row.beyond) > 0 {
		passed = append(passed, fmt.Sprintf("%s, since its number is far beyond those of the others", settingsKey(row.beyond[0].number, row.beyond[0].digest)))
	}
	if row.more {
		passed = append(passed, fmt.Sprintf("all but the first %d files in %s", mostListed, SettingsFolder))
	}
	for i, f := range slices.Backward(files) {
		key := settingsKey(f.number, f.digest)
		b, _, err := store.ReadSmall(ctx, r, key, store.MaxSmall)
		if ctx.Err() != nil {
			return Settings{}, ctx.Err()
		}
		if err == nil && digestOf(b)[:8] != f.digest {
			err = store.ErrDigest
		}
		var s Settings
		if err == nil {
			s, err = Decode(b)
		}
		if err == nil {
			s.File, s.Passed = key, append(passed, s.Passed...)
			return s, nil
		}
		passed = append(passed, fmt.Sprintf("%s: %v", key, err))
		if len(files)-i >= tries {
			break
		}
	}
	return Settings{}, fault.Say(ErrUnread, "the settings on this copy are damaged (%s)", strings.Join(passed, "; "))
}

// mostCopies is more copies than an office has.
const mostCopies = 100

// Decode takes settings from a copy apart.
func Decode(b []byte) (Settings, error) {
	if len(b) > store.MaxSmall {
		return Settings{}, fault.Say(ErrUnread, "they are too large for settings")
	}
	tree, _, wrong := tomlline.Decode(b)
	if wrong != nil {
		return Settings{}, fault.Say(ErrUnread, "line %d: %s", wrong.Line, shown(wrong.Text))
	}
	var s Settings
	d := &decoding{s: &s}
	s.Archive = d.text(tree, "", "archive", manifest.ArchiveName)
	s.Title = d.text(tree, "", "name", printable)
	s.Layout = d.text(tree, "", "layout", func(v string) error { _, err := layout.New(v, nil, time.Now()); return err })
	s.Dates = d.text(tree, "", "dates", func(v string) error {
		if !slices.Contains(dates.Orders, v) {
			return errors.New("it is no order of dates")
		}
		return nil
	})
	units := d.text(tree, "", "units", func(v string) error { _, err := geo.ParseUnits(v); return err })
	s.Units, _ = geo.ParseUnits(units) // "" where there are none
	d.views(tree)
	years := d.part(tree, "years")
	s.Years.SeasonDays = int(d.number(years, "years", "season_days", 1, 180, true))
	s.Years.Meters = d.number(years, "years", "meters", 1, card.MostMeters, false)
	d.rest(years, "years")
	cron := func(v string) error { _, err := config.Cron(v); return err }
	schedule := d.part(tree, "schedule")
	s.Schedule.Mirror = d.text(schedule, "schedule", "mirror", cron)
	s.Schedule.Verify = d.text(schedule, "schedule", "verify", cron)
	s.Schedule.Drill = d.text(schedule, "schedule", "drill", cron)
	d.rest(schedule, "schedule")
	d.copies(tree)
	d.rest(tree, "")
	if s.Archive == "" {
		return Settings{}, fault.Say(ErrUnread, "they name no archive")
	}
	return s, nil
}

// decoding takes values out of a tree, and notes what it passes over.
type decoding struct{ s *Settings }

// mostPassed is how much of what was passed over is named.
const mostPassed = 50

func (d *decoding) pass(at, key, why string) {
	if at != "" {
		key = at + "." + key
	}
	if len(d.s.Passed) < mostPassed {
		d.s.Passed = append(d.s.Passed, shown(key)+": "+why)
	}
}

func (d *decoding) rest(t map[string]any, at string) {
	for _, key := range slices.Sorted(maps.Keys(t)) {
		d.pass(at, key, "this program does not know it")
	}
}

func take(t map[string]any, key string) (any, bool) {
	v, ok := t[key]
	delete(t, key)
	return v, ok
}

func (d *decoding) text(t map[string]any, at, key string, check func(string) error) string {
	v, ok := take(t, key)
	if !ok {
		return ""
	}
	s, ok := v.(string)
	if !ok || s == "" || printable(s) != nil || check(s) != nil {
		d.pass(at, key, "its value cannot be used")
		return ""
	}
	return s
}

// printable refuses what a name in the settings cannot be.
func printable(s string) error {
	if len(s) > 400 || !manifest.IsPrintable(s) || strings.TrimSpace(s) != s {
		return errors.New("it is no name")
	}
	return nil
}

func (d *decoding) number(t map[string]any, at, key string, least, most float64, whole bool) float64 {
	v, ok := take(t, key)
	if !ok {
		return 0
	}
	n, ok := tomlline.Number(v)
	if !ok || !(least <= n && n <= most) || whole && n != math.Trunc(n) {
		d.pass(at, key, "its value cannot be used")
		return 0
	}
	return n
}

func (d *decoding) part(t map[string]any, key string) map[string]any {
	v, ok := take(t, key)
	m, isPart := v.(map[string]any)
	if ok && !isPart {
		d.pass("", key, "its value cannot be used")
	}
	return m
}

func (d *decoding) views(tree map[string]any) {
	views := d.part(tree, "views")
	for _, view := range slices.Sorted(maps.Keys(views)) {
		list, ok := views[view].([]any)
		var all []string
		for _, e := range list {
			if w, isText := e.(string); isText && w != "" && printable(w) == nil {
				all = append(all, w)
			}
		}
		if !ok || len(all) == 0 || len(all) != len(list) || printable(view) != nil || view == "" {
			d.pass("views", view, "its value cannot be used")
			continue
		}
		if d.s.Views == nil {
			d.s.Views = map[string][]string{}
		}
		d.s.Views[view] = all
	}
}

func (d *decoding) copies(tree map[string]any) {
	v, ok := take(tree, "copy")
	list, isList := v.([]map[string]any)
	if ok && !isList {
		d.pass("", "copy", "its value cannot be used")
	}
	if len(list) > mostCopies {
		d.pass("", "copy", fmt.Sprintf("there are more than %d", mostCopies))
		list = list[:mostCopies]
	}
	for _, t := range list {
		c := config.Copy{
			Name: d.text(t, "copy", "name", config.CopyName),
			Kind: d.text(t, "copy", "kind", isKind),
			ID:   d.text(t, "copy", "id", isUUID),
		}
		c.Addressing = d.text(t, "copy", "addressing", func(v string) error {
			if v != "path" && v != "host" {
				return errors.New("it is no way to name a bucket")
			}
			return nil
		})
		c.URL = d.text(t, "copy", "url", func(v string) error { _, err := config.BucketURL(v, c.Addressing); return err })
		c.Region = d.text(t, "copy", "region", printable)
		d.rest(t, "copy")
		same := func(o config.Copy) bool { return strings.EqualFold(o.Name, c.Name) || o.ID == c.ID }
		switch {
		case c.Name == "" || c.Kind == "" || c.ID == "" || c.Kind == config.KindS3 && c.URL == "":
			d.pass("", "copy", "one is not told in full")
		case slices.ContainsFunc(d.s.Copies, same):
			d.pass("", "copy", "one is told twice")
		default:
			d.s.Copies = append(d.s.Copies, c)
		}
	}
}

func isKind(s string) error {
	if (config.Copy{Kind: s}).Can() == (store.Abilities{}) {
		return errors.New("there is no such kind")
	}
	return nil
}

func isUUID(s string) error {
	id, err := uuid.Parse(s)
	if err == nil && id.String() != s {
		err = errors.New("it is not written as an id is")
	}
	return err
}
