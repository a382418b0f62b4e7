// Package left makes the list of what a computer knows and a copy does not have yet, for
// package carried to put there. Call [Todo.Of]: what of the sealed versions the copy
// lacks, and what this round is still to record.
package left

import (
	"context"
	"errors"
	"sync"

	"linecamp/daemon/authority"
	"linecamp/daemon/carried"
	"linecamp/daemon/mirror/plan"
	"linecamp/daemon/mirror/sites"
	"linecamp/manifest"
	"linecamp/verify"
)

// Todo is what a round is still to record. It is safe for several goroutines; the zero
// value is a round that has no plan yet.
type Todo struct {
	mu    sync.Mutex
	steps []step
	plans int
}

// step is one version to be made.
type step struct {
	files []file // as far as a list can name them
	n     int
	bytes int64
}

type file struct {
	visit string
	carried.Left
}

// Plan takes a plan in place of the one before. It loads the steps' groups, so nothing
// else may be at them meanwhile.
func (t *Todo) Plan(steps []plan.Step) {
	var all []step
	named := 0
	for _, st := range steps {
		s := step{bytes: st.Size}
		if named < carried.MostPaths {
			st.Group.Load()
		}
		for logical := range st.Paths.All() {
			s.n++
			if named >= carried.MostPaths {
				continue
			}
			named++
			f := st.Group.Files[logical]
			s.files = append(s.files, file{f.Visit, carried.Left{Path: f.Path, Bytes: f.Size, SHA256: f.SHA256, Why: carried.NotRecorded}})
		}
		st.Group.Release()
		all = append(all, s)
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	t.steps = all
	t.plans++
}

// Made says that the first of the planned versions is behind us: it is sealed, or waits.
func (t *Todo) Made() {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.steps = t.steps[min(1, len(t.steps)):]
}

// Plans is how many plans there were.
func (t *Todo) Plans() int {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.plans
}

// Of adds to a list what a copy does not have, of which has tells the newest version of
// each site there.
func (t *Todo) Of(ctx context.Context, l *carried.List, log *authority.Log, objects *sites.Catalogue, has func(slug string) int) error {
	t.mu.Lock()
	steps := t.steps
	t.mu.Unlock()
	for _, s := range steps {
		for _, f := range s.files {
			l.Add(f.visit, f.Left)
			s.n, s.bytes = s.n-1, s.bytes-f.Bytes
		}
		l.Count(s.n, max(s.bytes, 0))
	}
	for slug, versions := range log.Index {
		there := has(slug)
		if there >= len(versions) {
			continue
		}
		o, err := objects.Get(ctx, slug)
		if errors.Is(err, sites.ErrNoInventory) {
			continue
		}
		if err != nil {
			return err
		}
		lacks(l, o, there)
	}
	return nil
}

// lacks adds what an object's versions after one brought.
func lacks(l *carried.List, o *sites.Object, after int) {
	sizes := manifest.Sizes(o.Inv.State(o.Head()), o.Rec)
	for n := after + 1; n <= o.Head(); n++ {
		brought := o.Inv.ContentOf(n)
		for logical, d := range o.Inv.State(n) {
			if _, ok := brought[d]; !ok || manifest.Reserved(logical) {
				continue
			}
			e := o.Rec.Paths[logical]
			visit := e.Visit
			if visit == "" {
				visit = verify.DateIn(logical)
			}
			path := logical
			if o.Rec.Base != "" {
				path = o.Rec.Base + "/" + logical
			}
			l.Add(visit, carried.Left{Path: path, Bytes: sizes[d], SHA256: d, Why: carried.NotSent})
		}
	}
}
