package mirror

import (
	"context"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"linecamp/daemon/mirror/plan"
	"linecamp/daemon/mirror/report"
	"linecamp/daemon/reach"
	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/tally"
)

// rot changes one byte of a file on a drive.
func (c *copyOf) rot(t *testing.T, key string) {
	t.Helper()
	name := filepath.Join(c.path, filepath.FromSlash(key))
	b, err := os.ReadFile(name)
	must(t, err)
	b[len(b)/2] ^= 1
	must(t, os.Chmod(name, 0o644))
	must(t, os.WriteFile(name, b, 0o644))
}

// recordKey is where version n's record lies.
func recordKey(inv *manifest.Inventory, n int) string {
	return inv.Slug() + "/" + inv.Content[inv.State(n)[manifest.RecordPath]][0]
}

func readRecordOf(t *testing.T, root store.Root, inv *manifest.Inventory, n int) *manifest.Record {
	t.Helper()
	raw, _, err := store.ReadSmall(context.Background(), root, recordKey(inv, n), manifest.MaxRecord)
	must(t, err)
	rec, err := manifest.DecodeRecord(raw)
	must(t, err)
	return rec
}

// A site's newest record rots on every copy and the state folder is lost. The
// site does not wait for ever. Where all that the record said can be found again,
// its bytes are; else its next version carries a record made anew, which says no
// more than what is known.
func TestARecordThatNobodyHasIsMadeAnew(t *testing.T) {
	const old, new = "2019-06-21/plot.jpg", "2020-06-21/plot.jpg"
	for _, c := range []struct {
		name     string
		versions int
		folder   string // could not be listed
		touched  bool   // one file has another time than the record said
		timeless string // the path of which no time is known any more
		message  string // of the version that has the new record; "": none is needed
	}{
		{name: "the folder has all", versions: 1},
		{name: "a folder cannot be listed", versions: 1, folder: "North/Windmill/2019-06-21", timeless: old, message: "nothing but the size of 3 files"},
		{name: "an older record has the rest", versions: 2, folder: "North/Windmill/2019-06-21"},
		{name: "no older record has the rest", versions: 2, folder: "North/Windmill/2020-06-21", timeless: new, message: "nothing but the size of 3 files"},
		{name: "a time is another", versions: 1, touched: true, message: "made anew"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRanch(t, "shelf", "barn")
			r.visit("North/Windmill", "2019-06-21")
			if c.versions == 2 {
				r.wantCurrent(r.mirror())
			}
			r.visit("North/Windmill", "2020-06-21")
			r.wantCurrent(r.mirror())
			inv := head(t, r.copies[0].root, "north--windmill")
			before := readRecordOf(t, r.copies[0].root, inv, c.versions)
			for _, c := range r.copies {
				c.rot(t, recordKey(inv, inv.Head()))
			}
			if c.touched {
				touched := before.Paths[new]
				touched.Modified = touched.Modified.Add(time.Hour)
				before.Paths[new] = touched
				must(t, os.Chtimes(filepath.Join(r.folder, "North", "Windmill", filepath.FromSlash(new)), touched.Modified, touched.Modified))
			}
			r.visit("South/Draw", "2020-06-21")

			must(t, os.RemoveAll(filepath.Join(r.state, "inventories")))
			r.copies[1].away = true // which may have it
			rep := r.mirror()
			if rep.Made != 0 || !slices.Contains(reasons(rep)[plan.ReasonInventory], "north--windmill") || head(t, r.copies[0].root, "north--windmill").Head() != inv.Head() {
				t.Fatalf("made anew although a copy could not be asked: %+v", rep)
			}
			r.copies[1].away = false
			r.loseState()
			told := 0
			for range 2 {
				rep = r.mirror(func(in *In) {
					if c.folder != "" {
						hide(in.Tally, c.folder)
					}
				})
				told += len(reasons(rep)[report.ReasonRemade])
			}
			if want := map[bool]int{true: 1}[c.message != ""]; told != want {
				t.Errorf("a person was told %d times that the record is made anew, want %d", told, want)
			}
			for _, copy := range rep.Copies {
				if copy.State != reach.Current {
					t.Errorf("%s is %s: %s", copy.Copy, copy.State, copy.Error)
				}
			}
			if c.message == "" {
				if raw, err := r.cache.Record("north--windmill"); err != nil || manifest.Sum(raw) != inv.State(inv.Head())[manifest.RecordPath] {
					t.Errorf("the state folder does not have the record again: %v", err)
				}
			}
			for _, copy := range r.copies {
				head(t, copy.root, "south--draw")
				now := head(t, copy.root, "north--windmill")
				if c.message == "" {
					if now.Head() != inv.Head() {
						t.Errorf("%s is at version %d, though nothing is new", copy.name, now.Head())
					}
					continue
				}
				if now.Head() != inv.Head()+1 {
					t.Fatalf("%s is at version %d: %+v", copy.name, now.Head(), rep.Waiting)
				}
				if got := now.Versions[inv.Head()].Message; !strings.Contains(got, c.message) || !strings.Contains(got, "lost on every copy") {
					t.Errorf("its message is %q", got)
				}
				if len(paths(now.State(now.Head()))) != 6 {
					t.Errorf("its state is %v", paths(now.State(now.Head())))
				}
				rec := readRecordOf(t, copy.root, now, now.Head())
				if rec.Site != "Windmill" || rec.Pasture != "North" || rec.Base != "North/Windmill" {
					t.Errorf("its names are %q, %q, %q", rec.Site, rec.Pasture, rec.Base)
				}
				for _, path := range []string{old, new} {
					want := before.Paths[path]
					if path == c.timeless {
						want = manifest.Entry{Bytes: want.Bytes, Kind: manifest.KindOther, Modified: time.Time{}}
					}
					if got := rec.Paths[path]; got.Bytes != want.Bytes || !got.Modified.Equal(want.Modified) || got.Kind != want.Kind || got.Visit != want.Visit {
						t.Errorf("of %s it says %+v, want %+v", path, got, want)
					}
				}
			}
		})
	}
}

// One copy has the record, another the manifest: together they have the site.
func TestRecordAndManifestFromDifferentCopies(t *testing.T) {
	r := newRanch(t, "shelf", "barn")
	r.visit("North/Windmill", "2019-06-21")
	r.wantCurrent(r.mirror())
	inv := head(t, r.copies[0].root, "north--windmill")
	r.copies[0].rot(t, recordKey(inv, 1))
	r.copies[1].rot(t, "north--windmill/inventory.json")
	r.copies[1].rot(t, "north--windmill/v1/inventory.json")
	must(t, os.RemoveAll(filepath.Join(r.state, "inventories")))
	rep := r.mirror()
	if rep.Made != 0 || len(rep.Waiting) > 0 {
		t.Errorf("%+v", rep)
	}
}

// What one site's manifest cannot hold keeps no other site from being recorded,
// and is no fault of the copies.
func TestASiteThatCannotBeWrittenHoldsNoOther(t *testing.T) {
	r := newRanch(t, "shelf", "barn")
	r.visit("North/Windmill", "2020-06-21")
	r.visit("South/Draw", "2019-06-21")
	rep := r.mirror(func(in *In) {
		for i := range in.Tally.Sites {
			if s := &in.Tally.Sites[i]; s.Site == "Windmill" {
				photos := s.Visits[0].Photos.List()
				photos[0].Visit = "no day"
				s.Visits[0].Photos = tally.PackFiles(photos...)
			}
		}
	})
	r.wantCurrent(rep)
	if len(rep.Waiting) != 1 || rep.Waiting[0].Path != "north--windmill" || !rep.Waiting[0].Person {
		t.Errorf("waiting: %+v", rep.Waiting)
	}
	head(t, r.copies[1].root, "south--draw")
}
