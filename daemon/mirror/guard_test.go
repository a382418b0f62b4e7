package mirror

import (
	"context"
	"fmt"
	"io/fs"
	"iter"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"linecamp/daemon/mend"
	"linecamp/daemon/mirror/plan"
	"linecamp/daemon/mirror/report"
	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/tally"
	"linecamp/verify"
	"linecamp/verify/history"
	"linecamp/verify/rot"
)

// record reads the newest record of a site.
func record(t testing.TB, root store.Root, slug string) *manifest.Record {
	t.Helper()
	_, rec, err := history.ReadObject(context.Background(), root, slug)
	must(t, err)
	return rec
}

// What a change of one file's bytes, size or time is taken for, while this
// machine remembers the file and after it lost its ledger.
func TestRotAndEditsAreToldApart(t *testing.T) {
	const (
		old  = "North/Windmill/2019-06-21/plot.jpg"
		new  = "North/Windmill/2026-06-21/plot.jpg"
		note = "North/Windmill/2019-06-21/notes.txt"
	)
	for _, c := range []struct {
		name                 string
		path                 string
		bytes, size, touched bool
		lost                 bool
		reason               string // it waits for this
		made                 int
		edit                 bool
	}{
		{name: "nothing changed", path: old},
		{name: "time only", path: old, touched: true},
		{name: "bytes only", path: old, bytes: true, reason: plan.ReasonDamaged},
		{name: "bytes and time", path: old, bytes: true, touched: true, made: 1, edit: true},
		{name: "bytes, size and time", path: old, bytes: true, size: true, touched: true, made: 1, edit: true},
		{name: "bytes and size", path: old, bytes: true, size: true, made: 1, edit: true},
		{name: "a photo of this year", path: new, bytes: true, touched: true, made: 1},
		{name: "a note", path: note, bytes: true, touched: true, made: 1},
		{name: "lost: nothing changed", path: old, lost: true},
		{name: "lost: time only", path: old, touched: true, lost: true},
		{name: "lost: bytes only", path: old, bytes: true, lost: true, reason: plan.ReasonDamaged},
		{name: "lost: bytes and time", path: old, bytes: true, touched: true, lost: true, reason: plan.ReasonUnproven},
		{name: "lost: bytes, size and time", path: old, bytes: true, size: true, touched: true, lost: true, reason: plan.ReasonUnproven},
		{name: "lost: a note", path: note, bytes: true, touched: true, lost: true, reason: plan.ReasonUnproven},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRanch(t, "shelf", "barn")
			r.visit("North/Windmill", "2019-06-21")
			r.visit("North/Windmill", "2026-06-21")
			r.wantCurrent(r.mirror())
			name := filepath.Join(r.folder, c.path)
			was, err := os.ReadFile(name)
			must(t, err)
			st, err := os.Stat(name)
			must(t, err)

			is, at := string(was), st.ModTime()
			if c.bytes {
				is = "X" + is[1:]
			}
			if c.size {
				is += " and more"
			}
			if c.touched {
				at = r.now
			}
			r.writeAt(c.path, is, at)
			if c.lost {
				r.loseState()
			}
			rep := r.mirror()
			r.wantCurrent(rep)
			if rep.Made != c.made {
				t.Errorf("made %d versions, want %d", rep.Made, c.made)
			}
			var waits []string
			if c.reason != "" {
				waits = []string{c.path}
			}
			if got := reasons(rep)[c.reason]; !slices.Equal(got, waits) || len(rep.Waiting) != len(waits) {
				t.Errorf("waiting: %v, want %v for %q", rep.Waiting, waits, c.reason)
			}
			var edits []report.Edit
			if c.edit {
				edits = []report.Edit{{Site: "North/Windmill", Path: c.path, Visit: "2019-06-21"}}
			}
			if !slices.Equal(rep.Edits, edits) {
				t.Errorf("edits: %v, want %v", rep.Edits, edits)
			}
			if rep.Wants() != (c.reason != "") {
				t.Errorf("wants a person: %v", rep.Wants())
			}
			inv := head(t, r.copies[0].root, "north--windmill")
			logical := strings.TrimPrefix(c.path, "North/Windmill/")
			if d := inv.State(1)[logical]; d != manifest.Sum(was) || len(inv.Content[d]) != 1 {
				t.Error("the bytes before the change are no longer kept")
			}
			want := manifest.Sum(was)
			if c.made > 0 {
				want = manifest.Sum([]byte(is))
			}
			if inv.State(inv.Head())[logical] != want {
				t.Errorf("version %d records other bytes than it should", inv.Head())
			}

			// It still stands so the next night, and the night after.
			for range 2 {
				if rep = r.mirror(); rep.Made != 0 || !slices.Equal(reasons(rep)[c.reason], waits) {
					t.Errorf("a later round: made %d, waiting %v", rep.Made, rep.Waiting)
				}
			}
			switch c.reason {
			case plan.ReasonDamaged:
				r.mendWorking()
				if b, err := os.ReadFile(name); err != nil || string(b) != string(was) {
					t.Errorf("after mending it holds %q (%v)", b, err)
				}
				if rep = r.mirror(); rep.Wants() || rep.Made != 0 {
					t.Errorf("after mending: %+v", rep)
				}
			case plan.ReasonUnproven:
				r.wantAccepted("north--windmill")
				r.writeAt(note, "rewritten once more", r.now)
				r.now = r.now.Add(time.Hour)
				if rep = r.mirror(); rep.Made != 1 || rep.Wants() {
					t.Errorf("an edit after all was accepted: %+v", rep)
				}
			}
		})
	}
}

// mendWorking re-reads the working folder and mends what is damaged there.
func (r *ranch) mendWorking() {
	r.t.Helper()
	ctx := context.Background()
	root := r.copies[0].root
	slugs, err := store.Objects(ctx, root)
	must(r.t, err)
	var objects iter.Seq2[*manifest.Inventory, *manifest.Record] = func(yield func(*manifest.Inventory, *manifest.Record) bool) {
		for _, slug := range slugs {
			inv, rec, err := history.ReadObject(ctx, root, slug)
			must(r.t, err)
			if !yield(inv, rec) {
				return
			}
		}
	}
	found, err := rot.Working(ctx, r.folder, objects, rot.Options{})
	must(r.t, err)
	in := mend.In{Archive: archiveName, Damage: found.Damage, Folder: r.folder, Aside: r.t.TempDir()}
	for _, c := range r.copies {
		in.Copies = append(in.Copies, verify.Copy{Name: c.name, ID: c.id, Root: c.root})
	}
	rep, err := mend.Run(ctx, in)
	must(r.t, err)
	if len(rep.Mended) == 0 || rep.Wants() {
		r.t.Errorf("mending: %+v", rep)
	}
}

// wantAccepted accepts what waits, and asserts that the record of slug says who
// did, when and why.
func (r *ranch) wantAccepted(slug string) {
	r.t.Helper()
	rep := r.mirror(func(in *In) { in.Accept = &Acceptance{Who: "Ada", Why: "looked at each"} })
	r.wantCurrent(rep)
	if rep.Made == 0 || rep.Wants() {
		r.t.Errorf("after acceptance: %+v", rep)
	}
	all := record(r.t, r.copies[0].root, slug).Decisions
	if len(all) == 0 {
		r.t.Fatalf("nothing is on record about the acceptance of %s", slug)
	}
	d := all[len(all)-1]
	if d.What != manifest.Accepted || d.Who != "Ada" || d.Why != "looked at each" || !d.When.Equal(r.now) {
		r.t.Errorf("the record says %+v", d)
	}
}

// Until all that is recorded was seen once as it is recorded, nothing that
// differs counts as an edit.
func TestWhatCouldNotBeComparedIsNoProof(t *testing.T) {
	r := newRanch(t, "shelf")
	r.visit("North/Windmill", "2019-06-21")
	r.visit("South/Draw", "2019-06-21")
	r.mirror()
	r.loseState()
	unlisted := func(in *In) { hide(in.Tally, "South/Draw") }
	if rep := r.mirror(unlisted); rep.Made != 0 || len(rep.Waiting) != 0 {
		t.Errorf("with a folder that cannot be listed: %+v", rep)
	}
	r.writeAt("South/Draw/2019-06-21/plot.jpg", "other bytes", r.now)
	if rep := r.mirror(); rep.Made != 0 || len(reasons(rep)[plan.ReasonUnproven]) != 1 {
		t.Errorf("bytes that changed while nobody could see them: %+v", rep)
	}
}

// hide makes a tally look as if a folder could not be listed.
func hide(t *tally.Result, folder string) {
	drop(t, folder)
	t.Unlisted = append(t.Unlisted, folder)
}

// drop takes a folder out of a tally.
func drop(t *tally.Result, folder string) {
	below := func(f tally.File) bool {
		if strings.HasPrefix(f.Path, folder+"/") {
			t.Files--
			return true
		}
		return false
	}
	less := func(l tally.Files) tally.Files { return tally.PackFiles(slices.DeleteFunc(l.List(), below)...) }
	for i := range t.Sites {
		s := &t.Sites[i]
		s.Loose = less(s.Loose)
		for j := range s.Visits {
			v := &s.Visits[j]
			v.Photos, v.Notes, v.Others = less(v.Photos), less(v.Notes), less(v.Others)
		}
	}
	t.Sites = slices.DeleteFunc(t.Sites, func(s tally.Site) bool {
		for range s.Files() {
			return false
		}
		return true
	})
	t.Unfiled = less(t.Unfiled)
}

// What it takes for an absence to be believed.
func TestAbsence(t *testing.T) {
	accept := func(in *In) { in.Accept = &Acceptance{Who: "Ada", Why: "gone for good"} }
	for _, c := range []struct {
		name     string
		gone     []string    // removed before the round
		change   []func(*In) // how the round differs
		reason   string      // why something waits
		windmill int         // version of north--windmill afterwards
		draw     int         // version of south--draw, which gains a visit
	}{
		{name: "a file", gone: []string{"North/Windmill/2019-06-21/plot.jpg"}, windmill: 2, draw: 2},
		{name: "a visit", gone: []string{"North/Windmill/2019-06-21"}, windmill: 2, draw: 2},
		{name: "a site", gone: []string{"North/Windmill"}, windmill: 2, draw: 2},
		{name: "a folder that could not be listed", change: []func(*In){func(in *In) { hide(in.Tally, "North/Windmill") }}, windmill: 1, draw: 2},
		{name: "a folder above that could not be listed", change: []func(*In){func(in *In) {
			drop(in.Tally, "North/Windmill")
			in.Tally.Unlisted = []string{"North"}
		}}, windmill: 1, draw: 2},
		{name: "the end of the working folder's list", change: []func(*In){func(in *In) {
			drop(in.Tally, "North/Windmill")
			in.Tally.Unlisted = []string{""}
		}}, windmill: 1, draw: 2},
		{name: "no file at all", gone: []string{"North", "South"}, reason: plan.ReasonEmpty, windmill: 1, draw: 1},
		{name: "no file at all, accepted", gone: []string{"North", "South"}, change: []func(*In){accept}, reason: plan.ReasonEmpty, windmill: 1, draw: 1},
		{name: "another device, nothing gone", change: []func(*In){otherDevice}, windmill: 1, draw: 2},
		{name: "another device, a file gone", gone: []string{"North/Windmill/2019-06-21/plot.jpg"}, change: []func(*In){otherDevice},
			reason: plan.ReasonDevice, windmill: 1, draw: 2},
		{name: "another device, a file gone, accepted", gone: []string{"North/Windmill/2019-06-21/plot.jpg"}, change: []func(*In){otherDevice, accept},
			windmill: 2, draw: 2},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRanch(t, "shelf", "barn")
			r.visit("North/Windmill", "2019-06-21")
			r.visit("North/Windmill", "2020-06-21")
			r.visit("South/Draw", "2019-06-21")
			r.wantCurrent(r.mirror())
			r.visit("South/Draw", "2020-06-21")
			for _, path := range c.gone {
				r.remove(path)
			}
			for range 3 { // the same, night after night
				rep := r.mirror(c.change...)
				r.wantCurrent(rep)
				if _, waits := reasons(rep)[c.reason]; waits != (c.reason != "") || rep.Wants() != waits {
					t.Errorf("waiting: %+v", rep.Waiting)
				}
				for slug, want := range map[string]int{"north--windmill": c.windmill, "south--draw": c.draw} {
					if n := head(t, r.copies[1].root, slug).Head(); n != want {
						t.Errorf("%s is at version %d, want %d", slug, n, want)
					}
				}
			}
		})
	}
}

func otherDevice(in *In) { in.Tally.Device++ }

// A site in which something is held back takes what is new.
func TestASiteInWhichSomethingWaitsTakesItsNewFiles(t *testing.T) {
	r := newRanch(t, "shelf")
	r.visit("North/Windmill", "2019-06-21")
	r.visit("South/Draw", "2019-06-21")
	r.mirror()
	r.remove("North/Windmill/2019-06-21/plot.jpg")
	r.visit("North/Windmill", "2020-06-21")
	r.visit("South/Draw", "2020-06-21")
	rep := r.mirror(otherDevice)
	if got := reasons(rep)[plan.ReasonDevice]; !slices.Equal(got, []string{"North/Windmill/2019-06-21/plot.jpg"}) || len(rep.Waiting) != 1 {
		t.Errorf("waiting: %v", rep.Waiting)
	}
	for slug, files := range map[string]int{"north--windmill": 6, "south--draw": 6} {
		inv := head(t, r.copies[0].root, slug)
		if got := paths(inv.State(inv.Head())); inv.Head() != 2 || len(got) != files {
			t.Errorf("%s is at version %d with %v", slug, inv.Head(), got)
		}
	}
	r.wantAccepted("north--windmill")
}

// Where a mass change begins: above a fifth of the known files, and above ten.
func TestMassChange(t *testing.T) {
	for _, c := range []struct {
		name                string
		known, gone, edited int
		moved               int
		waits               bool
	}{
		{name: "ten of twenty gone", known: 20, gone: 10},
		{name: "eleven of twenty gone", known: 20, gone: 11, waits: true},
		{name: "a fifth gone", known: 60, gone: 12},
		{name: "over a fifth gone", known: 60, gone: 13, waits: true},
		{name: "a fifth edited", known: 60, edited: 12},
		{name: "over a fifth edited", known: 60, edited: 13, waits: true},
		{name: "over a fifth together", known: 60, gone: 7, edited: 6, waits: true},
		{name: "all moved", known: 60, moved: 60},
		{name: "many moved, a fifth gone", known: 60, moved: 30, gone: 12},
		{name: "many moved, over a fifth gone", known: 60, moved: 30, gone: 13, waits: true},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRanch(t, "shelf")
			name := func(i int) string { return fmt.Sprintf("North/Windmill/2019-06-21/photo %02d.jpg", i) }
			for i := range c.known {
				r.write(name(i), fmt.Sprint("picture ", i))
			}
			r.mirror()
			before := head(t, r.copies[0].root, "north--windmill").State(1)
			i := 0
			for range c.gone {
				r.remove(name(i))
				i++
			}
			for range c.edited {
				r.writeAt(name(i), fmt.Sprint("edited ", i), r.now)
				i++
			}
			for range c.moved {
				r.rename(name(i%c.known), fmt.Sprintf("North/Windmill/2019-06-22/photo %02d.jpg", i))
				i++
			}
			r.now = r.now.Add(time.Hour)
			for range 3 {
				rep := r.mirror()
				if waits := len(reasons(rep)[plan.ReasonMass]) > 0; waits != c.waits || rep.Wants() != c.waits {
					t.Fatalf("waiting: %v", rep.Waiting)
				}
				if !c.waits {
					return
				}
				if got := len(reasons(rep)[plan.ReasonMass]); got != c.gone+c.edited || len(rep.Waiting) != got {
					t.Errorf("%d paths are listed", got)
				}
				state := head(t, r.copies[0].root, "north--windmill")
				for i := range c.gone + c.edited {
					logical := strings.TrimPrefix(name(i), "North/Windmill/")
					if state.State(state.Head())[logical] != before[logical] {
						t.Errorf("%s is no longer on record as it was", logical)
					}
				}
			}
			r.wantAccepted("north--windmill")
		})
	}
}

// Malware encrypts every photo, in each of the ways that would make it look
// like something else, and does so again every night with new bytes. What has a
// new name is stored once, since it may be what people brought home; what
// replaces it is not. All that was kept stays on record, and when the folder is
// put back, a person's word removes what the malware left.
func TestMalwareDoesNotFillTheDrives(t *testing.T) {
	for _, c := range []struct {
		name string
		path func(string) string
	}{
		{"same names", func(p string) string { return p }},
		{"another ending", func(p string) string { return p + ".locked" }},
		{"another ending that is a photo's", func(p string) string { return p + ".jpg" }},
		{"names that tell nothing, in place", func(p string) string {
			return filepath.Dir(p) + "/" + manifest.Sum([]byte(p)).String()[:20]
		}},
		{"names that tell nothing, at the top", func(p string) string { return manifest.Sum([]byte(p)).String()[:20] + ".jpg" }},
		{"other sites", func(p string) string {
			return strings.NewReplacer("North/", "Norht/", "Windmill", "Mill", "Draw", "Drew").Replace(p)
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRanch(t, "shelf", "barn")
			for _, y := range []string{"2017", "2018", "2019", "2020"} {
				for _, site := range []string{"North/Windmill", "North/Gully", "South/Draw"} {
					r.visit(site, y+"-06-21")
				}
			}
			r.wantCurrent(r.mirror())
			good := r.t.TempDir()
			must(t, os.CopyFS(good, os.DirFS(r.folder)))
			copyTimes(t, good, r.folder)
			before := r.onRecord()
			kept := map[string]manifest.Digest{}
			for night := range 5 {
				must(t, os.RemoveAll(r.folder))
				must(t, os.MkdirAll(r.folder, 0o777))
				must(t, fs.WalkDir(os.DirFS(good), ".", func(p string, d fs.DirEntry, err error) error {
					if err == nil && !d.IsDir() {
						r.writeAt(c.path(p), fmt.Sprintf("ciphertext %d of %s", night, p), r.now)
					}
					return err
				}))
				r.now = r.now.Add(time.Hour)
				rep := r.mirror()
				r.wantCurrent(rep)
				if !rep.Wants() || len(reasons(rep)[plan.ReasonMass]) < 36 {
					t.Errorf("night %d: waiting %v", night, rep.Waiting)
				}
				now := r.onRecord()
				for path, d := range before {
					if now[path] != d {
						t.Errorf("night %d: %s is no longer on record as it was", night, path)
					}
				}
				if night == 0 {
					kept = contents(t, r.copies[1].root)
				}
				diff(t, fmt.Sprint("night ", night), contents(t, r.copies[1].root), kept)
			}
			must(t, os.RemoveAll(r.folder))
			must(t, os.CopyFS(r.folder, os.DirFS(good)))
			copyTimes(t, r.folder, good)
			r.mirror(func(in *In) { in.Accept = &Acceptance{Who: "Ada", Why: "malware"} })
			if rep := r.mirror(); rep.Wants() || rep.Made != 0 {
				t.Errorf("after the folder was put back: %+v", rep)
			}
			diff(t, "after the folder was put back", r.onRecord(), before)
		})
	}
}

// onRecord is every path below the working folder that the newest versions have,
// with its digest.
func (r *ranch) onRecord() map[string]manifest.Digest {
	r.t.Helper()
	all := map[string]manifest.Digest{}
	slugs, err := store.Objects(context.Background(), r.copies[0].root)
	must(r.t, err)
	for _, slug := range slugs {
		inv, rec := head(r.t, r.copies[0].root, slug), record(r.t, r.copies[0].root, slug)
		for logical, e := range rec.Paths {
			all[manifest.RawPath(rec.Base, logical, e)] = inv.State(inv.Head())[logical]
		}
	}
	return all
}

// copyTimes gives every file in to the time its counterpart in from has.
func copyTimes(t testing.TB, to, from string) {
	t.Helper()
	must(t, fs.WalkDir(os.DirFS(from), ".", func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		st, err := os.Stat(filepath.Join(from, p))
		if err != nil {
			return err
		}
		return os.Chtimes(filepath.Join(to, p), st.ModTime(), st.ModTime())
	}))
}

// Two photos that a person let change names have each other's size and time, as
// raw files of one visit may. Bytes that are on record are no damage.
func TestPhotosThatChangedNamesAreNoDamage(t *testing.T) {
	r := newRanch(t, "shelf")
	at := r.now.Add(-72 * time.Hour)
	a, b := "North/Windmill/2019-06-21/plot.dng", "North/Windmill/2019-06-21/landscape.dng"
	r.writeAt(a, "raw bytes, no sky", at)
	r.writeAt(b, "raw bytes, a view", at)
	r.wantCurrent(r.mirror())
	r.rename(a, a+"~")
	r.rename(b, a)
	r.rename(a+"~", b)
	rep := r.mirror()
	r.wantCurrent(rep)
	if rep.Made != 1 || len(rep.Waiting) > 0 {
		t.Errorf("made %d versions, waiting %v", rep.Made, rep.Waiting)
	}
	inv := head(t, r.copies[0].root, "north--windmill")
	if d := inv.State(inv.Head())["2019-06-21/plot.dng"]; d != manifest.Sum([]byte("raw bytes, a view")) {
		t.Errorf("plot.dng is recorded as %v", d)
	}
}
