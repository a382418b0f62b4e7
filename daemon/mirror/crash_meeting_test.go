package mirror

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"linecamp/daemon/mirror/report"
	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/crashtest"
	"linecamp/manifest/tally"
)

// meetsAnother is a ground on which the next round meets another history: barn was gone on with
// by a computer that is lost, and another one took over from shelf.
func meetsAnother(t *testing.T) (g *ground, ever map[manifest.Digest]string) {
	r := newRanch(t, "barn", "shelf")
	r.visit("North/Windmill", "2019-06-21")
	r.visit("South/Draw", "2019-06-21")
	r.mirror()
	r.reach("shelf")
	o := r.takesOver(laptopID)
	r.reach("barn")
	r.visit("North/Windmill", "2020-06-21")
	r.visit("East/Creek", "2020-06-21")
	r.mirror()
	r.write("North/Windmill/2021-06-21/plot.jpg", "theirs")
	r.mirror()
	o.reach("shelf")
	o.now = r.now
	o.write("North/Windmill/2021-06-21/plot.jpg", "ours")
	o.mirror()
	o.reach("barn", "shelf")
	ever = everCommitted(t, o.copies)
	o.visit("South/Draw", "2022-06-21")
	shown := o.tally()
	must(t, o.led.Close())
	g = &ground{dir: crashtest.Folder(t), author: laptopID, drives: []string{"barn", "shelf"}, days: [4]*tally.Result{shown, shown, shown, shown}, now: o.now}
	must(t, copyTree(o.state, filepath.Join(g.dir, "state")))
	for _, c := range o.copies {
		must(t, os.CopyFS(filepath.Join(g.dir, c.name), os.DirFS(c.path)))
	}
	o.openState()
	return g, ever
}

// met runs rounds until there is nothing more to do, and wants the histories to be one.
func (w *world) met(t *testing.T, ever map[manifest.Digest]string) {
	t.Helper()
	var rep report.Report
	for range 6 {
		var err error
		rep, err = w.round(context.Background(), func(in *In) {
			if w.lost {
				in.Accept = &Acceptance{Who: "office", Why: "looked at"}
			}
		})
		must(w, err)
		if rep.Made == 0 {
			break
		}
	}
	was := t.Failed()
	(&ranch{t: t, copies: w.copies, led: w.led, cache: w.cache}).wantMet(rep, ever)
	brought := map[string]int{}
	inv := head(t, w.copies[1].root, "north--windmill")
	for _, v := range inv.Versions {
		if came, _, ok := strings.Cut(v.Message, ", made on"); ok && strings.HasPrefix(came, "came with") {
			brought[came]++
		}
	}
	if want := map[string]int{"came with barn, version 2 of north--windmill": 1, "came with barn, version 3 of north--windmill": 1}; !maps.Equal(brought, want) {
		t.Errorf("brought were %v", brought)
	}
	ours, theirs := manifest.Sum([]byte("ours")), manifest.Sum([]byte("theirs"))
	if s := inv.State(inv.Head()); s["2021-06-21/plot.jpg"] != ours || s["2021-06-21/plot~"+theirs.String()[:8]+".jpg"] != theirs {
		t.Errorf("the site has %v", paths(s))
	}
	if _, err := store.Head(t.Context(), w.copies[1].root, "east--creek"); errors.Is(err, store.ErrNoObject) {
		t.Error("the site that only the other history had is not there")
	}
	if t.Failed() && !was {
		t.Logf("after %s", w.where)
	}
}

// At every operation on either drive of the round that meets another history: all of it is
// taken in, and nothing twice, whatever became of the state.
func TestCrashAnywhereInAMeeting(t *testing.T) {
	g, ever := meetsAnother(t)
	for _, name := range g.drives {
		t.Run(name, func(t *testing.T) {
			n, lives := 1, 0
			for ended := false; !ended && !t.Failed(); n = nextPoint(n) {
				for _, v := range ways(n, crashSeeds(t)) {
					lives++
					w := g.begin(t, 0)
					w.where = fmt.Sprintf("operation %d, %v", n, v)
					d := w.account(name, v.each)
					if _, stopped := w.stop(d, n); stopped {
						log := d.Log()
						w.where += fmt.Sprintf(" (%s)", log[len(log)-1])
						w.fall(d, v)
					} else {
						ended = true
					}
					w.met(t, ever)
					w.end()
				}
			}
			t.Logf("%d operations, %d lives", n, lives)
			if n < 60 {
				t.Errorf("only %d operations: nothing is met", n)
			}
		})
	}
}
