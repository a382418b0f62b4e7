package mirror

import (
	"context"
	"os"
	"path/filepath"
	"testing"

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
		if len(why[ReasonDamaged]) != 1 || why[ReasonDamaged][0] != note {
			t.Errorf("waiting: %v, want %s as damaged", rep.Waiting, note)
		}
		if len(why[ReasonBehind]) != 3 {
			t.Errorf("waiting: %v, want the three pictures under the new name as well", rep.Waiting)
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
	if len(why[ReasonAgain]) != 1 || why[ReasonAgain][0] != note {
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
	if why := reasons(rep); rep.Made != 0 || len(why[ReasonHidden]) != 6 {
		t.Errorf("%d versions were made, waiting %v", rep.Made, rep.Waiting)
	}
	r.wantCurrent(r.mirror())
	inv := head(t, r.copies[0].root, "north--windmill")
	if rec := record(t, r.copies[0].root, "north--windmill"); inv.Head() != 2 || rec.Base != "North/Old Mill" || len(rec.Paths) != 9 {
		t.Errorf("version %d, in %q, with %d files", inv.Head(), rec.Base, len(rec.Paths))
	}
}
