package mirror

import (
	"bytes"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"linecamp/daemon/mirror/report"
	"linecamp/daemon/mirror/sites"
	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/verify"
	"linecamp/verify/history"
	"linecamp/verify/restore"
)

// closes has the archive's seal say that an object is not gone on with.
func (r *ranch) closes(slug string) {
	r.t.Helper()
	for _, c := range r.copies {
		log, err := store.ReadSeal(r.t.Context(), c.root)
		must(r.t, err)
		log = log.Clone()
		id := manifest.ObjectID(archiveName, slug)
		must(r.t, log.Append(seal.Line{N: log.Len() + 1, At: r.now, What: seal.Closed, Object: id, Version: log.Heads()[id] + 1, Why: "two buckets have another one"}))
		must(r.t, store.WriteSeal(r.t.Context(), c.root, log))
	}
}

// goesOn wants a site to go on in the object slug, joined to the one before, with these
// files and nothing waiting, and the one before as it was.
func (r *ranch) goesOn(rep report.Report, before string, was []byte, slug string, files ...string) {
	r.t.Helper()
	r.wantCurrent(rep)
	if len(rep.Waiting) > 0 {
		r.t.Errorf("there wait %v", rep.Waiting)
	}
	for _, c := range r.copies {
		if now := head(r.t, c.root, before).Encode(); string(now) != string(was) {
			r.t.Errorf("%s was gone on with on %s", before, c.name)
		}
		inv := head(r.t, c.root, slug)
		var have []string
		for logical := range inv.State(inv.Head()) {
			if !manifest.Reserved(logical) {
				have = append(have, logical)
			}
		}
		slices.Sort(have)
		if !slices.Equal(have, files) {
			r.t.Errorf("%s of %s has %q, want %q", slug, c.name, have, files)
		}
		rec := recordOf(r.t, c.root, inv)
		joins := slices.ContainsFunc(rec.Decisions, func(d manifest.Decision) bool { return d.What == manifest.Joined && d.Path == before })
		if !joins {
			r.t.Errorf("%s says nothing of %s: %v", slug, before, rec.Decisions)
		}
	}
}

func recordOf(t testing.TB, root store.Root, inv *manifest.Inventory) *manifest.Record {
	t.Helper()
	o, err := sites.ReadRecord(t.Context(), root, inv.Slug(), inv)
	must(t, err)
	return o.Rec
}

// A site whose object is closed goes on in a further one, from what the folder shows:
// nothing waits because it is stored again, and what is closed is left alone. It does so
// once, whatever is forgotten, and again where that one is closed too.
func TestASiteGoesOnInAFurtherObject(t *testing.T) {
	for _, renamed := range []bool{false, true} {
		r := newRanch(t, "shelf", "barn")
		const site = "North/Windmill"
		at := site
		r.write("East/Tank/2019-06-21/plot.jpg", "tank")
		r.write(site+"/2019-06-21/plot.jpg", "plot of 2019")
		r.mirror()
		r.write(site+"/2020-06-20/plot.jpg", "plot of 2020")
		r.wantCurrent(r.mirror())
		was := head(t, r.copies[0].root, "north--windmill").Encode()

		r.closes("north--windmill")
		if renamed {
			at = "North/Old Mill"
			r.rename(site, at)
		}
		slug := map[bool]string{false: "north--windmill-2", true: "north--old-mill"}[renamed]
		r.goesOn(r.mirror(), "north--windmill", was, slug, "2019-06-21/plot.jpg", "2020-06-20/plot.jpg")
		for _, forget := range []bool{false, true} {
			if forget {
				r.loseState()
			}
			rep := r.mirror()
			if rep.Made != 0 {
				t.Errorf("%d versions were made of nothing new", rep.Made)
			}
			r.wantCurrent(rep)
		}
		r.write(at+"/2021-06-21/plot.jpg", "plot of 2021")
		r.remove(at + "/2019-06-21/plot.jpg")
		r.mirror()
		files := []string{"2020-06-20/plot.jpg", "2021-06-21/plot.jpg"}
		r.goesOn(r.mirror(func(in *In) { in.Accept = &Acceptance{Who: "Ada"} }), "north--windmill", was, slug, files...)

		second := head(t, r.copies[0].root, slug).Encode()
		r.closes(slug)
		third := map[bool]string{false: "north--windmill-3", true: "north--old-mill-2"}[renamed]
		r.goesOn(r.mirror(), slug, second, third, files...)
		if rep := r.mirror(); rep.Made != 0 {
			t.Errorf("%d versions were made of nothing new", rep.Made)
		}
	}
}

// Of a closed object no version counts: its name stays taken, and there is nothing to join.
func TestAClosedNameStaysTaken(t *testing.T) {
	r := newRanch(t, "shelf")
	r.write("North/Windmill/2019-06-21/plot.jpg", "plot of 2019")
	r.write("North/Tank/2019-06-21/plot.jpg", "tank of 2019")
	r.mirror()
	log, err := store.ReadSeal(t.Context(), r.copies[0].root)
	must(t, err)
	log = log.Clone()
	must(t, log.Append(seal.Line{N: log.Len() + 1, At: r.now, What: seal.Closed, Object: manifest.ObjectID(archiveName, "north--mill"), Version: 1, Why: "two sites"}))
	must(t, store.WriteSeal(t.Context(), r.copies[0].root, log))
	r.write("North/Mill/2020-06-20/plot.jpg", "mill of 2020")
	r.wantCurrent(r.mirror())
	inv := head(t, r.copies[0].root, "north--mill-2")
	if rec := recordOf(t, r.copies[0].root, inv); len(rec.Decisions) > 0 {
		t.Errorf("%v", rec.Decisions)
	}
}

// Files at the top of the folder belong to no site, and go on in a further object too.
func TestWhatHasNoSiteGoesOn(t *testing.T) {
	r := newRanch(t, "shelf")
	r.write("phone list.txt", "the vet")
	r.wantCurrent(r.mirror())
	before, was := "unfiled", head(t, r.copies[0].root, "unfiled").Encode()
	for _, slug := range []string{"unfiled--2", "unfiled--2-2"} {
		r.closes(before)
		r.goesOn(r.mirror(), before, was, slug, "phone list.txt")
		if rep := r.mirror(); rep.Made != 0 {
			t.Errorf("%d versions were made of nothing new", rep.Made)
		}
		before, was = slug, head(t, r.copies[0].root, slug).Encode()
	}
}

// Damage in the folder is not what a site goes on with.
func TestDamageDoesNotGoOn(t *testing.T) {
	r := newRanch(t, "shelf")
	const photo = "North/Windmill/2019-06-21/plot.jpg"
	r.write(photo, "plot of 2019")
	r.write("North/Windmill/2019-06-21/notes.txt", "dry")
	r.wantCurrent(r.mirror())
	r.closes("north--windmill")
	name := filepath.Join(r.folder, photo)
	st, err := os.Stat(name)
	must(t, err)
	must(t, os.WriteFile(name, []byte("plot of 2O19"), 0o666))
	must(t, os.Chtimes(name, st.ModTime(), st.ModTime()))
	rep := r.mirror()
	if len(rep.Waiting) != 1 || rep.Waiting[0].Path != photo {
		t.Errorf("there wait %v", rep.Waiting)
	}
	inv := head(t, r.copies[0].root, "north--windmill-2")
	if _, is := inv.State(inv.Head())["2019-06-21/plot.jpg"]; is {
		t.Error("the damaged photo was recorded")
	}
}

// A site that goes on in a further object is one site for whoever reads a copy: it is found
// by each of its names, its history has both, and what is brought back has the newest bytes
// of each path, from the closed object only what the further one lacks.
func TestAFurtherObjectIsReadAsOneSite(t *testing.T) {
	for _, renamed := range []bool{false, true} {
		r := newRanch(t, "shelf")
		const site = "North/Windmill"
		at, slug := site, "north--windmill-2"
		r.write("East/Tank/2019-06-21/plot.jpg", "tank")
		r.write(site+"/2018-06-21/plot.jpg", "plot of 2018")
		r.write(site+"/2019-06-21/plot.jpg", "plot of 2019")
		r.write(site+"/2019-06-21/notes.txt", "dry")
		r.mirror()
		before := r.now
		r.remove(site + "/2018-06-21/plot.jpg")
		r.mirror(func(in *In) { in.Accept = &Acceptance{Who: "Ada"} })
		r.closes("north--windmill")
		if renamed {
			at, slug = "North/Old Mill", "north--old-mill"
			r.rename(site, at)
		}
		r.mirror()
		r.writeAt(at+"/2019-06-21/notes.txt", "dry, and hot", r.now.Add(-time.Hour))
		r.write(at+"/2020-06-20/plot.jpg", "plot of 2020")
		r.wantCurrent(r.mirror())
		root := r.copies[0].root

		all, err := history.Sites(t.Context(), root)
		must(t, err)
		if len(all) != 2 {
			t.Errorf("the sites are %v", all)
		}
		for _, name := range []string{at, "north--windmill", slug} {
			s, err := history.Find(all, name)
			if err != nil || s.Object != slug {
				t.Errorf("%s is %v, %v", name, s, err)
			}
		}
		s, err := history.Find(all, slug)
		must(t, err)
		h, err := history.Of(t.Context(), root, s)
		must(t, err)
		if len(h.Versions) != 4 || h.Versions[0].Object != "north--windmill" || h.Versions[3].Object != "" || len(h.Formers)+len(h.Missing) > 0 {
			t.Errorf("its history is %+v", h)
		}
		var visits []string
		for _, v := range h.Visits {
			visits = append(visits, fmt.Sprint(v.Date, " ", len(v.Photos), " ", len(v.Notes)))
		}
		if want := []string{"2018-06-21 1 0", "2019-06-21 1 1", "2020-06-20 1 0"}; !slices.Equal(visits, want) {
			t.Errorf("its visits are %q, want %q", visits, want)
		}

		now := map[string]string{"/2019-06-21/plot.jpg": "plot of 2019", "/2019-06-21/notes.txt": "dry, and hot", "/2020-06-20/plot.jpg": "plot of 2020"}
		full := maps.Clone(now)
		full["/2018-06-21/plot.jpg"] = "plot of 2018"
		every := maps.Clone(full)
		every["/2019-06-21/notes (v1).txt"] = "dry"
		then := map[string]string{"/2018-06-21/plot.jpg": "plot of 2018", "/2019-06-21/plot.jpg": "plot of 2019", "/2019-06-21/notes.txt": "dry"}
		back := filepath.Join(t.TempDir(), "back")
		readme, err := os.ReadFile(filepath.Join(r.copies[0].path, "README.txt"))
		must(t, err)
		sh := exec.Command("sh", "-s", r.copies[0].path, back)
		sh.Stdin = bytes.NewReader(readme[bytes.Index(readme, []byte("#!/bin/sh")):])
		if out, err := sh.CombinedOutput(); err != nil {
			t.Errorf("renamed %v, by hand: %v: %s", renamed, err, out)
		}
		got := texts(t, back)
		for p, text := range now {
			if got[at+p] != text {
				t.Errorf("renamed %v, by hand %s is %q, want %q", renamed, at+p, got[at+p], text)
			}
		}

		for name, c := range map[string]struct {
			o    restore.Options
			want map[string]string
			at   string
		}{
			"the site":             {restore.Options{Sites: []verify.Site{s}}, full, at},
			"everything":           {restore.Options{Everything: true}, full, at},
			"everything as it is":  {restore.Options{Everything: true, Newest: true}, now, at},
			"this site first":      {restore.Options{Everything: true, Newest: true, First: []string{slug}}, now, at},
			"every version":        {restore.Options{Sites: []verify.Site{s}, EveryVersion: true}, every, at},
			"a day before":         {restore.Options{Sites: []verify.Site{s}, On: before.Format(time.RFC3339)}, then, site},
			"everything on it":     {restore.Options{Everything: true, On: before.Format(time.RFC3339)}, then, site},
			"a day since":          {restore.Options{Sites: []verify.Site{s}, On: r.now.Format(time.RFC3339)}, now, at},
			"a year of the closed": {restore.Options{Sites: []verify.Site{s}, Year: "2018"}, map[string]string{"/2018-06-21/plot.jpg": "plot of 2018"}, at},
		} {
			c.o.Into = filepath.Join(t.TempDir(), "back")
			rep, err := restore.Run(t.Context(), []restore.Source{{Name: "shelf", Root: root}}, c.o)
			must(t, err)
			want := map[string]string{}
			for p, text := range c.want {
				want[c.at+p] = text
			}
			if c.o.Everything {
				want["East/Tank/2019-06-21/plot.jpg"] = "tank"
			}
			if got := texts(t, c.o.Into); !maps.Equal(got, want) || rep.Wants() || len(rep.Trouble) > 0 {
				t.Errorf("renamed %v, %s: got %q, want %q; %+v", renamed, name, got, want, rep)
			}
		}
	}
}

// texts are the files below a folder.
func texts(t testing.TB, folder string) map[string]string {
	all := map[string]string{}
	must(t, filepath.WalkDir(folder, func(name string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		b, err := os.ReadFile(name)
		rel, _ := filepath.Rel(folder, name)
		all[filepath.ToSlash(rel)] = string(b)
		return err
	}))
	return all
}

// A site is closed from version 2 on, and a copy that was away has another history's in the
// place of version 1: it is closed from there on, and each copy gets the bytes of both.
func TestASiteIsClosedOnceMore(t *testing.T) {
	for _, kinds := range [][]string{{"barn", "shelf"}, {"barn", "bucket"}} {
		desk := twoApart(t, kinds, "South/Draw")
		(&ranch{t: t, now: desk.now, copies: desk.copies[:1]}).closes("south--draw")
		desk.write("South/Draw/2021-06-20/desk.jpg", "of the desk, later")
		desk.settles()
		ever := everCommitted(t, desk.copies)
		desk.reach(kinds...)
		desk.wantMet(desk.settles(), ever)
	}
}
