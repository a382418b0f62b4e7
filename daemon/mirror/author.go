package mirror

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"linecamp/daemon/attention"
	"linecamp/daemon/authority/marks"
	"linecamp/daemon/ledger"
	"linecamp/daemon/mirror/gone"
	"linecamp/daemon/mirror/making"
	"linecamp/daemon/mirror/plan"
	"linecamp/daemon/mirror/report"
	"linecamp/daemon/mirror/sites"
	"linecamp/daemon/mirror/unseen"
	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
)

// author makes one planned version on this copy, the first holder. Only once its line is
// sealed do the other copies hear of it.
func (c *copyRun) author(ctx context.Context, st plan.Step) error {
	st.Group.Load()
	defer st.Group.Release()
	err := c.make(ctx, st.Slug, st.Old != nil || !st.First, func(m *begun) making.What {
		m.st = &st
		what := &making.Folder{Step: st, Old: m.old, Inv: m.Inv, Root: c.r.Tally.Folder, Created: c.r.created, User: c.r.user()}
		if c.r.Accept != nil {
			what.Accepted = &manifest.Decision{What: manifest.Accepted, Who: c.r.Accept.Who, When: c.r.created, Why: c.r.Accept.Why}
		}
		return what
	})
	if errors.Is(err, sites.ErrNoInventory) && st.Old == nil {
		return nil // its first version could not be made in this round
	}
	return err
}

// user is who makes versions here, as their inventories say it.
func (r *round) user() manifest.User {
	return manifest.User{Name: r.Machine, Address: "urn:uuid:" + r.Author}
}

// make makes one version on this copy: content, commit, seal line. goesOn tells whether
// the object has versions already.
func (c *copyRun) make(ctx context.Context, slug string, goesOn bool, what func(*begun) making.What) error {
	c.turn.Lock()
	defer c.turn.Unlock()
	if err := c.broken(); err != nil {
		return err
	}
	c.carryFirst(ctx)
	m, err := c.r.begin(ctx, c, slug, goesOn)
	if m == nil || err != nil {
		return err
	}
	defer m.Build.Close()
	m.What = what(m)
	draft, err := m.Store(ctx)
	if errors.Is(err, making.ErrWaits) {
		return m.leave()
	}
	if draft == nil || err != nil {
		return errors.Join(err, m.leave())
	}
	if err := m.Build.Commit(ctx, draft.Encoded); err != nil {
		m.Doubt = m.Doubt || !fault.IsUnstored(err)
		m.left()
		return fmt.Errorf("committing version %d of %s: %w", m.N, slug, err)
	}
	return m.finish(ctx, draft)
}

// leave takes back the mark of a version that was not brought to its commit.
// What a drive had of it is private to it. What a bucket has is not: there the
// mark stays, unless it is sure that nothing is stored.
func (m *begun) leave() error {
	m.left()
	if !m.c.Can().Staged && (m.Build == nil || m.Doubt || len(m.Found) > 0) {
		return nil
	}
	return m.r.begun.Drop(func(o marks.Mark) bool { return o == m.mark() })
}

// left notes where the next copy may go on with the version: in a bucket, if each
// write to it was answered, so that its listing shows all there is.
func (m *begun) left() {
	if !m.c.Can().Staged && m.Build != nil && m.fresh && !m.Doubt {
		m.c.mu.Lock()
		m.c.answered[m.mark()] = true
		m.c.mu.Unlock()
	}
}

func (m *begun) mark() marks.Mark { return marks.Mark{Copy: m.c.ID, Slug: m.Slug, N: m.N} }

// begun is one version being made on a copy.
type begun struct {
	making.Version
	r     *round
	c     *copyRun
	st    *plan.Step // nil where nothing of the folder is recorded
	old   *sites.Object
	fresh bool // nothing of it was begun there before this round
}

// errUnsealed: the copy has versions that the seal does not name, and nothing at
// hand said so.
var errUnsealed = errors.New("it holds versions that are not in the seal")

// begin settles whether the next version of slug can be made now. It returns nil where
// it has to wait; the report says why.
func (r *round) begin(ctx context.Context, first *copyRun, slug string, goesOn bool) (*begun, error) {
	if err := r.who.Recheck(ctx); err != nil {
		return nil, err
	}
	if err := first.broken(); err != nil {
		return nil, err // it could not say who records there
	}
	m := &begun{r: r, c: first, Version: making.Version{
		Copy: first.forMaking(slug), Slug: slug, Stored: map[string]store.Info{}, Wait: r.wait,
	}}
	m.Inv = manifest.New(manifest.ObjectID(r.Archive, slug))
	if goesOn {
		o, err := r.objects.Get(ctx, slug)
		if err != nil {
			return nil, err
		}
		m.old, m.Inv = o, o.Inv
	}
	m.N = m.Inv.Head() + 1
	if first.holds.Has(slug) != m.N-1 || first.stuck(slug) {
		r.wait(attention.FileWaits, slug, report.ReasonHolderShort, true)
		return nil, nil
	}
	found, where, hold, err := r.pending(ctx, slug, m.N, first)
	if err != nil {
		return nil, err
	}
	if hold != "" {
		r.wait(attention.RecordingHeld, slug, hold, true)
		return nil, nil
	}
	m.Found, m.Where = found, where
	if ahead, err := r.madeElsewhere(ctx, slug, m.N, first); ahead || err != nil {
		return nil, err
	}
	if held, err := first.heldBack(slug, first.sameBefore(ctx, slug, m.N)); held || err != nil {
		if held {
			r.wait(attention.FileWaits, slug, report.ReasonHolderShort, true)
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
	m.Build, err = first.Root.Begin(ctx, slug, m.N)
	if errors.Is(err, store.ErrDamaged) {
		first.blocked.Add(slug, gone.ReasonManifest)
		r.wait(attention.FileWaits, slug, report.ReasonHolderShort, true)
		return nil, nil
	}
	if errors.Is(err, store.ErrConflict) {
		err = fmt.Errorf("%w: %w", errUnsealed, err)
	}
	if err != nil {
		if !errors.Is(err, store.ErrConflict) {
			err = errors.Join(err, m.leave())
		}
		return nil, fmt.Errorf("starting version %d of %s: %w", m.N, slug, err)
	}
	for path, info := range m.Build.Found() {
		m.Found[path] = info.SHA256
		m.Stored[path] = info
	}
	return m, nil
}

// finish notes everywhere that the version is committed, and seals it.
func (m *begun) finish(ctx context.Context, draft *manifest.Draft) error {
	r, c, slug := m.r, m.c, m.Slug
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
	t := c.forTaking(o, m.N)
	for path, d := range draft.Inventory.Paths(m.N) {
		if info, ok := m.Stored[path]; ok {
			t.Keep(path, d, info)
		}
	}
	if err := c.committed(t); err != nil {
		return err
	}
	line := seal.Line{At: r.created, What: seal.Version, Object: draft.Inventory.ID, Version: m.N, Inventory: manifest.Sum(draft.Encoded)}
	if err := r.addLine(ctx, c, line); err != nil {
		return err
	}
	if m.st != nil { // else the folder may never have had it
		if err := unseen.Own(r.Ledger, r.objects.Log()); err != nil {
			return err
		}
	}
	r.objects.Remember(o, line.Inventory)
	if m.old.Remade() {
		r.wait(attention.FileWaits, slug, report.ReasonRemade, true)
	}
	r.mu.Lock()
	r.report.Made++
	r.mu.Unlock()
	if m.st == nil {
		return r.dropMarks(slug, m.N)
	}
	if m.st.First && len(m.st.Said) > 0 {
		log := r.objects.Log()
		if err := r.Ledger.DropSaid(func(s ledger.Said) bool {
			return (s.Object == slug || log.Closed(s.Object)) && plan.Recorded(rec.Decisions, s.Decision)
		}); err != nil {
			return err
		}
	}
	edits, left := report.Edits(*m.st, m.Inv.State(m.N-1), o, r.created), report.Departed(*m.st, m.Inv.State(m.N-1), o)
	r.mu.Lock()
	r.report.Left += left
	r.report.Edits = append(r.report.Edits, edits...)
	r.mu.Unlock()
	return r.dropMarks(slug, m.N)
}

// keepRecord sets the record of the version before aside, which the next one
// replaces in the cache: copies that are away still have to get it. Every other
// content can be had from the working folder or waits for the copy that has it.
func (m *begun) keepRecord() error {
	if m.old == nil || m.old.Remade() || len(m.r.copies) < 2 {
		return nil
	}
	if err := m.r.Cache.KeepRecord(m.Slug, m.old.Raw); err != nil {
		return fmt.Errorf("caching the record of %s: %w", m.Slug, err)
	}
	return nil
}
