package mirror

import (
	"context"
	"slices"
	"testing"
	"time"

	"linecamp/daemon/authority"
	"linecamp/daemon/authority/marks"
	"linecamp/daemon/mirror/gone"
	"linecamp/daemon/mirror/sites"
	"linecamp/daemon/reach"
	"linecamp/manifest/store"
	"linecamp/manifest/store/s3test"
)

// goesOnApart is an archive whose site north--windmill two histories went on with, one in
// a bucket and one on a drive, and that took both in: the object is closed.
func goesOnApart(t *testing.T) *ranch {
	srv := s3test.Fake(t)
	accept := func(in *In) { in.Accept = &Acceptance{Who: "Ada"} }
	const site = "North/Windmill/"
	r := newRanch(t)
	bucket, shelf := r.addBucket(srv, "bucket"), r.addDrive("shelf")
	r.write("East/Tank/2019-06-21/plot.jpg", "tank")
	for _, year := range []string{"2017", "2018", "2019"} {
		r.write(site+year+"-06-21/plot.jpg", "plot of "+year)
	}
	r.mirror()
	r.remove(site + "2017-06-21/plot.jpg")
	r.mirror(accept)
	r.reach("shelf")
	o := r.takesOver(laptopID)
	r.reach("bucket")
	r.write(site+"2020-06-21/plot.jpg", "theirs of 2020")
	r.mirror()
	o.reach("shelf")
	o.now = r.now.Add(time.Minute)
	o.write(site+"2021-06-21/plot.jpg", "ours of 2021")
	o.write(site+"2022-06-21/plot.jpg", "ours of 2022")
	o.mirror()
	o.remove(site + "2021-06-21/plot.jpg")
	o.remove(site + "2018-06-21/plot.jpg")
	o.mirror(accept)
	ours, err := store.ReadSeal(t.Context(), shelf.root)
	must(t, err)
	must(t, store.ReplaceSeal(t.Context(), bucket.root, ours))
	o.reach("bucket", "shelf")
	o.mirror()
	if rep := o.settles(); rep.Copies[0].State != reach.Current || rep.Copies[1].State != reach.Current {
		t.Fatalf("%+v", rep)
	}
	return o
}

// Where a site goes on in a further object, what was deleted on purpose before, on both
// sides or on this one, does not come back with what the other history has.
func TestWhatWasDeletedStaysInAFurtherObject(t *testing.T) {
	o := goesOnApart(t)
	inv := head(t, o.copies[1].root, "north--windmill-2")
	want := []string{"2019-06-21/plot.jpg", "2020-06-21/plot.jpg", "2022-06-21/plot.jpg"}
	if got := paths(inv.State(inv.Head())); !slices.Equal(got, want) {
		t.Errorf("the site has %q, want %q", got, want)
	}
}

// A closed object costs nothing once all of it is taken in: no drive is read anew for it,
// and no bucket is asked to finish it.
func TestAClosedObjectIsLeftAlone(t *testing.T) {
	o := goesOnApart(t)
	log, err := authority.NewLog(archiveName, logOf(t, o.copies[1].root))
	must(t, err)
	shelf := o.copies[1]
	if there := head(t, shelf.root, "north--windmill").Head(); log.Head("north--windmill") >= there {
		t.Fatalf("nothing of version %d on is closed", there)
	}
	holds := gone.Holds{Copy: authority.Copy{ID: shelf.id, Name: shelf.name, Root: shelf.root}, Ledger: o.led,
		Sites: &sites.Catalogue{Cache: o.cache, Log: func() *authority.Log { return log }}}
	must(t, holds.Learn(t.Context(), false, func(context.Context) error { t.Error("the drive is read anew"); return nil }))
	for _, anew := range []bool{false, true} {
		if anew {
			must(t, authority.ScanAnew(o.led, o.copies[0].id))
			must(t, marks.Begun(o.led).Add(marks.Mark{Copy: o.copies[0].id, Slug: "north--windmill", N: 3}))
			o.mirror()
		}
		all, err := marks.Begun(o.led).All()
		must(t, err)
		if slices.ContainsFunc(all, func(m marks.Mark) bool { return m.Slug == "north--windmill" }) {
			t.Errorf("anew %v: it is marked for ever: %v", anew, all)
		}
	}
}
