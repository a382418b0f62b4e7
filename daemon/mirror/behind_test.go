package mirror

import (
	"context"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"linecamp/daemon/mirror/plan"
	"linecamp/manifest"
	"linecamp/manifest/store"
)

// A file rots, and the rest of its site's folder gets another name. The site
// must not move to the new name without that file: its record would then say
// that the file was to be found there, and the next round would call it gone.
func TestASiteDoesNotMoveOnWithoutAFileThatWaits(t *testing.T) {
	const note = "North/Gully/2018-06-21/notes.txt"
	r := newRanch(t, "shelf")
	r.write(note, "short grass, one deer")
	for _, name := range []string{"plot.jpg", "landscape.jpg", "IMG_0003.JPG"} {
		r.write("North/Gully/2021-spring/2021-04-02/"+name, "picture "+name)
	}
	for _, date := range []string{"2018-06-21", "2019-06-21", "2020-06-21", "2021-06-21"} {
		r.visit("North/Windmill", date)
	}
	r.wantCurrent(r.mirror())
	slug := "north--gully"
	before := head(t, r.copies[0].root, slug)

	name := filepath.Join(r.folder, note)
	st, err := os.Stat(name)
	must(t, err)
	must(t, os.WriteFile(name, []byte("short grass, one deeq"), 0o666))
	must(t, os.Chtimes(name, st.ModTime(), st.ModTime()))
	r.rename("North/Gully/2021-spring", "North/Gully/Renamed")

	for range 2 {
		rep := r.mirror()
		why := reasons(rep)
		if len(why[plan.ReasonDamaged]) != 1 || why[plan.ReasonDamaged][0] != note {
			t.Errorf("waiting: %v, want %s as damaged", rep.Waiting, note)
		}
		if len(why[plan.ReasonBehind]) != 4 {
			t.Errorf("waiting: %v, want the new folder and its three pictures as well", rep.Waiting)
		}
		if now := head(t, r.copies[0].root, slug); now.Head() != before.Head() {
			t.Errorf("%s has a new version: %v", slug, paths(now.State(now.Head())))
		}
	}

	must(t, os.WriteFile(name, []byte("short grass, one deer"), 0o666)) // as mend would
	must(t, os.Chtimes(name, st.ModTime(), st.ModTime()))
	r.wantCurrent(r.mirror())
	all := contents(t, r.copies[0].root)
	slugs, err := store.Objects(context.Background(), r.copies[0].root)
	must(t, err)
	kept := false
	for _, slug := range slugs {
		inv := head(t, r.copies[0].root, slug)
		for _, d := range inv.State(inv.Head()) {
			kept = kept || d == manifest.Sum([]byte("short grass, one deer"))
		}
	}
	if !kept {
		t.Errorf("the note is in no newest state of %v", slugs)
	}
	for key, d := range all {
		if d == manifest.Sum([]byte("short grass, one deeq")) {
			t.Errorf("%s holds the rotten note", key)
		}
	}
}

// The pictures of a site are deleted, and the note beside them counts for no site
// any more, where it waits for a person. Until then its site's record keeps it.
func TestAnEntryStaysWhileItsFileWaitsElsewhere(t *testing.T) {
	const note = "North/Gully/2018-06-21/notes.txt"
	r := newRanch(t, "shelf")
	r.write(note, "short grass, one deer, and the gate was open")
	for _, name := range []string{"plot.jpg", "landscape.jpg"} {
		r.write("North/Gully/2021-spring/2021-04-02/"+name, "picture "+name)
	}
	r.visit("North/Windmill", "2021-06-21")
	r.wantCurrent(r.mirror())
	r.remove("North/Gully/2021-spring")
	why := reasons(r.mirror())
	if len(why[plan.ReasonAgain]) != 1 || why[plan.ReasonAgain][0] != note {
		t.Fatalf("waiting: %v, want %s to wait under its new place", why, note)
	}
	inv := head(t, r.copies[0].root, "north--gully")
	if now := paths(inv.State(inv.Head())); len(now) != 1 || now[0] != "2018-06-21/notes.txt" {
		t.Errorf("the newest state has %v", now)
	}
	r.wantCurrent(r.mirror(func(in *In) { in.Accept = &Acceptance{Who: "Ada", Why: "looked"} }))
	if inv = head(t, r.copies[0].root, "north--gully"); len(paths(inv.State(inv.Head()))) != 0 {
		t.Errorf("accepted, and it still has %v", paths(inv.State(inv.Head())))
	}
}

// A site's folder gets another name, and a part of it cannot be listed under that.
// Nobody can see whether all came along, so the site waits until it can be.
func TestASiteWaitsUntilAllOfItsNewFolderIsRead(t *testing.T) {
	r := newRanch(t, "shelf")
	for _, date := range []string{"2018-06-21", "2019-06-21", "2020-06-21"} {
		r.visit("North/Windmill", date)
	}
	r.wantCurrent(r.mirror())
	r.rename("North/Windmill", "North/Old Mill")
	rep := r.mirror(func(in *In) { hide(in.Tally, "North/Old Mill/2018-06-21") })
	if why := reasons(rep); rep.Made != 0 || len(why[plan.ReasonHidden]) != 1 {
		t.Errorf("%d versions were made, waiting %v", rep.Made, rep.Waiting)
	}
	r.wantCurrent(r.mirror())
	inv := head(t, r.copies[0].root, "north--windmill")
	if rec := record(t, r.copies[0].root, "north--windmill"); inv.Head() != 2 || rec.Base != "North/Old Mill" || len(rec.Paths) != 9 {
		t.Errorf("version %d, in %q, with %d files", inv.Head(), rec.Base, len(rec.Paths))
	}
}

// While something hangs on a site folder's new name, the site's new pictures are
// kept all the same. They go by the old name on record until that is settled.
func TestNewPicturesAreKeptWhileASitesNewNameWaits(t *testing.T) {
	const (
		slug  = "north--windmill"
		fresh = "2026-06-21/plot.jpg"
	)
	for _, c := range []struct {
		name   string
		before func(*ranch)
		round  func(*In)
		reason string
		after  func(*ranch)
	}{
		{"a part of the folder cannot be listed", func(*ranch) {}, func(in *In) { hide(in.Tally, "North/Old Mill/2018-06-21") }, plan.ReasonHidden, func(*ranch) {}},
		{"a rotten file was left behind", func(r *ranch) {
			name := filepath.Join(r.folder, "North/Windmill/2018-06-21/notes.txt")
			must(t, os.MkdirAll(filepath.Dir(name), 0o777))
			must(t, os.WriteFile(name, []byte("grasS is fine at North/Windmill on 2018-06-21"), 0o666))
			must(t, os.Chtimes(name, r.now.Add(-48*time.Hour), r.now.Add(-48*time.Hour)))
			must(t, os.Remove(filepath.Join(r.folder, "North/Old Mill/2018-06-21/notes.txt")))
		}, func(*In) {}, plan.ReasonBehind, func(r *ranch) { // as mend would, and somebody takes it along
			r.remove("North/Windmill")
			r.write("North/Old Mill/2018-06-21/notes.txt", "grass is fine at North/Windmill on 2018-06-21")
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRanch(t, "shelf", "barn")
			for _, date := range []string{"2018-06-21", "2019-06-21", "2020-06-21"} {
				r.visit("North/Windmill", date)
			}
			r.wantCurrent(r.mirror())
			r.rename("North/Windmill", "North/Old Mill")
			r.write("North/Old Mill/"+fresh, "a new picture")
			r.now = r.now.Add(-time.Hour)
			c.before(r)
			r.now = r.now.Add(time.Hour)
			for range 2 {
				rep := r.mirror(c.round)
				r.wantCurrent(rep)
				if why := reasons(rep); len(why[c.reason]) == 0 || slices.Contains(why[c.reason], "North/Old Mill/"+fresh) {
					t.Errorf("waiting: %v", rep.Waiting)
				}
				inv := head(t, r.copies[1].root, slug)
				state := inv.State(inv.Head())
				if inv.Head() != 2 || len(paths(state)) != 10 || state[fresh] != manifest.Sum([]byte("a new picture")) {
					t.Errorf("version %d has %v", inv.Head(), paths(state))
				}
				if rec := record(t, r.copies[1].root, slug); rec.Base != "North/Windmill" {
					t.Errorf("it goes by %q on record", rec.Base)
				}
			}
			c.after(r)
			rep := r.mirror()
			r.wantCurrent(rep)
			inv, rec := head(t, r.copies[1].root, slug), record(t, r.copies[1].root, slug)
			if len(rep.Waiting) != 0 || rec.Base != "North/Old Mill" || len(paths(inv.State(inv.Head()))) != 10 {
				t.Errorf("at last version %d, in %q, has %v; %v", inv.Head(), rec.Base, paths(inv.State(inv.Head())), rep.Waiting)
			}
		})
	}
}

// Two sites with the same pictures vanish, and a new folder has them. Whose it is
// is asked each night until somebody says; its new pictures are kept at once.
func TestAFolderOfSeveralSitesKeepsItsNewPictures(t *testing.T) {
	r := newRanch(t, "shelf")
	for _, site := range []string{"North/Windmill", "South/Draw"} {
		for _, name := range []string{"plot.jpg", "landscape.jpg", "notes.txt"} {
			r.write(site+"/2019-06-21/"+name, "the same "+name)
		}
	}
	r.visit("North/Gully", "2019-06-21")
	r.wantCurrent(r.mirror())
	r.rename("North/Windmill", "East/Tank")
	r.remove("South/Draw")
	r.write("East/Tank/2020-06-21/plot.jpg", "a new picture")
	for range 3 {
		rep := r.mirror()
		r.wantCurrent(rep)
		if why := reasons(rep)[plan.ReasonSeveral]; len(why) != 3 || len(rep.Waiting) != 3 {
			t.Errorf("waiting: %v, want the three pictures that two sites had", rep.Waiting)
		}
		inv := head(t, r.copies[0].root, "east--tank")
		if got := paths(inv.State(inv.Head())); inv.Head() != 1 || len(got) != 1 {
			t.Errorf("version %d of the new folder has %v", inv.Head(), got)
		}
		for _, slug := range []string{"north--windmill", "south--draw"} {
			inv := head(t, r.copies[0].root, slug)
			if got := paths(inv.State(inv.Head())); len(got) != 3 {
				t.Errorf("%s has %v on record while it is asked about", slug, got)
			}
		}
	}
	rep := r.mirror(func(in *In) { in.Accept = &Acceptance{Who: "Ada", Why: "one place now"} })
	r.wantCurrent(rep)
	inv := head(t, r.copies[0].root, "east--tank")
	if got := paths(inv.State(inv.Head())); len(got) != 4 || rep.Wants() {
		t.Errorf("accepted, and it has %v; %v", got, rep.Waiting)
	}
}
