package mirror

import (
	"context"
	"encoding/base64"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"linecamp/daemon/authority/marks"
	"linecamp/daemon/ledger"
	"linecamp/daemon/mend"
	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/verify"
	"linecamp/verify/rot"
)

func b64(d manifest.Digest) string { return base64.StdEncoding.EncodeToString(d[:]) }

// broken is one way to break a request and to go on.
type broken struct {
	fault   int
	dies    bool // the process dies with it; else the link recovers at once
	state   int
	changed bool
	again   bool
	seed    uint64
}

func (v broken) String() string {
	s := []string{"refused", "cut on the way up", "answer lost", "answer cut short"}[v.fault]
	if v.dies {
		s += " and killed, " + []string{"state as it is", "state as before", "state lost"}[v.state]
	}
	return s + fmt.Sprintf(" changed %v again %v seed %d", v.changed, v.again, v.seed)
}

// breaks picks ways for the nth request, so that neighboring requests meet
// different faults, and four seeds meet all.
func breaks(n, seeds int) []broken {
	var all []broken
	for i := range seeds {
		r := rand.New(rand.NewPCG(uint64(n), uint64(i)))
		all = append(all, broken{fault: (n + i) % faults, dies: r.IntN(4) > 0, state: r.IntN(stateWays), changed: r.IntN(2) == 0,
			again: r.IntN(4) == 0, seed: uint64(n)<<16 | uint64(i)})
	}
	return all
}

// At every request of a mirror to a bucket that is the only copy.
func TestEveryRequestBreaksInAMirror(t *testing.T) {
	t.Parallel()
	g := newGround(t).withBucket(t)
	g.live(t, 0)
	g.everyRequest(t, 40, mirrored)
}

// At every request of a bucket that catches up with a drive.
func TestEveryRequestBreaksInACatchUp(t *testing.T) {
	t.Parallel()
	g := newGround(t, "shelf").withBucket(t)
	g.live(t, 0)
	g.live(t, 1, "bucket")
	g.everyRequest(t, 40, mirrored)
}

// At every request of mending a bucket.
func TestEveryRequestBreaksInAMend(t *testing.T) {
	t.Parallel()
	g := newGround(t, "shelf").withBucket(t)
	g.live(t, 0)
	g.live(t, 1)
	for _, key := range []string{"north--windmill/v1/content/2019-06-21/plot.jpg", "north--windmill/v2/inventory.json", store.RootNamaste} {
		g.keys[archiveName+"/"+key][1] ^= 0x10
	}
	for _, key := range []string{"south--draw/v1/content/2020-06-21/landscape.jpg", "east--tank/v1/inventory.json.sha256", "south--draw/inventory.json"} {
		if _, there := g.keys[archiveName+"/"+key]; !there {
			t.Fatalf("no %s", key)
		}
		delete(g.keys, archiveName+"/"+key)
	}
	g.harmed = true
	g.everyRequest(t, 20, (*world).mendBucket)
}

// At every request of a round that finds a version committed whose root pair and
// line are not written: what tells the next round of it stays until both are.
func TestEveryRequestBreaksInAFinish(t *testing.T) {
	t.Parallel()
	g := newGround(t).withBucket(t)
	g.live(t, 0)
	before := maps.Clone(g.keys)
	g.live(t, 1)
	const slug = "north--windmill"
	for _, file := range []string{"inventory.json", "inventory.json.sha256"} {
		key := archiveName + "/" + slug + "/" + file
		g.keys[key] = before[key]
	}
	led, err := ledger.Open(filepath.Join(g.dir, "state"))
	must(t, err)
	putMarks(t, led, map[string]string{marks.BegunKey: fmt.Sprintf("%s %s 2\n", copyID(0), slug)})
	must(t, led.Close())
	n, broke := 1, "all"
	for ; broke != ""; n++ {
		w := g.begin(t, 1)
		w.where = fmt.Sprint("request ", n)
		w.open()
		broke = w.breakIn(n, broken{fault: faultRefused, dies: true, state: stateAsItIs}, mirrored)
		w.settle()
		w.whole()
		w.end()
	}
	if n < 10 {
		t.Errorf("only %d requests", n)
	}
}

// mendBucket checks the bucket and mends what it finds, as the service does.
func (w *world) mendBucket(ctx context.Context) (wants bool, err error) {
	seal, err := w.cache.Seal()
	must(w, err)
	c := w.copies[len(w.copies)-1]
	in := mend.In{Archive: archiveName, Seal: seal, Expected: w.cache.Get, Aside: filepath.Join(w.dir, "aside")}
	for _, c := range w.copies {
		in.Copies = append(in.Copies, verify.Copy{Name: c.name, ID: c.id, Root: c.root})
	}
	rep, err := rot.Check(ctx, in.Copies[len(in.Copies)-1], rot.Options{Allowance: -1, Seal: seal, Workers: 1, Expected: w.cache.Get})
	if err != nil {
		return true, err
	}
	in.Damage, in.Unfinished = rep.Damage, map[string][]string{c.name: rep.Unfinished}
	done, err := mend.Run(ctx, in)
	return done.Wants(), err
}

// everyRequest breaks every request of some work in every way.
func (g *ground) everyRequest(t *testing.T, least int, work func(*world, context.Context) (bool, error)) {
	t.Helper()
	w := g.begin(t, 1)
	w.where = "nothing broken"
	w.open()
	wants, err := work(w, context.Background())
	_, total := w.link.Broke()
	must(t, err)
	if wants {
		t.Fatal("it does not go well without a fault")
	}
	w.settle()
	w.whole()
	w.end()
	if total < least {
		t.Errorf("only %d requests", total)
	}
	live, wait := sixAtOnce()
	n := 0
	for at := 1; at <= total; at = nextPoint(at) {
		for _, v := range breaks(at, crashSeeds(t)) {
			n++
			live(func() { g.breakAt(t, at, v, work) })
		}
	}
	wait()
	t.Logf("%d requests, %d broken", total, n)
}

// sixAtOnce lives up to six lives at the same time: most of one is waiting, for a
// server and before another try.
func sixAtOnce() (live func(func()), wait func()) {
	lives := make(chan func())
	var living sync.WaitGroup
	for range 6 {
		living.Go(func() {
			for life := range lives {
				done := make(chan struct{})
				go func() { // a failed test ends its goroutine
					defer close(done)
					life()
				}()
				<-done
			}
		})
	}
	return func(life func()) { lives <- life }, func() {
		close(lives)
		living.Wait()
	}
}

func (g *ground) breakAt(t *testing.T, n int, v broken, work func(*world, context.Context) (bool, error)) {
	w := g.begin(t, 1)
	w.where = fmt.Sprintf("request %d, %v", n, v)
	defer func() { w.end() }()
	w.open()
	w.breakIn(n, v, work)
	if v.again {
		r := rand.New(rand.NewPCG(v.seed, 1))
		v.fault, v.dies, v.state = r.IntN(faults), r.IntN(2) == 0, r.IntN(stateWays)
		w.where += ", and again: "
		w.breakIn(1+r.IntN(40), v, work)
	}
	if v.changed {
		w.day = 2
	}
	if wants, err := work(w, context.Background()); err != nil || wants && !w.lost {
		w.Errorf("the next one: %v, wants a person: %v", err, wants)
	}
	w.settle()
	w.whole()
	if v.changed {
		w.day = 3
		w.settle()
		w.whole()
	}
}

func mirrored(w *world, ctx context.Context) (wants bool, err error) {
	rep, err := w.round(ctx)
	return rep.Wants(), err
}

// breakIn does the work with the nth request broken, and says which that was; ""
// where there are not so many.
func (w *world) breakIn(n int, v broken, work func(*world, context.Context) (bool, error)) (what string) {
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	var dies func()
	if v.dies {
		dies = cancel
	}
	w.link.Break(n, v.fault, dies)
	work(w, ctx)
	what, _ = w.link.Broke()
	w.link.Break(0, 0, nil)
	w.where += " (" + what + ")"
	if v.dies && what != "" {
		if w.g.harmed {
			v.state = stateAsItIs // a state folder that lost its seal does not mend, it mirrors first
		}
		w.crash(v.state)
		w.open()
		if w.g.harmed {
			w.stillGood()
		} else {
			w.stillKept()
		}
	}
	return what
}

// stillGood looks for every file that was as it should be before a mend: its
// bytes are those of the drive.
func (w *world) stillGood() {
	now := w.unload()
	for key, b := range w.g.keys {
		name := filepath.Join(w.g.dir, w.g.drives[0], strings.TrimPrefix(key, archiveName+"/"))
		if want, err := os.ReadFile(name); err != nil || string(want) != string(b) {
			continue // it was not
		}
		if string(now[key]) != string(b) {
			w.Errorf("bucket: %s was good and is not what it was", key)
		}
	}
}
