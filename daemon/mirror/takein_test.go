package mirror

import (
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"linecamp/daemon/authority"
	"linecamp/daemon/mirror/report"
	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
)

const laptopID = "22222222-2222-4222-8222-333333333333"

// takesOver is another machine, with its own copy of the working folder, that takes over
// with the copies in reach.
func (r *ranch) takesOver(author string) *ranch {
	r.t.Helper()
	o := &ranch{t: r.t, folder: filepath.Join(r.t.TempDir(), "monitoring"), state: r.t.TempDir(), author: author, now: r.now, copies: r.copies}
	must(r.t, copyTree(r.folder, o.folder))
	o.openState()
	r.t.Cleanup(func() { o.led.Close() })
	for _, c := range r.copies {
		takenOver(r.t, c)
	}
	o.takeOver("laptop")
	return o
}

// reach has only the copies of these names be in reach.
func (r *ranch) reach(names ...string) {
	for _, c := range r.copies {
		c.away = !slices.Contains(names, c.name)
	}
}

// everCommitted is every content that a copy has now, wherever it is named.
func everCommitted(t testing.TB, copies []*copyOf) map[manifest.Digest]string {
	all := map[manifest.Digest]string{}
	for _, c := range copies {
		slugs, err := store.Objects(t.Context(), c.root)
		must(t, err)
		for _, slug := range slugs {
			for d, paths := range head(t, c.root, slug).Content {
				all[d] = c.name + ": " + slug + "/" + paths[0]
			}
		}
	}
	return all
}

// wantMet wants every copy to be current and to tell one history, all that was ever
// committed to be in a manifest on each, and nothing more to be done.
func (r *ranch) wantMet(rep report.Report, ever map[manifest.Digest]string) {
	r.t.Helper()
	for _, c := range rep.Copies {
		if c.State != "current" {
			r.t.Errorf("%s is %s: %s", c.Copy, c.State, c.Error)
		}
	}
	for _, w := range rep.Waiting {
		r.t.Errorf("there waits %s: %s", w.Path, w.Reason)
	}
	if rep.Made != 0 {
		r.t.Errorf("a further round made %d versions", rep.Made)
	}
	var first map[string]manifest.Digest
	for _, c := range r.copies {
		got := map[string]manifest.Digest{}
		log, err := store.ReadSeal(r.t.Context(), c.root)
		must(r.t, err)
		if scanned, err := authority.WasScanned(r.led, c.id); err != nil || !scanned {
			r.t.Errorf("%s would be read anew in every round (%v)", c.name, err)
		}
		closed := map[string]bool{}
		for l := range log.All() {
			if l.What == seal.Closed {
				_, slug, _ := manifest.ParseObjectID(l.Object)
				closed[slug] = true
			}
		}
		for key, d := range contents(r.t, c.root) {
			slug, _, _ := strings.Cut(key, "/")
			if !strings.HasPrefix(key, "extensions/linecamp-quarantine/") && !closed[slug] {
				got[key] = d
			}
		}
		if first == nil {
			first = got
		}
		diff(r.t, c.name, got, first)
		slugs, err := store.Objects(r.t.Context(), c.root)
		must(r.t, err)
		named := map[manifest.Digest]bool{}
		for _, slug := range slugs {
			for d := range head(r.t, c.root, slug).Content {
				named[d] = named[d] || !closed[slug] || log.Heads()[manifest.ObjectID(archiveName, slug)] > 0
			}
		}
		for d, where := range ever {
			if !named[d] {
				r.t.Errorf("%s names nowhere what was committed at %s", c.name, where)
			}
		}
	}
}

// settles runs rounds until none makes a version, and returns the last.
func (r *ranch) settles() report.Report {
	r.t.Helper()
	for range 6 {
		if rep := r.mirror(); rep.Made == 0 {
			return rep
		}
	}
	r.t.Fatal("it makes versions for ever")
	return report.Report{}
}

// What another history committed on a drive is taken in, once: beside what was recorded
// here under the same number, as it is where the number is free, and as a site of its own.
func TestWhatIsLooseIsTakenIn(t *testing.T) {
	r := newRanch(t, "barn", "shelf")
	barn, shelf := r.copies[0], r.copies[1]
	r.visit("North/Windmill", "2019-06-21")
	r.visit("South/Draw", "2019-06-21")
	r.mirror()
	r.reach("shelf")
	o := r.takesOver(laptopID)
	r.reach("barn")
	r.visit("North/Windmill", "2020-06-21")
	r.visit("South/Draw", "2020-06-21")
	r.visit("East/Creek", "2020-06-21")
	r.mirror()
	r.write("North/Windmill/2021-06-21/plot.jpg", "theirs")
	r.mirror()
	o.reach("shelf")
	o.now = r.now
	o.write("North/Windmill/2021-06-21/plot.jpg", "ours")
	o.mirror()
	ever := everCommitted(t, o.copies)

	// The drive has the archive's seal now, and the other one beside it.
	theirs, err := store.ReadSeal(t.Context(), barn.root)
	must(t, err)
	must(t, store.PutLate(t.Context(), barn.root, theirs))
	must(t, copyTree(filepath.Join(shelf.path, "extensions/linecamp-seal/log"), filepath.Join(barn.path, "extensions/linecamp-seal/log")))

	o.reach("barn", "shelf")
	o.visit("South/Draw", "2023-06-21")
	if rep := o.mirror(); rep.Made == 0 || !strings.Contains(rep.Copies[0].Note, "2 versions that another history recorded there were taken in") {
		t.Errorf("met: %+v", rep)
	}
	o.wantMet(o.settles(), ever)
	north := head(t, shelf.root, "north--windmill")
	want := []string{"2019-06-21/landscape.jpg", "2019-06-21/notes.txt", "2019-06-21/plot.jpg", "2020-06-21/landscape.jpg", "2020-06-21/notes.txt",
		"2020-06-21/plot.jpg", "2021-06-21/plot.jpg", "2021-06-21/plot~" + manifest.Sum([]byte("theirs")).String()[:8] + ".jpg"}
	if got := paths(north.State(north.Head())); !slices.Equal(got, want) {
		t.Errorf("the site has %q, want %q", got, want)
	}
	if n := head(t, shelf.root, "east--creek").Head(); n != 1 {
		t.Errorf("what was free has %d versions", n)
	}
}

// loosened is a machine that took over from shelf and meets barn, on which another one recorded one
// more version of a site; barn has the archive's seal by now, and the other one beside it
// where keeps says so.
func loosened(t *testing.T, file string, keeps bool) *ranch {
	r := newRanch(t, "barn", "shelf")
	barn, shelf := r.copies[0], r.copies[1]
	r.visit("North/Windmill", "2019-06-21")
	r.mirror()
	r.reach("shelf")
	o := r.takesOver(laptopID)
	r.reach("barn")
	r.write("North/Windmill/"+file, "theirs")
	r.mirror()
	r.write("North/Windmill/2021-06-22/plot.jpg", "theirs again")
	r.mirror()
	o.reach("shelf")
	o.now = r.now
	o.visit("North/Windmill", "2020-06-21")
	o.mirror()
	if keeps {
		must(t, store.PutLate(t.Context(), barn.root, logOf(t, barn.root)))
	}
	must(t, copyTree(filepath.Join(shelf.path, "extensions/linecamp-seal/log"), filepath.Join(barn.path, "extensions/linecamp-seal/log")))
	o.reach("barn", "shelf")
	return o
}

// What only the copy of the other history can hold does not give way there, and holds up
// nothing elsewhere.
func TestWhatNoOtherCopyHoldsDoesNotGiveWay(t *testing.T) {
	o := loosened(t, "2021-06-21/film.mp4", true)
	barn, shelf := o.copies[0], o.copies[1]
	film := manifest.Sum([]byte("theirs"))
	whole := shelf.root
	shelf.root = small{whole, film}
	has := func() bool {
		for d, paths := range head(t, barn.root, "north--windmill").Content {
			if d == film {
				_, err := barn.root.Stat(t.Context(), "north--windmill/"+paths[0])
				return err == nil
			}
		}
		return false
	}
	for range 3 {
		rep := o.mirror()
		if !has() {
			t.Fatalf("the only bytes of the film gave way: %+v", rep)
		}
		if c := rep.Copies[0]; c.State != "behind" || !strings.Contains(c.Error, "film.mp4") {
			t.Errorf("barn is %s: %s", c.State, c.Error)
		}
	}
	o.visit("North/Windmill", "2022-06-21")
	if rep := o.mirror(); rep.Made != 1 {
		t.Errorf("the site waits: %+v", rep)
	}
}

// What no log of any history names is left as it is, and holds up nothing elsewhere.
func TestWhatNoLogNamesIsLeft(t *testing.T) {
	o := loosened(t, "2021-06-21/plot.jpg", false)
	before := head(t, o.copies[0].root, "north--windmill").Encode()
	o.visit("North/Windmill", "2022-06-21")
	rep := o.mirror()
	if c := rep.Copies[0]; rep.Made != 1 || c.State != "behind" || !strings.Contains(c.Error, "named by no log") {
		t.Errorf("%+v", rep)
	}
	if after := head(t, o.copies[0].root, "north--windmill").Encode(); string(after) != string(before) {
		t.Error("it was changed")
	}
}
