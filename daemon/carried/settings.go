package carried

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"maps"
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
	"linecamp/verify"
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
// no key, no password, no path of this computer, and not where a copy is kept.
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
	if was.Says == is.Says && was.Key != "" && reads(ctx, c.Root, was) {
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

// reads reports whether what was noted can be relied on: on a drive, only while it is there
// as it was written.
func reads(ctx context.Context, r store.Root, was noted) bool {
	if !r.Can().Local {
		return true
	}
	b, _, err := store.ReadSmall(ctx, r, was.Key, store.MaxSmall)
	return err == nil && digestOf(b) == was.Says
}

// CheckSettings adds to the report of a check what is wrong with the settings that this
// computer last put on a copy. It reports false where nothing is known of them: the copy
// did not answer, or a quick check reads nothing there since that may cost money. What is
// read is counted, and is not held within the allowance: photos take all that is left of
// that, and settings are a few kB.
func CheckSettings(ctx context.Context, c Copy, n Notes, report *verify.CopyReport) (read bool) {
	can, was := c.Root.Can(), recall(n, settingsNote(c.ID))
	if was.Key == "" {
		return true
	}
	if can.Metered && report.Depth == verify.Quick {
		return false
	}
	d := verify.Damage{Path: verify.SettingsPath, Content: was.Key, Kind: verify.Altered, Detail: "they are not as this computer wrote them"}
	f, _, err := c.Root.OpenFresh(ctx, was.Key)
	if err == nil {
		var b []byte
		b, err = manifest.ReadUpTo(f, store.MaxSmall)
		f.Close()
		if can.Metered {
			report.Downloaded += int64(len(b))
		}
		if digestOf(b) == was.Says {
			return true
		}
	}
	if err != nil {
		if _, away := c.Root.Identity(ctx); away != nil || fault.Of(err).OfCopy() {
			return false
		}
		d.Kind, d.Detail = verify.Unreadable, strings.Join(strings.Fields(err.Error()), " ")
		if errors.Is(err, fs.ErrNotExist) {
			d.Kind, d.Detail = verify.Gone, "they are not on this copy"
		}
	}
	report.Damage = append(report.Damage, d)
	return true
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
			err = errors.New("its bytes are not those that its name tells of")
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
	t := &tomlline.Table{File: &tomlline.File{}, Left: tree}
	s := Settings{Archive: text(t, "archive", manifest.ArchiveName), Title: text(t, "name", nil)}
	s.Layout = text(t, "layout", func(v string) error { _, err := layout.New(v, nil, time.Now()); return err })
	s.Dates = text(t, "dates", oneOf(dates.Orders...))
	units := text(t, "units", func(v string) error { _, err := geo.ParseUnits(v); return err })
	s.Units, _ = geo.ParseUnits(units) // "" where there are none
	s.Views = views(t.Sub("views"))
	years := t.Sub("years")
	s.Years.SeasonDays = int(years.Number("season_days", 1, 180, true, ""))
	s.Years.Meters = years.Number("meters", 1, card.MostMeters, false, "")
	rest(years)
	cron := func(v string) error { _, err := config.Cron(v); return err }
	schedule := t.Sub("schedule")
	s.Schedule = config.Schedule{Mirror: text(schedule, "mirror", cron), Verify: text(schedule, "verify", cron), Drill: text(schedule, "drill", cron)}
	rest(schedule)
	s.Copies = copies(t)
	rest(t)
	if s.Archive == "" {
		return Settings{}, fault.Say(ErrUnread, "they name no archive")
	}
	for _, f := range t.Faults[:min(len(t.Faults), mostPassed)] {
		why := "its value cannot be used"
		if slices.Contains([]string{unknown, inPart, twice, tooMany}, f.Text) {
			why = f.Text
		}
		s.Passed = append(s.Passed, shown(f.Key)+": "+why)
	}
	return s, nil
}

// mostPassed is how much of what was passed over is named.
const mostPassed = 50

// Why something is passed over whose value could be used.
const (
	unknown = "this program does not know it"
	inPart  = "one is not told in full"
	twice   = "one is told twice"
	tooMany = "there are too many"
)

func rest(t *tomlline.Table) {
	for _, key := range slices.Sorted(maps.Keys(t.Left)) {
		t.Fault(key, unknown)
	}
}

// text takes a text that is fit to be shown and passes a check, if there is one.
func text(t *tomlline.Table, key string, check func(string) error) string {
	_, isThere := t.Left[key]
	had := len(t.Faults)
	s := t.Text(key)
	if isThere && len(t.Faults) == had && (s == "" || printable(s) != nil || check != nil && check(s) != nil) {
		t.Fault(key, "")
		return ""
	}
	return s
}

func oneOf(all ...string) func(string) error {
	return func(s string) error {
		if !slices.Contains(all, s) {
			return errors.New("it is none of these")
		}
		return nil
	}
}

// printable refuses what a name in the settings cannot be.
func printable(s string) error {
	if len(s) > 400 || !manifest.IsPrintable(s) {
		return errors.New("it is no name")
	}
	return nil
}

func views(t *tomlline.Table) map[string][]string {
	all := map[string][]string{}
	for _, view := range slices.Sorted(maps.Keys(t.Left)) {
		had := len(t.Faults)
		words := t.Words(view)
		isName := func(s string) bool { return s != "" && printable(s) == nil && strings.TrimSpace(s) == s }
		if len(t.Faults) > had {
			continue
		}
		if !isName(view) || len(words) == 0 || slices.ContainsFunc(words, func(w string) bool { return !isName(w) }) {
			t.Fault(view, "")
			continue
		}
		all[view] = words
	}
	return all
}

func copies(top *tomlline.Table) (all []config.Copy) {
	list := top.Subs("copy")
	if len(list) > mostCopies {
		top.Fault("copy", tooMany)
		list = list[:mostCopies]
	}
	for _, t := range list {
		c := config.Copy{Name: text(t, "name", config.CopyName), Kind: text(t, "kind", isKind), ID: text(t, "id", isUUID)}
		c.Addressing = text(t, "addressing", oneOf("path", "host"))
		c.URL = text(t, "url", func(v string) error { _, err := config.BucketURL(v, c.Addressing); return err })
		c.Region = text(t, "region", nil)
		rest(t)
		same := func(o config.Copy) bool { return strings.EqualFold(o.Name, c.Name) || o.ID == c.ID }
		switch {
		case c.Name == "" || c.Kind == "" || c.ID == "" || c.Kind == config.KindS3 && c.URL == "":
			top.Fault("copy", inPart)
		case slices.ContainsFunc(all, same):
			top.Fault("copy", twice)
		default:
			all = append(all, c)
		}
	}
	return all
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
