package mirror

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"linecamp/daemon/mirror/plan"
	"linecamp/daemon/mirror/report"
	"linecamp/daemon/reach"
	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
)

func TestFirstRoundThenNothingNew(t *testing.T) {
	r := newRanch(t, "shelf", "barn")
	r.visit("North/Windmill", "2019-06-21")
	r.visit("North/Windmill", "2020-06-22")
	r.visit("South/Draw", "2020-06-22")
	r.write("budget.txt", "no site")

	rep := r.mirror()
	r.wantCurrent(rep)
	if rep.Made != 3 || rep.Wants() {
		t.Errorf("made %d versions, wants a person: %v", rep.Made, rep.Wants())
	}
	for _, c := range rep.Copies {
		if c.Files != 10 || c.Versions != 3 {
			t.Errorf("%s received %d files in %d versions, want 10 in 3", c.Copy, c.Files, c.Versions)
		}
	}
	before := contents(t, r.copies[0].root)

	rep = r.mirror()
	r.wantCurrent(rep)
	if rep.Made != 0 {
		t.Errorf("a second round with nothing changed made %d versions", rep.Made)
	}
	for _, c := range rep.Copies {
		if c.Files+c.Versions != 0 || c.Bytes != 0 {
			t.Errorf("%s received something: %+v", c.Copy, c)
		}
	}
	diff(t, "after the second round", contents(t, r.copies[0].root), before)
}

func TestTheRecordSaysWhatOCFLCannot(t *testing.T) {
	r := newRanch(t, "shelf")
	when := time.Date(2019, 6, 21, 15, 4, 5, 123456789, time.UTC)
	r.writeAt("North/Windmill/2019-06-21/plot.jpg", "picture", when)
	r.writeAt("North/Windmill/2019-06-21/bad\xff.txt", "note", when)
	r.mirror()

	inv := head(t, r.copies[0].root, "north--windmill")
	raw, _, err := store.ReadSmall(context.Background(), r.copies[0].root, "north--windmill/"+inv.Content[inv.State(1)[manifest.RecordPath]][0], 1<<20)
	must(t, err)
	rec, err := manifest.DecodeRecord(raw)
	must(t, err)
	if rec.Site != "Windmill" || rec.Pasture != "North" || rec.Base != "North/Windmill" {
		t.Errorf("names are %q, %q, %q", rec.Site, rec.Pasture, rec.Base)
	}
	e := rec.Paths["2019-06-21/plot.jpg"]
	if !e.Modified.Equal(when) || e.View != "plot" || e.Visit != "2019-06-21" || e.Kind != manifest.KindPhoto || e.Bytes != 7 {
		t.Errorf("the photo's entry is %+v", e)
	}
	logical, _ := manifest.Logical("2019-06-21/bad\xff.txt")
	if got := string(rec.Paths[logical].Raw); got != "2019-06-21/bad\xff.txt" {
		t.Errorf("the raw name is %q", got)
	}
}

func TestEditDeleteAndMove(t *testing.T) {
	r := newRanch(t, "shelf")
	r.visit("North/Windmill", "2019-06-21")
	r.visit("North/Windmill", "2020-06-22")
	r.mirror()

	r.writeAt("North/Windmill/2020-06-22/notes.txt", "rewritten", r.now)
	r.remove("North/Windmill/2019-06-21/plot.jpg")
	r.rename("North/Windmill/2019-06-21/landscape.jpg", "North/Windmill/2019-06-21/horizon.jpg")
	r.now = r.now.Add(time.Hour)
	rep := r.mirror()
	r.wantCurrent(rep)

	inv := head(t, r.copies[0].root, "north--windmill")
	if inv.Head() != 2 {
		t.Fatalf("there are %d versions, want 2", inv.Head())
	}
	want := []string{"2019-06-21/horizon.jpg", "2019-06-21/notes.txt", "2020-06-22/landscape.jpg", "2020-06-22/notes.txt", "2020-06-22/plot.jpg"}
	if got := paths(inv.State(2)); !slices.Equal(got, want) {
		t.Errorf("the state is %v, want %v", got, want)
	}
	if n := len(inv.Paths(2)); n != 2 {
		t.Errorf("version 2 stored %d contents, want the note and the record", n)
	}
	old := inv.State(1)["2019-06-21/plot.jpg"]
	if !exists(t, filepath.Join(r.copies[0].path, "north--windmill", inv.Content[old][0])) {
		t.Error("what was deleted in the working folder is gone from the copy")
	}
}

func TestRenamedSiteFolderIsTheSameSite(t *testing.T) {
	r := newRanch(t, "shelf", "barn")
	r.visit("North/Windmill", "2019-06-21")
	r.visit("South/Draw", "2019-06-22")
	r.mirror()
	r.rename("North/Windmill", "North Flat/Old Windmill")
	rep := r.mirror()
	r.wantCurrent(rep)
	inv := head(t, r.copies[0].root, "north--windmill")
	if inv.Head() != 2 || !manifest.SameState(people(inv.State(1)), people(inv.State(2))) {
		t.Errorf("the rename changed logical paths: %v", paths(inv.State(inv.Head())))
	}
	if len(inv.Paths(2)) != 1 {
		t.Errorf("the rename stored %v again", inv.Paths(2))
	}
	if slugs, err := store.Objects(context.Background(), r.copies[0].root); err != nil || len(slugs) != 2 {
		t.Errorf("the objects are %v (%v), want two", slugs, err)
	}
}

func people(state map[string]manifest.Digest) map[string]manifest.Digest {
	all := map[string]manifest.Digest{}
	for p, d := range state {
		if p != manifest.RecordPath {
			all[p] = d
		}
	}
	return all
}

func TestLargeChangeBecomesSeveralVersionsNewestFirst(t *testing.T) {
	r := newRanch(t, "shelf", "barn")
	big := strings.Repeat("x", 30<<20)
	for i, date := range []string{"2017-06-20", "2018-06-20", "2019-06-20", "2020-06-20", "2021-06-20"} {
		r.write("North/Windmill/"+date+"/plot.jpg", string(rune('a'+i))+big)
	}
	r.visit("South/Draw", "2016-06-20")
	rep := r.mirror()
	r.wantCurrent(rep)
	inv := head(t, r.copies[0].root, "north--windmill")
	if inv.Head() != 3 {
		t.Fatalf("150 MiB became %d versions, want 3", inv.Head())
	}
	if got := paths(inv.State(1)); !slices.Equal(got, []string{"2020-06-20/plot.jpg", "2021-06-20/plot.jpg"}) {
		t.Errorf("the first version holds %v, want the newest visits", got)
	}
	for _, v := range inv.Versions {
		if !v.Created.Equal(inv.Versions[0].Created) {
			t.Error("the versions of one round differ in their time")
		}
	}
}

func TestDamageInTheWorkingFolderIsNotRecorded(t *testing.T) {
	r := newRanch(t, "shelf")
	r.visit("North/Windmill", "2019-06-21")
	r.mirror()
	name := filepath.Join(r.folder, "North/Windmill/2019-06-21/plot.jpg")
	st, err := os.Stat(name)
	must(t, err)
	b, err := os.ReadFile(name)
	must(t, err)
	b[3] ^= 0x40
	must(t, os.WriteFile(name, b, 0o666))
	must(t, os.Chtimes(name, st.ModTime(), st.ModTime()))
	r.loseState() // so that the file is read again

	rep := r.mirror()
	if got := reasons(rep)[plan.ReasonDamaged]; !slices.Equal(got, []string{"North/Windmill/2019-06-21/plot.jpg"}) {
		t.Errorf("waiting as damaged: %v", got)
	}
	if n := head(t, r.copies[0].root, "north--windmill").Head(); n != 1 || rep.Made != 0 {
		t.Errorf("rot became version %d", n)
	}
}

func TestStateLostSendsNothingAgain(t *testing.T) {
	r := newRanch(t, "shelf", "barn")
	r.visit("North/Windmill", "2019-06-21")
	r.visit("South/Draw", "2020-06-21")
	r.mirror()
	before := contents(t, r.copies[0].root)
	r.loseState()
	rep := r.mirror()
	r.wantCurrent(rep)
	for _, c := range rep.Copies {
		if c.Versions+c.Files != 0 || rep.Made != 0 {
			t.Errorf("after losing the state: made %d, %+v", rep.Made, c)
		}
	}
	diff(t, "after losing the state", contents(t, r.copies[0].root), before)
}

func TestStateLostWaitsUntilEveryCopyWasRead(t *testing.T) {
	r := newRanch(t, "shelf", "barn")
	r.visit("North/Windmill", "2019-06-21")
	r.mirror()
	r.loseState()
	r.visit("North/Windmill", "2020-06-21")
	r.copies[1].away = true
	rep := r.mirror()
	if rep.Made != 0 || !rep.Wants() {
		t.Errorf("authored %d versions although barn was never read by this state", rep.Made)
	}
	r.copies[1].away = false
	r.wantCurrent(r.mirror())
}

func TestCopyGivenUp(t *testing.T) {
	r := newRanch(t, "shelf", "barn")
	r.visit("North/Windmill", "2019-06-21")
	r.mirror()
	r.loseState()
	r.visit("North/Windmill", "2020-06-21")
	r.copies[1].away = true
	rep := r.mirror(func(in *In) { in.GivenUp, in.Copies = []string{in.Copies[1].ID}, in.Copies[:1] })
	if rep.Made != 1 {
		t.Errorf("made %d versions after giving barn up", rep.Made)
	}
	s, err := store.ReadSeal(context.Background(), r.copies[0].root)
	must(t, err)
	var gaveUp int
	for _, l := range s.Lines() {
		if l.What == seal.GaveUp && l.Copy == r.copies[1].id {
			gaveUp++
		}
	}
	if gaveUp != 1 {
		t.Errorf("the seal has %d lines that give barn up, want 1", gaveUp)
	}
}

func TestAbsentCopyCatchesUp(t *testing.T) {
	r := newRanch(t, "shelf", "barn")
	r.visit("North/Windmill", "2019-06-21")
	r.mirror()
	r.copies[1].away = true
	r.visit("North/Windmill", "2020-06-21")
	r.mirror()
	r.remove("North/Windmill/2020-06-21/plot.jpg") // barn must take it from shelf
	r.writeAt("North/Windmill/2020-06-21/notes.txt", "second thoughts", r.now)
	rep := r.mirror()
	if got := rep.Copies[1].State; got != reach.Away {
		t.Errorf("barn is %s", got)
	}
	if rep.Wants() {
		t.Error("a drive that may be away makes the round want a person")
	}
	r.copies[1].away = false
	r.wantCurrent(r.mirror())
}

func TestFirstHolderAwayOthersGoOn(t *testing.T) {
	r := newRanch(t, "shelf", "barn")
	r.visit("North/Windmill", "2019-06-21")
	r.mirror()
	r.copies[0].away = true
	r.visit("North/Windmill", "2020-06-21")
	if rep := r.mirror(); rep.Made != 1 {
		t.Errorf("made %d versions on the second drive", rep.Made)
	}
	r.copies[0].away, r.copies[1].away = false, true
	r.visit("North/Windmill", "2021-06-21")
	if rep := r.mirror(); rep.Made != 0 {
		// barn holds version 2, whose bytes the working folder still has: shelf
		// takes it from there first.
		if n := head(t, r.copies[0].root, "north--windmill").Head(); n != 3 {
			t.Errorf("shelf is at version %d", n)
		}
	}
	r.copies[1].away = false
	r.wantCurrent(r.mirror())
}

func TestNewCopyReceivesTheWholeHistory(t *testing.T) {
	r := newRanch(t, "shelf")
	r.visit("North/Windmill", "2019-06-21")
	r.mirror()
	r.writeAt("North/Windmill/2019-06-21/notes.txt", "rewritten", r.now)
	r.mirror()
	r.remove("North/Windmill/2019-06-21/plot.jpg")
	r.mirror()
	r.addDrive("barn")
	r.wantCurrent(r.mirror())
}

// A mass change waits, and what is new is kept: at the site in question, at
// another, at a site that never was, and without a site.
func TestNewFilesAreKeptWhileAMassChangeWaits(t *testing.T) {
	r := newRanch(t, "shelf")
	for _, y := range []string{"2015", "2016", "2017", "2018", "2019", "2020"} {
		r.visit("North/Windmill", y+"-06-21")
	}
	r.mirror()
	for _, y := range []string{"2015", "2016", "2017", "2018"} {
		r.remove("North/Windmill/" + y + "-06-21")
	}
	r.writeAt("North/Windmill/2019-06-21/notes.txt", "rewritten", r.now)
	now := r.now
	for night := range 4 {
		added := map[string]string{} // path → slug
		for _, where := range [][2]string{{"North/Windmill", "north--windmill"}, {fmt.Sprint("South/Draw ", night), fmt.Sprint("south--draw-", night)}} {
			date := fmt.Sprintf("20%d-07-01", 21+night)
			r.visit(where[0], date)
			added[date+"/plot.jpg"] = where[1]
		}
		r.write(fmt.Sprintf("Papers/map %d.pdf", night), fmt.Sprint("map ", night))
		added[fmt.Sprintf("Papers/map %d.pdf", night)] = "unfiled--papers"
		r.now = now.Add(time.Duration(night+1) * 24 * time.Hour)
		rep := r.mirror()
		r.wantCurrent(rep)
		if got := reasons(rep)[plan.ReasonMass]; len(got) != 13 || len(rep.Waiting) != 13 {
			t.Errorf("night %d: %d paths wait, want the 12 that vanished and the note: %v", night, len(got), rep.Waiting)
		}
		for path, slug := range added {
			inv := head(t, r.copies[0].root, slug)
			if _, kept := inv.State(inv.Head())[path]; !kept {
				t.Errorf("night %d: %s of %s was not kept", night, path, slug)
			}
		}
		inv := head(t, r.copies[0].root, "north--windmill")
		if n := len(paths(inv.State(inv.Head()))); n != 18+3*(night+1) {
			t.Errorf("night %d: %d files in the newest state", night, n)
		}
	}
	r.wantAccepted("north--windmill")
	inv := head(t, r.copies[0].root, "north--windmill")
	if n := len(paths(inv.State(inv.Head()))); n != 6+12 {
		t.Errorf("accepted, and %d files are in the newest state", n)
	}
}

func TestMassChangeWaits(t *testing.T) {
	r := newRanch(t, "shelf")
	for _, y := range []string{"2015", "2016", "2017", "2018", "2019", "2020"} {
		r.visit("North/Windmill", y+"-06-21")
		r.visit("South/Draw", y+"-06-22")
	}
	r.mirror()
	before := head(t, r.copies[0].root, "north--windmill").State(1)
	err := filepath.WalkDir(filepath.Join(r.folder, "North"), func(p string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		must(t, os.WriteFile(p+".locked", []byte("ciphertext of "+p), 0o666))
		must(t, os.Chtimes(p+".locked", r.now, r.now))
		return os.Remove(p)
	})
	must(t, err)
	r.visit("South/Draw", "2021-06-22")
	r.now = r.now.Add(time.Hour)
	rep := r.mirror()
	if got := len(reasons(rep)[plan.ReasonMass]); got != 18 {
		t.Errorf("%d paths wait, want the 18 that vanished", got)
	}
	inv := head(t, r.copies[0].root, "north--windmill")
	for path, d := range before {
		if path != manifest.RecordPath && inv.State(inv.Head())[path] != d {
			t.Errorf("%s is no longer on record as it was, although that change waits", path)
		}
	}
	if n := head(t, r.copies[0].root, "south--draw").Head(); n != 2 {
		t.Errorf("the visit at a site without harm was not kept: version %d", n)
	}
	rep = r.mirror(func(in *In) { in.Accept = &Acceptance{Who: "Ada", Why: "we renamed them"} })
	if rep.Made == 0 || len(reasons(rep)[plan.ReasonMass]) > 0 {
		t.Errorf("after acceptance: %+v", rep)
	}
}

func TestEmptyWorkingFolderRecordsNothing(t *testing.T) {
	r := newRanch(t, "shelf")
	r.visit("North/Windmill", "2019-06-21")
	r.mirror()
	r.remove("North")
	rep := r.mirror(func(in *In) { in.Accept = &Acceptance{Who: "Ada", Why: "oops"} })
	if rep.Made != 0 || len(reasons(rep)[plan.ReasonEmpty]) != 1 {
		t.Errorf("an empty working folder: %+v", rep)
	}
}

// Over a fifth of the photos of a first mirror have no site. A person is asked
// about that; all are kept, those with a site first.
func TestLoosePhotosAreKeptLastAndAskedAbout(t *testing.T) {
	r := newRanch(t, "shelf", "barn")
	r.visit("North/Windmill", "2019-06-21")
	r.write("IMG_1.JPG", "one")
	r.write("IMG_2.JPG", "two")
	r.write("Phone/IMG_3.JPG", "three")
	rep := r.mirror()
	r.wantCurrent(rep)
	if rep.Made != 3 || len(rep.Waiting) != 0 || !slices.Equal(rep.Asks, []report.Ask{plan.AskUnfiled}) || !rep.Wants() {
		t.Errorf("a first mirror with loose photos: %+v", rep)
	}
	seal, err := store.ReadSeal(context.Background(), r.copies[1].root)
	must(t, err)
	var order []string
	for _, l := range seal.Lines() {
		_, slug, err := manifest.ParseObjectID(l.Object)
		must(t, err)
		order = append(order, slug)
	}
	if want := []string{"north--windmill", "unfiled", "unfiled--phone"}; !slices.Equal(order, want) {
		t.Errorf("made in the order %v, want %v", order, want)
	}

	if rep = r.mirror(); rep.Made != 0 || len(rep.Asks) != 1 {
		t.Errorf("nobody answered, and it is no longer asked: %+v", rep)
	}
	rep = r.mirror(func(in *In) { in.Accept = &Acceptance{Who: "Ada", Why: "as it is"} })
	if rep.Wants() {
		t.Errorf("after the answer: %+v", rep)
	}
	if rep = r.mirror(); rep.Wants() {
		t.Errorf("it was answered, and is asked again: %+v", rep)
	}
	r.remove("Phone")
	r.remove("IMG_1.JPG")
	for _, y := range []string{"2015", "2016", "2017"} {
		r.visit("North/Windmill", y+"-06-21")
	}
	if rep = r.mirror(); rep.Wants() {
		t.Errorf("with one loose photo of nine: %+v", rep)
	}
	for i := range 5 {
		r.write(fmt.Sprintf("Camera/IMG_%d.JPG", i), fmt.Sprint("loose ", i))
	}
	if rep = r.mirror(); rep.Made != 1 || len(rep.Asks) != 1 {
		t.Errorf("with six loose photos of fourteen: %+v", rep)
	}
}

func TestAnotherAuthorIsRespected(t *testing.T) {
	r := newRanch(t, "shelf")
	r.visit("North/Windmill", "2019-06-21")
	r.mirror()
	r.loseState()
	r.author = "44444444-4444-4444-8444-444444444444"
	r.visit("North/Windmill", "2020-06-21")
	rep := r.mirror()
	if rep.Made != 0 || !rep.Wants() || !strings.Contains(rep.Waiting[0].Reason, "setup --take-over") {
		t.Errorf("a second machine authored: %+v", rep)
	}
}

func TestCanceledRoundCarriesOn(t *testing.T) {
	r := newRanch(t, "shelf", "barn")
	for _, y := range []string{"2015", "2016", "2017", "2018", "2019", "2020"} {
		r.visit("North/Windmill", y+"-06-21")
		r.visit("South/Draw", y+"-06-22")
	}
	for n := 1; ; n++ {
		ctx, cancel := context.WithCancel(context.Background())
		var told atomic.Int64
		rep, err := r.try(ctx, func(in *In) {
			in.Progress = func(string, int64, int64) {
				if told.Add(1) == int64(n*7) {
					cancel()
				}
			}
		})
		cancel()
		if err == nil {
			r.wantCurrent(rep)
			return
		}
		if n > 50 {
			t.Fatal("rounds that are stopped never come to an end")
		}
	}
}

func TestAFileChangedWhileCopiedWaits(t *testing.T) {
	r := newRanch(t, "shelf")
	r.visit("North/Windmill", "2019-06-21")
	rep := r.mirror(func(in *In) {
		// After the tally, before the copying.
		r.writeAt("North/Windmill/2019-06-21/plot.jpg", "picture North/Windmill2019-06-21plot.JPG", r.now)
	})
	if got := reasons(rep)[report.ReasonCopied]; !slices.Equal(got, []string{"North/Windmill/2019-06-21/plot.jpg"}) {
		t.Errorf("waiting: %v", reasons(rep))
	}
	if got := paths(head(t, r.copies[0].root, "north--windmill").State(1)); len(got) != 2 {
		t.Errorf("recorded %v, want the other two", got)
	}
	rep = r.mirror()
	r.wantCurrent(rep)
	if got := paths(head(t, r.copies[0].root, "north--windmill").State(2)); len(got) != 3 {
		t.Errorf("recorded %v, want all three", got)
	}
}
