package intake

import (
	"context"
	"errors"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// TestNothingChanges: whatever is on the card and in the folder, intake changes
// nothing on the card and nothing that the folder had, and what it says is filed
// is there, bytes and time.
func TestNothingChanges(t *testing.T) {
	base := t.TempDir()
	rapid.Check(t, func(rt *rapid.T) {
		dir, err := os.MkdirTemp(base, "")
		if err != nil {
			rt.Fatal(err)
		}
		card, folder := filepath.Join(dir, "card"), filepath.Join(dir, "field")
		put(t, folder, "Draw/Stake 3/2024-06-21/plot.jpg", "Draw/Stake 3/2024-06-21/landscape.jpg")
		put(t, card, "DCIM/100ABCDE/IMG_0001.JPG")
		name := rapid.SampledFrom([]string{"DCIM/100ABCDE/IMG_0002.JPG", "DCIM/100ABCDE/IMG_0003 plot.JPG", "DCIM/100ABCDE/plot.jpg", "DCIM/101ABCDE/plot.jpg", "landscape.JPG", "MVI_0001.MP4", "notes.txt", "._x", "a/b/c.HEIC", "a/b/c.JPG"})
		text := rapid.SampledFrom([]string{"", "same", "other", "photo Draw/Stake 3/2024-06-21/plot.jpg"})
		for range rapid.IntRange(0, 6).Draw(rt, "files") {
			put(t, card, name.Draw(rt, "name")+"="+text.Draw(rt, "bytes"))
		}
		there := rapid.SampledFrom([]string{"plot.jpg", "PLOT.JPG", "landscape.jpg", "notes.txt", "IMG_0001.JPG", "plot-2.jpg"})
		day := rapid.SampledFrom([]string{"2024-06-21", "2026-06-24"}).Draw(rt, "day")
		for range rapid.IntRange(0, 3).Draw(rt, "there already") {
			put(t, folder, "Draw/Stake 3/"+day+"/"+there.Draw(rt, "there")+"="+text.Draw(rt, "its bytes"))
		}
		cardWas, folderWas := listed(t, card), listed(t, folder)
		a := archiveAt(t, folder, "")
		p := propose(t, card, a, Options{Site: "stake 3", Date: day})
		if err := p.File(context.Background()); err != nil {
			rt.Fatal(err)
		}
		if !maps.Equal(listed(t, card), cardWas) {
			rt.Fatal("the card changed")
		}
		folderIs := listed(t, folder)
		for path, line := range folderWas {
			if folderIs[path] != line {
				rt.Fatalf("%s was %s, is %s", path, line, folderIs[path])
			}
		}
		filed := 0
		for _, v := range p.Visits {
			for _, f := range v.Files {
				if f.State != Filed {
					rt.Fatalf("%+v is not filed", f)
				}
				filed++
				was, _, _ := strings.Cut(cardWas[f.From], " ")
				_, is, _ := strings.Cut(folderIs[f.To], " ")
				if got := was + " " + is; got != cardWas[f.From] {
					rt.Fatalf("%s is filed as %s: %q is not %q", f.From, f.To, got, cardWas[f.From])
				}
			}
		}
		files := 0
		for path, line := range folderIs {
			if _, was := folderWas[path]; !was && line[0] == '-' {
				files++
			}
		}
		if files != filed {
			rt.Fatalf("%d files came, %d were filed", files, filed)
		}
		// Once filed, all is known by content.
		again := propose(t, card, archiveAt(t, folder, ""), Options{Site: "stake 3", Date: day})
		if again.Waiting() != 0 {
			rt.Fatalf("a second run would file %d files again", again.Waiting())
		}
	})
}

// TestPulledOut: the card goes while it is being copied. What was filed is
// whole, the rest is named, nothing half-copied is left, and a second run with
// the card back in files what is missing.
func TestPulledOut(t *testing.T) {
	dir := t.TempDir()
	card, folder := filepath.Join(dir, "card"), filepath.Join(dir, "field")
	put(t, folder, "Draw/Stake 3/2024-06-21/plot.jpg")
	put(t, card, "DCIM/100ABCDE/IMG_0001.JPG", "DCIM/100ABCDE/IMG_0002.JPG", "DCIM/100ABCDE/IMG_0003.JPG")
	a := archiveAt(t, folder, "")
	o := Options{Site: "stake 3", Date: "2026-06-24"}
	p := propose(t, card, a, o)
	p.o.Progress = func(done, total int64) {
		if err := errors.Join(os.Rename(card, card+"-out"), os.Mkdir(card+"-empty", 0o755)); err != nil && done < 30 {
			t.Error(err)
		}
		// The root of the card that is open already leads to what was moved;
		// a card that is out gives nothing any more.
		for _, n := range []string{"IMG_0002.JPG", "IMG_0003.JPG"} {
			_ = os.Rename(filepath.Join(card+"-out", "DCIM/100ABCDE", n), filepath.Join(card+"-empty", n))
		}
	}
	if err := p.File(context.Background()); err != nil {
		t.Fatal(err)
	}
	states := map[string]int{}
	for _, f := range p.Visits[0].Files {
		states[f.State+" "+f.Reason]++
	}
	if states["filed "] != 1 || states["failed "+errGone.Error()] != 2 || !p.Wants() {
		t.Errorf("%v", states)
	}
	for path := range listed(t, folder) {
		if strings.Contains(path, "._") {
			t.Errorf("%s was left behind", path)
		}
	}
	for _, n := range []string{"IMG_0002.JPG", "IMG_0003.JPG"} {
		if err := os.Rename(filepath.Join(card+"-empty", n), filepath.Join(card+"-out", "DCIM/100ABCDE", n)); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Rename(card+"-out", card); err != nil {
		t.Fatal(err)
	}
	p = propose(t, card, archiveAt(t, folder, ""), o)
	if err := p.File(context.Background()); err != nil {
		t.Fatal(err)
	}
	if n, _ := p.Count(Filed); n != 2 || p.Wants() || p.Known.Files != 1 {
		t.Errorf("the second run filed %d, knew %d", n, p.Known.Files)
	}
}

// TestBytesThatChange: a card whose bytes are not what they were is failing, and
// nothing of the file is kept.
func TestBytesThatChange(t *testing.T) {
	dir := t.TempDir()
	card, folder := filepath.Join(dir, "card"), filepath.Join(dir, "field")
	put(t, folder, "Draw/Stake 3/2024-06-21/plot.jpg")
	put(t, card, "IMG_0001.JPG")
	p := propose(t, card, archiveAt(t, folder, ""), Options{Site: "stake 3", Date: "2026-06-24"})
	put(t, card, "IMG_0001.JPG=other bytes")
	was := listed(t, folder)
	if err := p.File(context.Background()); err != nil {
		t.Fatal(err)
	}
	if f := p.Visits[0].Files[0]; f.State != Failed || !strings.Contains(f.Reason, "may be failing") {
		t.Errorf("%+v", f)
	}
	delete(was, ".")
	for path, line := range listed(t, folder) {
		if strings.HasSuffix(path, ".jpg") || strings.HasSuffix(path, ".JPG") || strings.Contains(path, "._") {
			if was[path] != line {
				t.Errorf("%s: %s", path, line)
			}
		}
	}
}

// TestNameTakenMeanwhile: somebody saved a file of that name after the plan was
// made.
func TestNameTakenMeanwhile(t *testing.T) {
	dir := t.TempDir()
	card, folder := filepath.Join(dir, "card"), filepath.Join(dir, "field")
	put(t, folder, "Draw/Stake 3/2024-06-21/plot.jpg")
	put(t, card, "IMG_0001.JPG")
	p := propose(t, card, archiveAt(t, folder, ""), Options{Site: "stake 3", Date: "2026-06-24", View: "plot"})
	to := p.Visits[0].Files[0].To
	put(t, folder, to+"=mine")
	if err := p.File(context.Background()); err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(filepath.Join(folder, to))
	if err != nil || string(b) != "mine" || p.Visits[0].Files[0].State != Failed {
		t.Errorf("%s is %q (%v), the file %+v", to, b, err, p.Visits[0].Files[0])
	}
}

func TestOverridesHitNoMoreThanMeant(t *testing.T) {
	const d = "2026-06-24 "
	s := testSites(0, 1000)
	groups := func(shots []*shot, s []*site, near float64) []*group {
		all := groups(shots, s, near)
		for i, g := range all {
			g.number = i + 1
		}
		return all
	}
	all := groups([]*shot{at(d+"09:00", 3), at(d+"10:00", 5000)}, s, 50)
	if err := override(all, map[int]bool{1: true, 2: true}, s, &Options{Site: "B"}); !errors.Is(err, ErrAsked) {
		t.Errorf("a visit that says where it is was given another site: %v", err)
	}
	if err := override(all, map[int]bool{2: true}, s, &Options{Site: "B", Visits: []int{2}}); err != nil || told(all) != "A:1 B:1" {
		t.Errorf("%s, %v", told(all), err)
	}
	two := groups([]*shot{at(d+"09:00", 3), at("2026-06-25 10:00", 3)}, s, 50)
	if err := override(two, map[int]bool{1: true, 2: true}, s, &Options{Date: "2026-06-26"}); !errors.Is(err, ErrAsked) {
		t.Errorf("two days were given one date: %v", err)
	}
	pair := groups([]*shot{at(d+"09:00", 3), at(d+"09:01", 3)}, s, 50)
	if err := override(pair, map[int]bool{1: true}, s, &Options{View: "plot"}); !errors.Is(err, ErrAsked) {
		t.Errorf("two pictures were given one view: %v", err)
	}
}

func TestDay(t *testing.T) {
	now := time.Date(2026, 6, 24, 12, 0, 0, 0, time.UTC)
	for s, want := range map[string]bool{"2026-06-24": true, "2026-06-25": false, "2026-02-30": false, "yesterday": false, "": false, "1987-07-01": true, "0001-01-01": false} {
		if _, ok := Day(s, now); ok != want {
			t.Errorf("%q: %v", s, ok)
		}
	}
}

// TestCompanions: what belongs to a picture goes with it, under its name.
func TestCompanions(t *testing.T) {
	dir := t.TempDir()
	card, folder := filepath.Join(dir, "card"), filepath.Join(dir, "field")
	put(t, folder, "Draw/Stake 3/2024-06-21/plot.jpg")
	put(t, card, "DCIM/100ABCDE/IMG_0001.JPG", "DCIM/100ABCDE/IMG_0001.CR2", "DCIM/100ABCDE/IMG_0001.xmp", "DCIM/100ABCDE/IMG_0002.MOV")
	p := propose(t, card, archiveAt(t, folder, ""), Options{Site: "stake 3", Date: "2026-06-24", View: "plot"})
	if err := p.File(context.Background()); err != nil {
		t.Fatal(err)
	}
	there := listed(t, folder)
	for _, name := range []string{"plot.jpg", "plot.CR2", "plot.xmp", "IMG_0002.MOV"} {
		if there["Draw/Stake 3/2026-06-24/"+name] == "" {
			t.Errorf("%s is not there: %v", name, there)
		}
	}
	if len(p.Left) != 0 {
		t.Errorf("left: %v", p.Left)
	}
	again := archiveAt(t, folder, "")
	for _, f := range everyFile(again.Tally) {
		if strings.HasSuffix(f.Path, "plot.CR2") && f.With != "Draw/Stake 3/2026-06-24/plot.jpg" {
			t.Errorf("%s belongs to %q", f.Path, f.With)
		}
	}
}

// TestStopped: stopped by a person, nothing half-copied is left.
func TestStopped(t *testing.T) {
	dir := t.TempDir()
	card, folder := filepath.Join(dir, "card"), filepath.Join(dir, "field")
	put(t, folder, "Draw/Stake 3/2024-06-21/plot.jpg")
	put(t, card, "IMG_0001.JPG", "IMG_0002.JPG")
	p := propose(t, card, archiveAt(t, folder, ""), Options{Site: "stake 3", Date: "2026-06-24"})
	ctx, stop := context.WithCancel(context.Background())
	p.o.Progress = func(int64, int64) { stop() }
	if err := p.File(ctx); !errors.Is(err, context.Canceled) {
		t.Fatal(err)
	}
	files := 0
	for path, line := range listed(t, folder) {
		if strings.Contains(path, "._") {
			t.Errorf("%s was left behind", path)
		}
		if line[0] == '-' {
			files++
		}
	}
	if files != 2 {
		t.Errorf("%d files, want the one that was there and the one filed before the stop", files)
	}
}

// TestClockAhead: a picture of a day that has not come yet is of a wrong clock,
// and is filed nowhere until the clock is set right.
func TestClockAhead(t *testing.T) {
	dir := t.TempDir()
	card, folder := filepath.Join(dir, "card"), filepath.Join(dir, "field")
	put(t, folder, "Draw/Stake 3/2024-06-21/plot.jpg")
	put(t, card, "IMG_0001.JPG")
	now := time.Date(2026, 6, 24, 12, 0, 0, 0, time.UTC)
	for day, want := range map[string]int{"2026-06-24": 1, "2026-06-25": 1, "2026-06-27": 0} {
		p := propose(t, card, archiveAt(t, folder, ""), Options{Site: "stake 3", Date: day, Now: now})
		if p.Waiting() != want {
			t.Errorf("%s: %d files would be filed, want %d: %s", day, p.Waiting(), want, p.Visits[0].Reason)
		}
	}
}
