package mend

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/verify"
	"linecamp/verify/history"
	"linecamp/verify/rot"
	"linecamp/verify/verifytest"
)

const slug = "windmill--stake-3"

// state has two visits.
func state() verifytest.State {
	s := verifytest.State{}
	for _, p := range []string{"2019-06-21/plot.jpg", "2019-06-21/landscape.jpg", "2020-06-20/plot.jpg", "2020-06-20/notes.txt"} {
		s[p] = verifytest.Photo(p, time.Date(2020, 6, 21, 10, 11, 12, 345678900, time.UTC))
	}
	return s
}

// ranch has two versions of one site, and a working folder.
func ranch(t *testing.T, copies int) (r *verifytest.Ranch, folder string) {
	r = verifytest.New(t, copies)
	s := state()
	folder = t.TempDir()
	for p, f := range s {
		verifytest.Write(t, filepath.Join(folder, "Windmill/Stake 3", p), f.Bytes, f.Modified)
	}
	first := verifytest.State{}
	for p, f := range s {
		if strings.HasPrefix(p, "2019") {
			first[p] = f
		}
	}
	r.Version(verifytest.Stake, verifytest.Day(2019, 7, 1), first)
	r.Version(verifytest.Stake, verifytest.Day(2020, 7, 1), s)
	return r, folder
}

// damage is what a full check finds on all copies and in the working folder.
func damage(t *testing.T, r *verifytest.Ranch, folder string) (found []verify.Damage, unfinished map[string][]string) {
	t.Helper()
	ctx := context.Background()
	unfinished = map[string][]string{}
	for _, c := range r.Copies {
		rep, err := rot.Check(ctx, c, r.Options())
		if err != nil {
			t.Fatal(err)
		}
		found = append(found, rep.Damage...)
		unfinished[c.Name] = rep.Unfinished
	}
	if folder != "" {
		rep, err := rot.Working(ctx, folder, func(yield func(*manifest.Inventory, *manifest.Record) bool) {
			for o, inv := range r.Heads {
				for _, c := range r.Copies {
					if rec, err := history.ReadRecord(ctx, c.Root, inv, inv.Head()); err == nil {
						yield(inv, rec)
						break
					}
				}
				_ = o
			}
		}, rot.Options{})
		if err != nil {
			t.Fatal(err)
		}
		found = append(found, rep.Damage...)
	}
	return found, unfinished
}

// mend runs with everything in reach, the drives locked as the caller must.
func mend(t *testing.T, r *verifytest.Ranch, in In) Report {
	t.Helper()
	ctx := context.Background()
	for _, c := range r.Copies {
		unlock, err := c.Root.Lock(ctx)
		if err != nil {
			t.Fatal(err)
		}
		defer unlock()
	}
	in.Archive, in.Copies, in.Expected = verifytest.Archive, r.Copies, r.Expected
	if in.Aside == "" {
		in.Aside = filepath.Join(t.TempDir(), "aside")
	}
	rep, err := Run(ctx, in)
	if err != nil {
		t.Fatal(err)
	}
	return rep
}

// What can be wrong on one copy is put right from the other, and a check finds
// nothing afterwards.
func TestMendCopy(t *testing.T) {
	file := func(r *verifytest.Ranch, p string) string { return r.Path(0, slug+"/"+p) }
	for _, tt := range []struct {
		name   string
		harm   func(t *testing.T, r *verifytest.Ranch)
		mended int
	}{
		{"a flipped bit", func(t *testing.T, r *verifytest.Ranch) {
			verifytest.Flip(t, r.Path(0, r.Key(slug, "2019-06-21/plot.jpg")))
		}, 1},
		{"gone and cut short", func(t *testing.T, r *verifytest.Ranch) {
			verifytest.Remove(t, r.Path(0, r.Key(slug, "2019-06-21/plot.jpg")))
			if err := os.Truncate(r.Path(0, r.Key(slug, "2020-06-20/plot.jpg")), 1); err != nil {
				t.Fatal(err)
			}
		}, 2},
		{"a folder in a file's place", func(t *testing.T, r *verifytest.Ranch) {
			p := r.Path(0, r.Key(slug, "2019-06-21/plot.jpg"))
			verifytest.Remove(t, p)
			if err := os.Mkdir(p, 0o777); err != nil {
				t.Fatal(err)
			}
		}, 1},
		{"an inventory", func(t *testing.T, r *verifytest.Ranch) { verifytest.Flip(t, file(r, "v2/inventory.json")) }, 1},
		{"an earlier inventory and its sidecar", func(t *testing.T, r *verifytest.Ranch) {
			verifytest.Flip(t, file(r, "v1/inventory.json"))
			verifytest.Remove(t, file(r, "v1/inventory.json.sha256"))
		}, 2},
		{"a record", func(t *testing.T, r *verifytest.Ranch) {
			verifytest.Remove(t, r.Path(0, r.Key(slug, manifest.RecordPath)))
		}, 1},
		{"a version folder", func(t *testing.T, r *verifytest.Ranch) { verifytest.Remove(t, file(r, "v2")) }, 5},
		{"the seal", func(t *testing.T, r *verifytest.Ranch) { verifytest.Flip(t, r.Path(0, seal.File(0))) }, 1},
		{"a digit of the seal that still reads", func(t *testing.T, r *verifytest.Ranch) { r.BendSeal(0, 1) }, 1},
		{"the root's own file", func(t *testing.T, r *verifytest.Ranch) { verifytest.Remove(t, r.Path(0, store.RootNamaste)) }, 1},
		{"a root pair that lags", func(t *testing.T, r *verifytest.Ranch) {
			verifytest.Write(t, file(r, "inventory.json"), r.Heads[slug].Until(1).Encode(), time.Now())
		}, 1},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r, folder := ranch(t, 2)
			tt.harm(t, r)
			mem := &verifytest.Memory{}
			found, unfinished := damage(t, r, folder)
			rep := mend(t, r, In{Damage: found, Unfinished: unfinished, Folder: folder, Memory: mem, Seal: r.Seal})
			if len(rep.Mended) != tt.mended || rep.Wants() {
				t.Errorf("mended %d: %+v", len(rep.Mended), rep)
			}
			if found, unfinished := damage(t, r, folder); len(found) > 0 || len(unfinished["drive1"]) > 0 {
				t.Errorf("afterwards: %+v %v", found, unfinished)
			}
			held, _ := mem.Held(r.Copies[0].Key(), slug)
			for _, m := range rep.Mended {
				if m.Object != "" && m.Content != "inventory.json" && held[m.Content].ReadBack.IsZero() {
					t.Errorf("%s is not remembered as read back", m.Content)
				}
			}
		})
	}
}

// The file that says who records is left to that computer's next round, and is said to be
// mended once that was there.
func TestMendLeavesWhoRecords(t *testing.T) {
	r, _ := ranch(t, 1)
	rotten := []byte(`{"archive": "`)
	verifytest.Write(t, r.Path(0, store.AuthorKey), rotten, time.Now())
	found, _ := damage(t, r, "")
	if rep := mend(t, r, In{Damage: found}); len(rep.Unmended) != 1 || !strings.Contains(rep.Unmended[0].Reason, "linecamp mirror") {
		t.Errorf("%+v", rep)
	}
	if b, err := os.ReadFile(r.Path(0, store.AuthorKey)); err != nil || !bytes.Equal(b, rotten) {
		t.Errorf("it has %q, %v", b, err)
	}
	verifytest.Remove(t, r.Path(0, store.AuthorKey))
	id := "11111111-1111-4111-8111-111111111111"
	if _, err := store.WriteAuthor(t.Context(), r.Copies[0].Root, store.Author{Archive: id, Author: id, Epoch: 1}, nil); err != nil {
		t.Fatal(err)
	}
	if rep := mend(t, r, In{Damage: found}); len(rep.Mended) != 1 || !rep.Mended[0].Already || rep.Wants() {
		t.Errorf("%+v", rep)
	}
}

// With one copy only, the working folder has the bytes.
func TestMendFromWorkingFolder(t *testing.T) {
	r, folder := ranch(t, 1)
	bad := r.Path(0, r.Key(slug, "2019-06-21/plot.jpg"))
	verifytest.Flip(t, bad)
	found, _ := damage(t, r, folder)
	rep := mend(t, r, In{Damage: found, Folder: folder})
	if len(rep.Mended) != 1 || rep.Mended[0].From != "working" || rep.Wants() {
		t.Errorf("%+v", rep)
	}
	// The bad bytes are kept, not deleted.
	kept := 0
	filepath.WalkDir(filepath.Join(r.Dirs[0], "extensions", "linecamp-quarantine"), func(p string, e os.DirEntry, err error) error {
		if err == nil && !e.IsDir() {
			kept++
		}
		return nil
	})
	if kept != 1 {
		t.Errorf("%d files in quarantine", kept)
	}
}

// The same bytes filed under another site serve too, also where they have the
// same path there.
func TestMendFromAnotherSite(t *testing.T) {
	for _, path := range []string{"copy.jpg", "2019-06-21/plot.jpg"} {
		t.Run(path, func(t *testing.T) {
			r, _ := ranch(t, 1)
			other := verifytest.Site{Slug: "creek--stake-1", Site: "Stake 1", Pasture: "Creek", Base: "Creek/Stake 1"}
			r.Version(other, verifytest.Day(2020, 7, 1), verifytest.State{path: state()["2019-06-21/plot.jpg"]})
			verifytest.Remove(t, r.Path(0, r.Key(slug, "2019-06-21/plot.jpg")))
			found, _ := damage(t, r, "")
			if rep := mend(t, r, In{Damage: found}); len(rep.Mended) != 1 || rep.Wants() {
				t.Errorf("%+v", rep)
			}
		})
	}
}

// Rot never travels: what is bad everywhere stays as it is, and is said loudly.
func TestMendNowhere(t *testing.T) {
	r, folder := ranch(t, 2)
	for i := range 2 {
		verifytest.Flip(t, r.Path(i, r.Key(slug, "2019-06-21/plot.jpg")))
	}
	working := filepath.Join(folder, "Windmill/Stake 3/2019-06-21/plot.jpg")
	verifytest.Flip(t, working)
	before, _ := os.ReadFile(working)
	found, _ := damage(t, r, folder)
	if len(found) != 3 {
		t.Fatalf("%+v", found)
	}
	rep := mend(t, r, In{Damage: found, Folder: folder})
	if len(rep.Mended) != 0 || len(rep.Unmended) != 3 || !rep.Wants() {
		t.Errorf("%+v", rep)
	}
	for _, u := range rep.Unmended {
		if !u.Nowhere {
			t.Errorf("%+v", u)
		}
	}
	if after, _ := os.ReadFile(working); string(after) != string(before) {
		t.Error("the working file changed")
	}
	// Both copies back to back: a copy known to be bad is not a source, and one
	// that is bad without being known to be is found out.
	rep = mend(t, r, In{Damage: slices.DeleteFunc(found, func(d verify.Damage) bool { return d.Copy != "drive1" }), Folder: folder})
	if len(rep.Mended) != 0 || len(rep.Unmended) != 1 {
		t.Errorf("%+v", rep)
	}
}

func TestMendWorking(t *testing.T) {
	r, folder := ranch(t, 1)
	at := func(p string) string { return filepath.Join(folder, "Windmill/Stake 3", p) }
	plot := at("2019-06-21/plot.jpg")
	verifytest.Flip(t, plot)
	if err := os.Chmod(plot, 0o640); err != nil {
		t.Fatal(err)
	}
	bad, _ := os.ReadFile(plot)
	found, _ := damage(t, r, folder)
	aside := filepath.Join(t.TempDir(), "aside")
	rep := mend(t, r, In{Damage: found, Folder: folder, Aside: aside})
	if len(rep.Mended) != 1 || rep.Mended[0].From != "drive1" || rep.Mended[0].Copy != "working" || rep.Wants() {
		t.Fatalf("%+v", rep)
	}
	want := state()["2019-06-21/plot.jpg"]
	got, _ := os.ReadFile(plot)
	st, _ := os.Stat(plot)
	if string(got) != string(want.Bytes) || !st.ModTime().Equal(want.Modified) || st.Mode().Perm() != 0o640 {
		t.Errorf("%q at %v, mode %v", got, st.ModTime(), st.Mode())
	}
	entries, err := os.ReadDir(aside)
	if err != nil || len(entries) != 1 {
		t.Fatalf("aside: %v, %v", entries, err)
	}
	if b, _ := os.ReadFile(filepath.Join(aside, entries[0].Name())); string(b) != string(bad) {
		t.Errorf("aside holds %q", b)
	}
	if left, _ := os.ReadDir(filepath.Dir(plot)); len(left) != 2 {
		t.Errorf("left behind: %v", left)
	}
}

// A file a person has changed since is theirs.
func TestMendLeavesChangedWorkingFiles(t *testing.T) {
	for name, change := range map[string]func(t *testing.T, p string){
		"edited":  func(t *testing.T, p string) { verifytest.Write(t, p, []byte("mine"), time.Now()) },
		"touched": func(t *testing.T, p string) { os.Chtimes(p, time.Now(), time.Now()) },
		"deleted": func(t *testing.T, p string) { verifytest.Remove(t, p) },
	} {
		t.Run(name, func(t *testing.T) {
			r, folder := ranch(t, 1)
			p := filepath.Join(folder, "Windmill/Stake 3/2019-06-21/plot.jpg")
			verifytest.Flip(t, p)
			found, _ := damage(t, r, folder)
			change(t, p)
			before, berr := os.ReadFile(p)
			rep := mend(t, r, In{Damage: found, Folder: folder})
			after, aerr := os.ReadFile(p)
			if len(rep.Mended) != 0 || len(rep.Unmended) != 1 || string(before) != string(after) || (berr == nil) != (aerr == nil) {
				t.Errorf("%+v", rep)
			}
		})
	}
}

func TestMendTouchesNoStrays(t *testing.T) {
	r, _ := ranch(t, 2)
	p := r.Path(0, slug+"/v1/content/mine.jpg")
	verifytest.Write(t, p, []byte("x"), time.Now())
	found, _ := damage(t, r, "")
	rep := mend(t, r, In{Damage: found})
	if rep.Strays != 1 || len(rep.Mended) != 0 || len(rep.Left) != 1 || !rep.Wants() {
		t.Errorf("%+v", rep)
	}
	if _, err := os.Stat(p); err != nil {
		t.Error(err)
	}
	// Once somebody took it away, it is no damage any more.
	if err := os.Remove(p); err != nil {
		t.Fatal(err)
	}
	if rep = mend(t, r, In{Damage: found}); len(rep.Left) != 0 || len(rep.Mended) != 1 || !rep.Mended[0].Already || rep.Wants() {
		t.Errorf("%+v", rep)
	}
}

// A manifest that was rewritten, with content to fit, is not damage to mend.
func TestMendTouchesNoRewrittenManifest(t *testing.T) {
	r, _ := ranch(t, 2)
	forged := []byte("another picture")
	was := r.Heads[slug].State(2)["2020-06-20/plot.jpg"]
	verifytest.Write(t, r.Path(0, r.Key(slug, "2020-06-20/plot.jpg")), forged, time.Now())
	b, err := os.ReadFile(r.Path(0, slug+"/v2/inventory.json"))
	if err != nil {
		t.Fatal(err)
	}
	inv, err := manifest.DecodeInventory([]byte(strings.ReplaceAll(string(b), was.String(), manifest.Sum(forged).String())))
	if err != nil {
		t.Fatal(err)
	}
	b = inv.Encode()
	for _, dir := range []string{"", "v2/"} {
		verifytest.Write(t, r.Path(0, slug+"/"+dir+"inventory.json"), b, time.Now())
		verifytest.Write(t, r.Path(0, slug+"/"+dir+"inventory.json.sha256"), manifest.Sidecar(b), time.Now())
	}
	found, _ := damage(t, r, "")
	rep := mend(t, r, In{Damage: found})
	if len(rep.Mended) != 0 || len(rep.Unmended) != 1 || !strings.Contains(rep.Unmended[0].Reason, "rewritten") {
		t.Errorf("%+v", rep)
	}
	if now, _ := os.ReadFile(r.Path(0, slug+"/v2/inventory.json")); string(now) != string(b) {
		t.Error("the manifest was changed")
	}
}

// What was put right since is told as such.
func TestMendLooksAgain(t *testing.T) {
	r, _ := ranch(t, 2)
	p := r.Path(0, r.Key(slug, "2019-06-21/plot.jpg"))
	good, _ := os.ReadFile(p)
	verifytest.Flip(t, p)
	found, _ := damage(t, r, "")
	verifytest.Write(t, p, good, time.Now())
	rep := mend(t, r, In{Damage: found})
	if len(rep.Mended) != 1 || !rep.Mended[0].Already || rep.Wants() {
		t.Errorf("%+v", rep)
	}
}

func TestMendOnlyOneCopy(t *testing.T) {
	r, folder := ranch(t, 2)
	verifytest.Flip(t, r.Path(0, r.Key(slug, "2019-06-21/plot.jpg")))
	verifytest.Flip(t, r.Path(1, r.Key(slug, "2020-06-20/plot.jpg")))
	found, _ := damage(t, r, folder)
	rep := mend(t, r, In{Damage: found, Folder: folder, Only: "drive2"})
	if len(rep.Mended) != 1 || rep.Mended[0].Copy != "drive2" {
		t.Errorf("%+v", rep)
	}
	if found, _ := damage(t, r, folder); len(found) != 1 || found[0].Copy != "drive1" {
		t.Errorf("left: %+v", found)
	}
}

func TestMendOutOfReachAndStopped(t *testing.T) {
	r, _ := ranch(t, 2)
	verifytest.Flip(t, r.Path(0, r.Key(slug, "2019-06-21/plot.jpg")))
	found, _ := damage(t, r, "")
	rep := mend(t, r, In{Damage: []verify.Damage{{Copy: "bucket", Object: slug, Content: "v1/content/x", Kind: verify.Gone}}})
	if len(rep.Unmended) != 1 || rep.Unmended[0].Nowhere {
		t.Errorf("%+v", rep)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err := Run(ctx, In{Damage: found, Copies: r.Copies})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("error %v", err)
	}
}

// The newest record is gone from every copy; the state folder has it still.
func TestMendARecordFromTheState(t *testing.T) {
	r, folder := ranch(t, 2)
	key := r.Key(slug, manifest.RecordPath)
	raw, err := os.ReadFile(r.Path(0, key))
	if err != nil {
		t.Fatal(err)
	}
	found, _ := damage(t, r, folder)
	if len(found) > 0 {
		t.Fatal(found)
	}
	for i := range r.Copies {
		verifytest.Remove(t, r.Path(i, key))
	}
	found, _ = damage(t, r, "")
	state := func(object string) ([]byte, error) {
		if object != slug {
			t.Errorf("asked for the record of %s", object)
		}
		return raw, nil
	}
	rep := mend(t, r, In{Damage: found, Folder: folder, Record: state})
	if len(rep.Mended) != 2 || rep.Wants() {
		t.Errorf("%+v", rep)
	}
	if found, _ := damage(t, r, folder); len(found) > 0 {
		t.Errorf("afterwards: %+v", found)
	}
}

// BenchmarkMendALostSite brings 4,000 files back to one drive from another.
func BenchmarkMendALostSite(b *testing.B) {
	for b.Loop() {
		b.StopTimer()
		r, s := verifytest.New(b, 2), verifytest.State{}
		for i := range 4000 {
			p := fmt.Sprintf("%d-06-21/%05d.jpg", 1990+i%30, i)
			s[p] = verifytest.Photo(p, verifytest.Day(2020, 6, 21))
		}
		var found []verify.Damage
		for _, paths := range r.Version(verifytest.Stake, verifytest.Day(2020, 7, 1), s).Content {
			verifytest.Remove(b, r.Path(0, slug+"/"+paths[0]))
			found = append(found, verify.Damage{Copy: "drive1", Object: slug, Content: paths[0], Path: paths[0], Kind: verify.Gone})
		}
		in := In{Damage: found, Copies: r.Copies, Expected: r.Expected, Aside: b.TempDir(), Folder: b.TempDir(), Seal: r.Seal}
		b.StartTimer()
		if rep, err := Run(b.Context(), in); err != nil || len(rep.Mended) != len(found) {
			b.Fatal(err, len(rep.Mended))
		}
	}
}
