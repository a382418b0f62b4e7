package mirror

import (
	"context"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"linecamp/daemon/mend"
	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/manifest/store/crashtest"
	"linecamp/verify"
	"linecamp/verify/rot"
)

// At every operation of mending a drive with every kind of damage.
func TestCrashAnywhereInAMend(t *testing.T) {
	t.Parallel()
	g := newGround(t, "shelf", "barn")
	g.live(t, 0)
	g.live(t, 1)
	shelf := filepath.Join(g.dir, "shelf")
	bad := harm(t, shelf)
	n, lives := 1, 0
	for ended := false; !ended; n = nextPoint(n) {
		for _, v := range ways(n, crashSeeds(t)) {
			lives++
			if ended = g.crashInMend(t, n, v, bad); ended {
				break
			}
		}
		if n > 5000 {
			t.Fatal("this does not end")
		}
	}
	t.Logf("%d operations, %d crashes", n-2, lives-1)
	if n-2 < 100 {
		t.Errorf("only %d operations to crash at", n-2)
	}
}

// harm damages a drive in every way that can be mended, and returns the digests
// of the bytes that are wrong now, which mending must set aside.
func harm(t testing.TB, drive string) map[manifest.Digest]string {
	t.Helper()
	bad := map[manifest.Digest]string{}
	for _, key := range []string{
		"north--windmill/v1/content/2019-06-21/plot.jpg",
		"north--windmill/v2/inventory.json",
		"south--draw/v2/content/.linecamp/record.json",
		"east--tank/v1/inventory.json.sha256",
		seal.File(0),
		store.RootNamaste,
	} {
		name := filepath.Join(drive, filepath.FromSlash(key))
		b, err := os.ReadFile(name)
		must(t, err)
		b[0] ^= 0x10
		must(t, os.WriteFile(name, b, 0o666))
		bad[manifest.Sum(b)] = key
	}
	for _, key := range []string{
		"north--windmill/v1/content/2019-06-21/landscape.jpg", "north--windmill/v1/inventory.json.sha256",
		"east--tank/v1/content/2021-06-23/plot.jpg", "south--draw/inventory.json", "unfiled/0=ocfl_object_1.1",
	} {
		must(t, os.Remove(filepath.Join(drive, filepath.FromSlash(key))))
	}
	must(t, os.RemoveAll(filepath.Join(drive, "south--draw/v1/content/2020-06-21"))) // a whole folder
	return bad
}

func (g *ground) crashInMend(t *testing.T, n int, v way, bad map[manifest.Digest]string) (ended bool) {
	w := g.begin(t, 1)
	w.where = fmt.Sprintf("operation %d, %v", n, v)
	defer func() { w.end() }()
	d := w.account("shelf", v.each)
	w.open()
	damage, unfinished := w.check("shelf")
	if len(damage) < 10 || len(unfinished) == 0 {
		w.Fatalf("only this was found: %+v, %v", damage, unfinished)
	}
	w.good = w.goodFiles(g)
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	d.OnStop = cancel
	d.StopAt(n)
	rep, err := w.mend(ctx, damage, unfinished)
	if _, stopped := d.Done(); !stopped {
		must(w, err)
		if rep.Wants() {
			w.Errorf("without a crash: %+v", rep)
		}
		w.mended(bad)
		return true
	}
	log := d.Log()
	w.where += fmt.Sprintf(" (%s)", log[len(log)-1])
	w.fallInMend(d, v)
	if v.again {
		r := rand.New(rand.NewPCG(v.seed, 1))
		ctx, cancel := context.WithCancel(context.Background())
		defer cancel()
		d.OnStop = cancel
		d.StopAt(1 + r.IntN(40))
		_, _ = w.mend(ctx, damage, unfinished)
		if log := d.Log(); len(log) > 0 {
			w.where += fmt.Sprintf(" and again (%d: %s)", len(log), log[len(log)-1])
		}
		v.killed = r.IntN(2) == 0
		w.fallInMend(d, v)
	}
	if v.changed { // the damage on record is not what there was, but what is found now
		damage, unfinished = w.check("shelf")
	}
	rep, err = w.mend(context.Background(), damage, unfinished)
	must(w, err)
	if rep.Wants() {
		w.Errorf("the next mend: %+v", rep)
	}
	w.mended(bad)
	if v.killed || v.seed%3 == 0 {
		w.where += " and the power cut after its end"
		v.killed = false
		w.fallInMend(d, v)
		w.mended(bad)
	}
	return false
}

// mended asserts that all is well and that the bad bytes were set aside.
func (w *world) mended(bad map[manifest.Digest]string) {
	w.Helper()
	w.settle()
	w.whole()
	aside := map[manifest.Digest]bool{}
	for info, err := range w.copies[0].root.List(context.Background(), "extensions/linecamp-quarantine") {
		must(w, err)
		b, _, err := store.ReadSmall(context.Background(), w.copies[0].root, info.Key, 1<<20)
		must(w, err)
		aside[manifest.Sum(b)] = true
	}
	for d, key := range bad {
		if !aside[d] {
			w.Errorf("the bad bytes of %s were not set aside", key)
		}
	}
}

// goodFiles are the files on the damaged drive that are as they should be.
func (w *world) goodFiles(g *ground) map[string]manifest.Digest {
	good := map[string]manifest.Digest{}
	barn := os.DirFS(filepath.Join(w.dir, "barn"))
	must(w, fs.WalkDir(barn, ".", func(key string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		want, err := fs.ReadFile(barn, key)
		if is, rerr := os.ReadFile(filepath.Join(w.dir, "shelf", key)); rerr == nil && string(is) == string(want) {
			good[key] = manifest.Sum(want)
		}
		return err
	}))
	return good
}

// fallInMend is a crash after which everything good must still be there.
func (w *world) fallInMend(d *crashtest.Drive, v way) {
	w.Helper()
	w.crash(stateAsItIs)
	if v.killed {
		d.Kill()
	} else {
		must(w, d.Cut(v.seed))
	}
	for key, want := range w.good {
		b, err := os.ReadFile(filepath.Join(w.dir, "shelf", filepath.FromSlash(key)))
		if err != nil || manifest.Sum(b) != want {
			w.Errorf("%s was good and is not what it was: %v", key, err)
		}
	}
	w.open()
}

// check is a full check of one copy.
func (w *world) check(name string) ([]verify.Damage, map[string][]string) {
	w.Helper()
	seal, err := w.cache.Seal()
	must(w, err)
	o := rot.Options{Allowance: -1, Seal: seal, Workers: 2, Expected: w.cache.Get}
	for id := range seal.Heads() {
		o.ExpectedObjects = append(o.ExpectedObjects, id[strings.LastIndexByte(id, ':')+1:])
	}
	for _, c := range w.copies {
		if c.name == name {
			rep, err := rot.Check(context.Background(), verify.Copy{Name: c.name, ID: c.id, Root: c.root}, o)
			must(w, err)
			return rep.Damage, map[string][]string{name: rep.Unfinished}
		}
	}
	w.Fatalf("no copy %s", name)
	return nil, nil
}

// mend mends the first copy from the others, as the service does.
func (w *world) mend(ctx context.Context, damage []verify.Damage, unfinished map[string][]string) (mend.Report, error) {
	seal, err := w.cache.Seal()
	must(w, err)
	in := mend.In{Archive: archiveName, Damage: damage, Unfinished: unfinished, Seal: seal, Expected: w.cache.Get,
		Aside: filepath.Join(w.dir, "aside"), Folder: w.g.days[w.day].Folder}
	unlock, err := w.copies[0].root.Lock(ctx)
	if err != nil {
		return mend.Report{}, err
	}
	defer unlock()
	for _, c := range w.copies {
		in.Copies = append(in.Copies, verify.Copy{Name: c.name, ID: c.id, Root: c.root})
	}
	return mend.Run(ctx, in)
}
