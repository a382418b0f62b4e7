package mirror

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"
	"sync/atomic"

	"golang.org/x/sync/errgroup"

	"linecamp/daemon/attention"
	"linecamp/daemon/authority/marks"
	"linecamp/daemon/ledger"
	"linecamp/daemon/link"
	"linecamp/daemon/mirror/gone"
	"linecamp/daemon/mirror/plan"
	"linecamp/daemon/mirror/report"
	"linecamp/daemon/mirror/sites"
	"linecamp/daemon/mirror/source"
	"linecamp/daemon/mirror/unseen"
	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
)

// author makes one version on this copy, the first holder: content, commit,
// seal line. Only then do the other copies hear of it.
func (c *copyRun) author(ctx context.Context, st plan.Step) error {
	c.turn.Lock()
	defer c.turn.Unlock()
	if err := c.broken(); err != nil {
		return err
	}
	c.carryFirst(ctx)
	st.Group.Load()
	defer st.Group.Release()
	m, err := c.r.begin(ctx, c, st)
	if m == nil || err != nil {
		return err
	}
	defer m.build.Close()
	draft, err := m.store(ctx)
	if errors.Is(err, errSiteWaits) {
		return m.leave()
	}
	if draft == nil || err != nil {
		return errors.Join(err, m.leave())
	}
	if err := m.build.Commit(ctx, draft.Encoded); err != nil {
		m.doubt = m.doubt || !fault.IsUnstored(err)
		m.left()
		return fmt.Errorf("committing version %d of %s: %w", m.n, st.Slug, err)
	}
	return m.finish(ctx, draft)
}

// leave takes back the mark of a version that was not brought to its commit.
// What a drive had of it is private to it. What a bucket has is not: there the
// mark stays, unless it is sure that nothing is stored.
func (m *making) leave() error {
	m.left()
	if !m.c.Can().Staged && (m.build == nil || m.doubt || len(m.found) > 0) {
		return nil
	}
	return m.r.begun.Drop(func(o marks.Mark) bool { return o == m.mark() })
}

// left notes where the next copy may go on with the version: in a bucket, if each
// write to it was answered, so that its listing shows all there is.
func (m *making) left() {
	if !m.c.Can().Staged && m.build != nil && m.fresh && !m.doubt {
		m.c.mu.Lock()
		m.c.answered[m.mark()] = true
		m.c.mu.Unlock()
	}
}

func (m *making) mark() marks.Mark { return marks.Mark{Copy: m.c.ID, Slug: m.st.Slug, N: m.n} }

// making is one version being authored.
type making struct {
	r     *round
	c     *copyRun
	st    plan.Step
	old   *sites.Object
	inv   *manifest.Inventory // of the version before
	n     int
	build store.Build
	found map[string]manifest.Digest          // content already under the version, in buckets
	where map[manifest.Digest][]source.Source // where found content can be read

	mu      sync.Mutex
	stored  map[string]store.Info // content path → what was stored there
	changed map[string]bool       // logical paths whose file changed meanwhile
	redraft bool                  // something was learned that the draft does not know
	doubt   bool                  // something may have been stored without an answer
	fresh   bool                  // nothing of it was begun there before this round
}

// errSiteWaits: the site's next version cannot be made in this round, and the
// report says why. The other sites go on.
var errSiteWaits = errors.New("this site's next version has to wait")

// errUnsealed: the copy has versions that the seal does not name, and nothing at
// hand said so.
var errUnsealed = errors.New("it holds versions that are not in the seal")

// begin settles whether the version can be made now. It returns nil where it
// has to wait; the report says why.
func (r *round) begin(ctx context.Context, first *copyRun, st plan.Step) (*making, error) {
	if err := r.who.Begin(ctx); err != nil {
		return nil, err
	}
	if err := r.who.Recheck(ctx); err != nil {
		return nil, err
	}
	if err := first.broken(); err != nil {
		return nil, err // it could not say who records there
	}
	m := &making{r: r, c: first, st: st, stored: map[string]store.Info{}, changed: map[string]bool{}}
	m.inv = manifest.New(manifest.ObjectID(r.Archive, st.Slug))
	if st.Old != nil || !st.First {
		o, err := r.objects.Get(ctx, st.Slug)
		if errors.Is(err, sites.ErrNoInventory) && st.Old == nil {
			return nil, nil // its first version could not be made in this round
		}
		if err != nil {
			return nil, err
		}
		m.old, m.inv = o, o.Inv
	}
	m.n = m.inv.Head() + 1
	if first.holds.Has(st.Slug) != m.n-1 || first.stuck(st.Slug) {
		r.wait(attention.FileWaits, st.Slug, report.ReasonHolderShort, true)
		return nil, nil
	}
	found, where, hold, err := r.pending(ctx, st.Slug, m.n, first)
	if err != nil {
		return nil, err
	}
	if hold != "" {
		r.wait(attention.RecordingHeld, st.Slug, hold, true)
		return nil, nil
	}
	m.found, m.where = found, where
	if ahead, err := r.madeElsewhere(ctx, st.Slug, m.n, first); ahead || err != nil {
		return nil, err
	}
	if held, err := first.heldBack(st.Slug, first.sameBefore(ctx, st.Slug, m.n)); held || err != nil {
		if held {
			r.wait(attention.FileWaits, st.Slug, report.ReasonHolderShort, true)
		}
		return nil, err
	}
	begun, err := r.begun.All()
	if err != nil {
		return nil, err
	}
	m.fresh = !slices.Contains(begun, m.mark())
	if err := r.begun.Add(m.mark()); err != nil {
		return nil, err
	}
	if err := r.syncLedger(); err != nil { // the mark must outlive a power cut
		return nil, err
	}
	m.build, err = first.Root.Begin(ctx, st.Slug, m.n)
	if errors.Is(err, store.ErrDamaged) {
		first.block(st.Slug, gone.ReasonManifest)
		r.wait(attention.FileWaits, st.Slug, report.ReasonHolderShort, true)
		return nil, nil
	}
	if errors.Is(err, store.ErrConflict) {
		err = fmt.Errorf("%w: %w", errUnsealed, err)
	}
	if err != nil {
		if !errors.Is(err, store.ErrConflict) {
			err = errors.Join(err, m.leave())
		}
		return nil, fmt.Errorf("starting version %d of %s: %w", m.n, st.Slug, err)
	}
	for path, info := range m.build.Found() {
		m.found[path] = info.SHA256
		m.stored[path] = info
	}
	return m, nil
}

// store puts the version's content in place. A file that changed since it was
// tallied drops out and waits; the rest is drafted again without it. It returns
// nil when nothing is left to record.
func (m *making) store(ctx context.Context) (*manifest.Draft, error) {
	for {
		next, fresh := m.next()
		if manifest.SameState(peoplesState(m.inv), next.State) && !(m.st.First && (m.st.Renamed || len(m.st.Said) > 0 || m.old.Remade())) {
			return nil, nil
		}
		draft, err := m.inv.Add(next)
		if err != nil { // the fault is this site's alone
			m.r.wait(attention.FileWaits, m.st.Slug, "its next version cannot be written: "+err.Error(), true)
			return nil, errSiteWaits
		}
		m.redraft = false
		if err := m.put(ctx, draft, fresh); err != nil {
			return nil, err
		}
		if !m.redraft {
			return draft, nil
		}
	}
}

// next is the version to be made, without the files that changed meanwhile. It
// also says which logical path each new digest can be read from.
func (m *making) next() (manifest.Next, map[manifest.Digest][]string) {
	state := peoplesState(m.inv)
	rec := manifest.Record{Site: m.st.Group.Site, Pasture: m.st.Group.Pasture, Base: m.st.Group.Base, Paths: map[string]manifest.Entry{}}
	if m.old != nil {
		rec.Decisions = m.old.Rec.Decisions
		if m.st.Stays {
			rec.Site, rec.Pasture, rec.Base = m.old.Rec.Site, m.old.Rec.Pasture, m.old.Rec.Base
		}
	}
	did := plan.Counts{}
	if m.old.Remade() {
		did.Remade, did.Unknown = true, m.old.Unknown
	}
	files := m.st.Group.Files
	fresh := map[manifest.Digest][]string{}
	if m.st.First {
		for _, logical := range m.st.Gone {
			delete(state, logical)
			did.Gone++
		}
		for _, logical := range m.st.Known {
			state[logical] = files[logical].SHA256
			did.Known++
		}
		rec.Decisions = append(rec.Decisions[:len(rec.Decisions):len(rec.Decisions)], m.st.Said...)
		did.Said = len(m.st.Said)
		if m.r.Accept != nil && len(m.st.Gone)+len(m.st.Altered) > 0 {
			rec.Decisions = append(rec.Decisions[:len(rec.Decisions):len(rec.Decisions)], manifest.Decision{
				What: manifest.Accepted, Who: m.r.Accept.Who, When: m.r.created, Why: m.r.Accept.Why,
			})
		}
	}
	for logical := range m.st.Paths.All() {
		if m.changed[logical] {
			continue
		}
		f := files[logical]
		state[logical] = f.SHA256
		fresh[f.SHA256] = append(fresh[f.SHA256], logical)
		did.Add(f)
	}
	for logical, d := range state {
		if strings.HasPrefix(logical, manifest.FoundPrefix) {
			continue
		}
		if f, ok := files[logical]; ok && f.SHA256 == d {
			rec.Paths[logical] = m.st.Group.Entry(logical)
		} else if m.old != nil {
			rec.Paths[logical] = m.old.Rec.Paths[logical]
		}
	}
	sites.DropLoneCompanions(&rec) // a photo may not be recorded yet
	return manifest.Next{
		Created: m.r.created,
		Message: did.String(),
		User:    manifest.User{Name: m.r.Machine, Address: "urn:uuid:" + m.r.Author},
		State:   state,
		Record:  rec,
		Found:   m.found,
	}, fresh
}

// put stores what the draft names and this copy does not have yet: what is new,
// and what was found under the version in a bucket.
func (m *making) put(ctx context.Context, draft *manifest.Draft, fresh map[manifest.Digest][]string) error {
	record := manifest.Sum(draft.Record)
	// Once one fails no other is begun. What is under way ends by itself: nobody
	// can tell what became of a write that is cut off.
	var g errgroup.Group
	var failed atomic.Bool
	g.SetLimit(m.c.workers)
	content := draft.Inventory.Paths(m.n)
	for _, path := range slices.Sorted(maps.Keys(content)) {
		d := content[path]
		m.mu.Lock()
		was, there := m.stored[path]
		m.mu.Unlock()
		if there && was.SHA256 == d {
			continue
		}
		if d == record && len(fresh[d]) == 0 {
			continue // last, once it is sure that nothing dropped out
		}
		g.Go(func() error {
			if failed.Load() {
				return nil
			}
			err := m.putOne(ctx, path, d, m.sources(d, fresh[d]), fresh[d])
			if err != nil {
				failed.Store(true)
			}
			return err
		})
	}
	if err := g.Wait(); err != nil {
		return err
	}
	for path, d := range content {
		if _, there := m.stored[path]; d == record && !m.redraft && !there {
			if err := m.putOne(ctx, path, d, []source.Source{source.Bytes("the record", draft.Record)}, nil); err != nil {
				return err
			}
		}
	}
	return nil
}

func (m *making) sources(d manifest.Digest, logical []string) []source.Source {
	var from []source.Source
	for _, l := range logical {
		f := m.st.Group.Files[l]
		from = append(from, source.Working(m.r.Tally.Folder, f.Path, f.Size))
	}
	return append(from, m.where[d]...)
}

func (m *making) putOne(ctx context.Context, path string, d manifest.Digest, from []source.Source, logical []string) error {
	err := m.c.Link.May()
	var info store.Info
	if err == nil {
		info, err = m.c.bring(ctx, source.Into(m.build, path), d, from)
	}
	switch {
	case err == nil:
		info.SHA256 = d
		m.mu.Lock()
		m.stored[path] = info
		if !m.c.Can().Staged {
			m.found[path] = d // it cannot be taken back: the version must name it
		}
		m.mu.Unlock()
		return nil
	case errors.Is(err, store.ErrTooLarge), errors.Is(err, source.ErrNobody) && len(logical) == 0:
		// Committed without it; mend fills it if it turns up.
		return m.c.lacks(m.st.Slug, path, d, logical, m.st.Group.Base, errors.Is(err, store.ErrTooLarge))
	case errors.Is(err, source.ErrNotNow) && len(logical) == 0:
		m.r.wait(attention.FileWaits, m.st.Slug, "bytes that its next version needs could not be brought: "+err.Error(), true)
		return errSiteWaits
	case errors.Is(err, source.ErrNobody), errors.Is(err, source.ErrNotNow):
		m.mu.Lock()
		defer m.mu.Unlock()
		m.redraft = true
		for _, l := range logical {
			m.changed[l] = true
			m.r.wait(attention.FileWaits, m.st.Group.Files[l].Path, report.ReasonCopied, false)
		}
		return nil
	case errors.Is(err, store.ErrConflict) && !m.c.Can().Staged:
		// Something this round's listing did not show lies at the path: it is
		// named by the version, and the file gets another path.
		return m.learnFound(ctx, path)
	case errors.Is(err, link.ErrHeld):
		m.c.queue.Keep(m.st.Slug, err)
		m.r.wait(attention.RecordingHeld, m.st.Slug, report.ReasonLink+m.c.queue.Why(), false)
		return errSiteWaits
	default:
		m.mu.Lock()
		m.doubt = m.doubt || !fault.IsUnstored(err)
		m.mu.Unlock()
		return fmt.Errorf("version %d of %s: %w", m.n, m.st.Slug, err)
	}
}

// learnFound takes in what lies at a path that was thought free, and has the
// version drafted again.
func (m *making) learnFound(ctx context.Context, path string) error {
	b, err := m.c.Root.Begin(ctx, m.st.Slug, m.n)
	if err != nil {
		return err
	}
	defer b.Close()
	info, ok := b.Found()[path]
	if !ok {
		return fault.Say(store.ErrConflict, "version %d of %s: %s is taken, and cannot be read", m.n, m.st.Slug, path)
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	m.found[path], m.stored[path] = info.SHA256, info
	m.redraft = true
	return nil
}

// finish notes everywhere that the version is committed, and seals it.
func (m *making) finish(ctx context.Context, draft *manifest.Draft) error {
	r, c, slug := m.r, m.c, m.st.Slug
	rec, err := manifest.DecodeRecord(draft.Record)
	if err != nil {
		return err
	}
	o := &sites.Object{Slug: slug, Inv: draft.Inventory, Rec: rec, Raw: draft.Record}
	if err := m.keepRecord(); err != nil {
		return err
	}
	if err := r.objects.Save(o); err != nil {
		return err
	}
	t := &taking{c: c, o: o, version: m.n, people: o.Inv.Files()}
	for path, d := range draft.Inventory.Paths(m.n) {
		if info, ok := m.stored[path]; ok {
			t.keep(path, d, info)
		}
	}
	if err := t.committed(); err != nil {
		return err
	}
	line := seal.Line{At: r.created, What: seal.Version, Object: draft.Inventory.ID, Version: m.n, Inventory: manifest.Sum(draft.Encoded)}
	if err := r.addLine(ctx, c, line); err != nil {
		return err
	}
	if err := unseen.Own(r.Ledger, r.objects.Log()); err != nil {
		return err
	}
	r.objects.Remember(o)
	if m.old.Remade() {
		r.wait(attention.FileWaits, slug, report.ReasonRemade, true)
	}
	if m.st.First && len(m.st.Said) > 0 {
		if err := r.Ledger.DropSaid(func(s ledger.Said) bool { return s.Object == slug && plan.Recorded(rec.Decisions, s.Decision) }); err != nil {
			return err
		}
	}
	edits, left := report.Edits(m.st, m.inv.State(m.n-1), o, r.created), report.Departed(m.st, m.inv.State(m.n-1), o)
	r.mu.Lock()
	r.report.Left += left
	r.report.Made++
	r.report.Edits = append(r.report.Edits, edits...)
	r.mu.Unlock()
	return r.dropMarks(slug, m.n)
}

// keepRecord sets the record of the version before aside, which the next one
// replaces in the cache: copies that are away still have to get it. Every other
// content can be had from the working folder or waits for the copy that has it.
func (m *making) keepRecord() error {
	if m.old == nil || m.old.Remade() || len(m.r.copies) < 2 {
		return nil
	}
	if err := m.r.Cache.KeepRecord(m.st.Slug, m.old.Raw); err != nil {
		return fmt.Errorf("caching the record of %s: %w", m.st.Slug, err)
	}
	return nil
}

// peoplesState is a copy of the newest state without the record, which each
// version makes anew. Found content stays.
func peoplesState(inv *manifest.Inventory) map[string]manifest.Digest {
	state := maps.Clone(inv.State(inv.Head()))
	if state == nil {
		state = map[string]manifest.Digest{}
	}
	delete(state, manifest.RecordPath)
	return state
}
