package mirror

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"linecamp/daemon/authority"
	"linecamp/daemon/identity"
	"linecamp/daemon/mirror/adopt"
	"linecamp/daemon/mirror/report"
	"linecamp/daemon/reach"
	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/verify"
	"linecamp/verify/rot"
)

// bothSides is what two histories came to before they meet: nothing of it may be lacking
// on any copy afterwards.
type bothSides struct {
	content   map[manifest.Digest]string            // of all versions, and where it was
	manifests map[manifest.Digest]string            // the same of their inventories
	printed   map[string]int                        // digest of a copy's seal, and its lines
	committed map[string]map[string]manifest.Digest // by copy and key, below versions
}

// partedDays are a working folder that both machines had, what the office recorded on
// the copy it had at hand, and what the barn did meanwhile, and later.
func partedDays() [4]files {
	first := files{"budget.txt": "no site"}
	first.visit("North/Windmill", "2019-06-21")
	first.visit("South/Draw", "2020-06-21")

	office := maps.Clone(first)
	office.visit("North/Windmill", "2020-06-22")
	office["North/Windmill/2019-06-21/notes.txt"] = "rewritten in the office"
	office["East/Tank/2021-06-23/plot.jpg"] = "of the office"
	office["East/Tank/2021-06-23/añojo.jpg"] = "a name that cannot be a content path"
	delete(office, "South/Draw/2020-06-21/landscape.jpg")

	barn := maps.Clone(first)
	barn["North/Windmill/2020-06-22/plot.jpg"] = "of the barn, under the same name"
	barn["North/Windmill/2020-06-22/west.jpg"] = "of the barn"
	barn["East/Tank/2021-06-23/plot.jpg"] = "of the barn, too"
	barn["wells.txt"] = "no site either"

	later := maps.Clone(barn)
	for _, site := range []string{"North/Windmill", "South/Draw", "East/Tank", "West/Gate"} {
		later.visit(site, "2022-06-24")
	}
	return [4]files{first, office, barn, later}
}

// fork makes two histories: the office records with one copy at hand, and a machine
// with a new state takes over with the others, and records.
func (g *ground) fork(t testing.TB, late string) *bothSides {
	t.Helper()
	names := slices.Clone(g.drives)
	if g.server != nil {
		names = append(names, "bucket")
	}
	g.live(t, 0)
	g.live(t, 1, slices.DeleteFunc(names, func(name string) bool { return name == late })...)
	must(t, os.RemoveAll(filepath.Join(g.dir, "state")))
	must(t, os.Mkdir(filepath.Join(g.dir, "state"), 0o777))
	g.author = "22222222-2222-4222-8222-333333333333"
	g.takeOver(t, late)
	g.live(t, 2, late)

	p := &bothSides{content: map[manifest.Digest]string{}, manifests: map[manifest.Digest]string{}, printed: map[string]int{}, committed: map[string]map[string]manifest.Digest{}}
	w := g.begin(t, 2)
	w.open()
	defer w.end()
	for _, c := range w.copies {
		content, manifests := held(t, w.keys(c))
		for d := range content {
			p.content[d] = c.name
		}
		for d := range manifests {
			p.manifests[d] = c.name
		}
		log, err := store.ReadSeal(context.Background(), c.root)
		must(t, err)
		p.printed[log.Digest().String()] = log.Len()
		p.committed[c.name] = map[string]manifest.Digest{}
		for key, b := range w.keys(c) {
			if _, rest, _ := strings.Cut(key, "/"); strings.HasPrefix(rest, "v") && !strings.HasPrefix(key, "extensions/") {
				p.committed[c.name][key] = manifest.Sum(b)
			}
		}
	}
	if len(p.printed) < 2 {
		t.Fatal("the histories did not part")
	}
	return p
}

// takeOver has the ground's machine take over with one copy away.
func (g *ground) takeOver(t testing.TB, late string) {
	t.Helper()
	w := &world{TB: t, g: g, dir: g.dir, now: g.now}
	w.load()
	w.open()
	var with []authority.Copy
	for _, c := range w.copies {
		is := authority.Copy{Name: c.name, ID: c.id, Root: c.root}
		if c.name == late {
			is.Root = nil
		}
		with = append(with, is)
	}
	_, err := authority.TakeOver(context.Background(), w.taker(with))
	must(t, err)
	w.shut()
	if g.server != nil {
		g.keys = w.unload()
	}
}

func (w *world) taker(with []authority.Copy) authority.Taker {
	return authority.Taker{Archive: archiveID, Folder: w.state, Self: identity.State{Author: w.g.author, Machine: "barn"},
		Copies: with, Notes: w.led, Seal: w.cache, Now: func() time.Time { return w.now }, Adopt: func(was, is *seal.Seal) error {
			return adopt.History(w.led, w.cache, archiveName, with, was, is)
		}}
}

// keys reads every file of a copy.
func (w *world) keys(c *copyOf) iter.Seq2[string, []byte] {
	if c.kind == "s3" {
		all := map[string][]byte{}
		for key, b := range w.unload() {
			all[strings.TrimPrefix(key, archiveName+"/")] = b
		}
		return maps.All(all)
	}
	return func(yield func(string, []byte) bool) {
		stop := errors.New("enough")
		err := filepath.WalkDir(c.path, func(name string, e fs.DirEntry, err error) error {
			if err != nil || e.IsDir() {
				return err
			}
			b, err := os.ReadFile(name)
			if err != nil {
				return err
			}
			key, err := filepath.Rel(c.path, name)
			if err == nil && !yield(filepath.ToSlash(key), b) {
				err = stop
			}
			return err
		})
		if !errors.Is(err, stop) {
			must(w, err)
		}
	}
}

// untilRest runs rounds until nothing is left to do. Only where the state was lost is there
// something for a person to accept.
func (w *world) untilRest(ctx context.Context) (versions int, err error) {
	for i := 1; ; i++ {
		rep, err := w.round(ctx, func(in *In) {
			if w.lost {
				in.Accept = &Acceptance{Who: "office", Why: "looked at"}
			}
		})
		if err != nil {
			return versions, err
		}
		versions += rep.Made
		if rep.Made == 0 && !rep.Wants() && !slices.ContainsFunc(rep.Copies, func(c report.CopyState) bool { return c.State != reach.Current }) {
			return versions, nil
		}
		if i == 8 {
			return versions, fmt.Errorf("after %d rounds: %+v", i, rep)
		}
	}
}

// hasBoth asserts that every copy has all of both histories, and is one that anybody
// may take for what it says it is.
func (w *world) hasBoth(p *bothSides) {
	w.Helper()
	ours, err := w.cache.Seal()
	must(w, err)
	for _, c := range w.copies {
		content, manifests := held(w, w.keys(c))
		for d, where := range p.content {
			if !content[d] {
				w.Errorf("%s lacks what was on %s: %s", c.name, where, d)
			}
		}
		for d, where := range p.manifests {
			if !manifests[d] {
				w.Errorf("%s cannot prove the manifest that was on %s: %s", c.name, where, d)
			}
		}
		for digest, n := range p.printed {
			if !sealFound(w.keys(c), n, digest) {
				w.Errorf("%s does not have the seal with %d lines and the digest %s", c.name, n, digest)
			}
		}
		broughtOnce(w, w.keys(c))
		w.keepsCommitted(c, p)
		path := c.path
		if c.kind == "s3" {
			path = ""
		}
		standard(w, c.name, path, c.root, w.keys(c))
		its, err := store.ReadSeal(context.Background(), c.root)
		if err != nil || its.Digest() != ours.Digest() {
			w.Errorf("%s: its seal is not ours: %v", c.name, err)
		}
		rep, err := rot.Check(context.Background(), verify.Copy{Name: c.name, ID: c.id, Root: c.root}, rot.Options{Allowance: -1, Seal: ours, Workers: 2, Expected: w.cache.Get})
		must(w, err)
		if len(rep.Damage)+len(rep.Behind)+len(rep.Unfinished) > 0 {
			w.Errorf("%s: damage %+v, behind %+v, unfinished %v", c.name, rep.Damage, rep.Behind, rep.Unfinished)
		}
	}
}

// keepsCommitted asserts that what a copy had of a committed version is there as it
// was, or on a drive set aside.
func (w *world) keepsCommitted(c *copyOf, p *bothSides) {
	w.Helper()
	all := maps.Collect(w.keys(c))
	for key, d := range p.committed[c.name] {
		if manifest.Sum(all[key]) == d {
			continue
		}
		aside := false
		for other, b := range all {
			aside = aside || c.kind == "drive" && strings.HasPrefix(other, "extensions/linecamp-quarantine/") && strings.HasSuffix(other, "/"+key) && manifest.Sum(b) == d
		}
		if !aside {
			w.Errorf("%s no longer has %s as it was", c.name, key)
		}
	}
}

// At every operation on a drive while two histories meet: on the one that has the late
// versions, and on the one that takes them in.
func TestCrashAnywhereWhileHistoriesMeet(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		late, crash string
		bucket      bool
	}{
		{late: "shelf", crash: "shelf"},
		{late: "shelf", crash: "barn"},
		{late: "barn", crash: "barn"},
		{late: "barn", crash: "barn", bucket: true},
		{late: "bucket", crash: "shelf", bucket: true},
	} {
		t.Run(fmt.Sprintf("late on %s, at %s, bucket %v", c.late, c.crash, c.bucket), func(t *testing.T) {
			t.Parallel()
			g, next := newGroundOf(t, partedDays(), "shelf", "barn"), nextPoint
			if c.bucket {
				g.withBucket(t)
				next = nextMeeting
			}
			p := g.fork(t, c.late)
			n, lives := 1, 0
			for ended := false; !ended; n = next(n) {
				for _, v := range ways(n, crashSeeds(t)) {
					lives++
					if ended = g.crashInMeeting(t, c.crash, n, v, p); ended {
						break
					}
				}
				if n > 10000 {
					t.Fatal("this does not end")
				}
			}
			t.Logf("%d operations, %d crashes", n-2, lives-1)
			if n-2 < 100 {
				t.Errorf("only %d operations to crash at", n-2)
			}
		})
	}
}

// crashInMeeting lives one life, and reports whether all ended before operation n.
func (g *ground) crashInMeeting(t *testing.T, drive string, n int, v way, p *bothSides) (ended bool) {
	w := g.begin(t, 2)
	w.where = fmt.Sprintf("operation %d, %v", n, v)
	defer func() { w.end() }()
	d := w.account(drive, v.each)
	stop := func(n int) bool {
		ctx, cancel := context.WithCancel(context.Background())
		defer cancel()
		d.OnStop = cancel
		d.StopAt(n)
		if w.copies == nil {
			w.open()
		}
		_, err := w.untilRest(ctx)
		if _, stopped := d.Done(); stopped {
			log := d.Log()
			w.where += fmt.Sprintf(" (%d: %s)", len(log), log[len(log)-1])
			return true
		}
		d.StopAt(0)
		must(w, err)
		return false
	}
	if !stop(n) {
		w.hasBoth(p)
		return true
	}
	w.fall(d, v)
	w.passesByHand(drive, v)
	if v.again {
		r := rand.New(rand.NewPCG(v.seed, 1))
		if stop(1 + r.IntN(60)) {
			v.killed, v.state = r.IntN(2) == 0, r.IntN(stateWays)
			w.fall(d, v)
			w.passesByHand(drive, v)
		}
	}
	w.inPeace(v.changed, p)
	return false
}

// passesByHand asserts that a person who checks an object by the manifest at its top
// finds every file that it names, whatever moment the process was killed at. A power
// cut may tear the rename of an object's folder.
func (w *world) passesByHand(drive string, v way) {
	w.Helper()
	if !v.killed {
		return
	}
	tops, err := filepath.Glob(filepath.Join(w.dir, drive, "*", store.InventoryName))
	must(w, err)
	for _, top := range tops {
		b, err := os.ReadFile(top)
		must(w, err)
		inv, err := manifest.DecodeInventory(b)
		if err != nil {
			continue // it is being written
		}
		for d, paths := range inv.Content {
			for _, p := range paths {
				if is, err := os.ReadFile(filepath.Join(filepath.Dir(top), filepath.FromSlash(p))); err != nil || manifest.Sum(is) != d {
					w.Errorf("%s names %s, which is not there as it was: %v", top, p, err)
				}
			}
		}
	}
}

// inPeace lets rounds come after a crash, and looks at what they make of it.
func (w *world) inPeace(changed bool, p *bothSides) {
	w.Helper()
	if changed {
		w.day = 3
	}
	_, err := w.untilRest(context.Background())
	must(w, err)
	w.hasBoth(p)
	if changed {
		return
	}
	w.day = 3 // each site is gone on with
	if versions, err := w.untilRest(context.Background()); err != nil || versions < 3 {
		w.Errorf("then %d versions were made: %v", versions, err)
	}
	w.hasBoth(p)
}

// At every request of a meeting to a bucket: to the one that has the late versions, and
// to one that has the archive's.
func TestEveryRequestBreaksWhileHistoriesMeet(t *testing.T) {
	t.Parallel()
	for late, drives := range map[string][]string{"bucket": {"shelf"}, "shelf": {"shelf"}} {
		t.Run("late on the "+late, func(t *testing.T) {
			t.Parallel()
			g := newGroundOf(t, partedDays(), drives...).withBucket(t)
			p := g.fork(t, late)
			w := g.begin(t, 2)
			w.where = "nothing broken"
			w.open()
			_, err := w.untilRest(context.Background())
			_, total := w.link.Broke()
			must(t, err)
			w.inPeace(false, p)
			w.end()
			if total < 40 {
				t.Errorf("only %d requests", total)
			}
			live, wait := sixAtOnce()
			n := 0
			for at := 1; at <= total; at = nextMeeting(at) {
				for _, v := range breaks(at, crashSeeds(t)) {
					n++
					live(func() { g.breakMeeting(t, at, v, p) })
				}
			}
			wait()
			t.Logf("%d requests, %d broken", total, n)
		})
	}
}

func (g *ground) breakMeeting(t *testing.T, n int, v broken, p *bothSides) {
	w := g.begin(t, 2)
	w.where = fmt.Sprintf("request %d, %v", n, v)
	defer func() { w.end() }()
	w.open()
	meeting := func(w *world, ctx context.Context) (bool, error) {
		_, err := w.untilRest(ctx)
		return false, err
	}
	w.breakIn(n, v, meeting)
	if v.again {
		r := rand.New(rand.NewPCG(v.seed, 1))
		v.fault, v.dies, v.state = r.IntN(faults), r.IntN(2) == 0, r.IntN(stateWays)
		w.breakIn(1+r.IntN(60), v, meeting)
	}
	w.inPeace(v.changed, p)
}
