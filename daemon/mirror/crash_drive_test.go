package mirror

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"linecamp/daemon/mirror/report"
	"linecamp/manifest/store/crashtest"
)

// way is one way to crash at an operation and to go on.
type way struct {
	each    bool // the system syncs files one by one
	killed  bool // else the power is cut
	state   int
	changed bool // the working folder is not what it was when the next round comes
	again   bool // the next round crashes too
	seed    uint64
}

func (v way) String() string {
	return fmt.Sprintf("%+v", struct{ Each, Killed, Changed, Again bool }{v.each, v.killed, v.changed, v.again}) +
		[]string{" state as it is", " state as before", " state lost"}[v.state] + fmt.Sprint(" seed ", v.seed)
}

// ways picks some ways for the nth operation, so that neighboring operations
// meet different ones, and more seeds meet all.
func ways(n, seeds int) []way {
	var all []way
	for i := range seeds {
		r := rand.New(rand.NewPCG(uint64(n), uint64(i)))
		all = append(all, way{
			killed:  (n+i)%2 == 1,
			each:    r.IntN(2) == 0,
			state:   r.IntN(stateWays),
			changed: r.IntN(4) == 0,
			again:   r.IntN(4) == 0,
			seed:    uint64(n)<<16 | uint64(i),
		})
	}
	return all
}

// At every operation of a mirror to one drive, and of one that adds to it.
func TestCrashAnywhereInAMirror(t *testing.T) {
	t.Parallel()
	for day, name := range []string{"the first", "the second"} {
		t.Run(name, func(t *testing.T) {
			g := newGround(t, "shelf")
			if day > 0 {
				g.live(t, 0)
			}
			g.everywhere(t, "shelf", day, 100)
		})
	}
}

// At every operation of the catching up of a second drive.
func TestCrashAnywhereInACatchUp(t *testing.T) {
	t.Parallel()
	g := newGround(t, "shelf", "barn")
	g.live(t, 0)
	g.live(t, 1, "barn")
	g.everywhere(t, "barn", 1, 100)
}

// everywhere crashes at every operation of a round on one drive.
func (g *ground) everywhere(t *testing.T, drive string, day, least int) {
	t.Helper()
	n, lives := 1, 0
	for ended := false; !ended; n = nextPoint(n) {
		all := ways(n, crashSeeds(t))
		for i := 0; i < len(all) && !ended; i++ {
			lives++
			var log []string
			if log, ended = g.crashAt(t, drive, day, n, all[i]); i == 0 {
				all = append(all, windows(n, log, drive == g.drives[0])...)
			}
		}
		if n > 5000 {
			t.Fatal("this does not end")
		}
	}
	t.Logf("%d operations, %d crashes", n-2, lives-1)
	if n-2 < least {
		t.Errorf("only %d operations to crash at: the disk is not what is written through", n-2)
	}
}

// windows picks more ways at the few operations where little time passes and
// much depends on it: between the rename of a version and its sync, when it may
// be torn, and on the first holder from then to its line in the seal, when
// nothing but the version itself tells that it is there.
func windows(n int, log []string, holder bool) (more []way) {
	moved := func(op string) bool {
		return strings.HasPrefix(op, "rename extensions/linecamp-staging/") && !strings.Contains(op, "inventory.json")
	}
	if len(log) < 2 { // the last is the one that was stopped
		return nil
	}
	log = log[:len(log)-1]
	if moved(log[len(log)-1]) {
		for i := range 10 {
			more = append(more, way{state: i % stateWays, each: i%2 == 0, seed: uint64(n)<<16 | 0x100 | uint64(i)})
		}
	}
	for _, op := range slices.Backward(log) {
		if !holder || strings.HasPrefix(op, "write extensions/linecamp-seal/") {
			break
		}
		if moved(op) {
			return append(more, way{killed: true, state: stateBefore, changed: true, seed: uint64(n)<<16 | 0x200})
		}
	}
	return more
}

// crashAt lives one life. It returns the operations up to the crash, or reports
// that the round ended before operation n.
func (g *ground) crashAt(t *testing.T, drive string, day, n int, v way) (log []string, ended bool) {
	w := g.begin(t, day)
	w.where = fmt.Sprintf("operation %d, %v", n, v)
	defer func() { w.end() }()
	d := w.account(drive, v.each)
	if rep, stopped := w.stop(d, n); !stopped {
		if rep.Wants() {
			w.Errorf("without a crash: %+v", rep)
		}
		w.whole()
		return nil, true
	}
	log = d.Log()
	w.where += fmt.Sprintf(" (%s)", log[len(log)-1])
	w.fall(d, v)
	if v.again {
		r := rand.New(rand.NewPCG(v.seed, 1))
		if _, stopped := w.stop(d, 1+r.IntN(40)); stopped {
			log := d.Log()
			w.where += fmt.Sprintf(" and again (%d: %s)", len(log), log[len(log)-1])
			v.killed, v.state = r.IntN(2) == 0, r.IntN(stateWays)
			w.fall(d, v)
		}
	}
	if v.changed && w.day == 1 {
		w.day = 2
	}
	w.settle()
	w.whole()

	if v.killed || v.seed%3 == 0 {
		// What is reported now is safe: whatever was not synced may go.
		w.where += " and the power cut after the round's end"
		v.killed, v.state = false, stateAsItIs
		w.fall(d, v)
		w.settle()
		w.whole()
	}
	if v.changed && day == 1 {
		w.day = 3
		w.settle()
		w.whole()
	}
	return log, false
}

// stop runs a round in which the world stops at the nth operation on the drive,
// and reports whether it did.
func (w *world) stop(d *crashtest.Drive, n int) (rep report.Report, stopped bool) {
	w.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	d.OnStop = cancel
	d.StopAt(n)
	if w.copies == nil {
		w.open()
	}
	rep, err := w.round(ctx)
	if _, stopped = d.Done(); !stopped {
		d.StopAt(0)
		must(w, err)
	}
	return rep, stopped
}

// fall is the crash, and the machine's start after it.
func (w *world) fall(d *crashtest.Drive, v way) {
	w.Helper()
	w.crash(v.state)
	if v.killed {
		d.Kill()
	} else {
		must(w, d.Cut(v.seed))
	}
	w.open()
	w.stillKept()
}
