package daemon

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"linecamp/daemon/alone"
	"linecamp/daemon/config"
	"linecamp/daemon/mirror"
	"linecamp/daemon/reach"
	"linecamp/manifest"
	"linecamp/verify"
)

// ErrLastCopy: an archive needs one copy.
var ErrLastCopy = errors.New("an archive needs one copy at least")

// ErrAlone: what the copy holds is nowhere else.
var ErrAlone = errors.New("nothing was changed")

// useAgain makes a copy that the settings name, and once did not, one that this
// machine has yet to read.
func (a *Archive) useAgain() error {
	for _, c := range a.cfg.Copies {
		day, _, err := a.ledger.Value(reach.NotUsed(c.ID))
		if err != nil {
			return err
		}
		if day == "" {
			continue
		}
		if err := errors.Join(mirror.ReadAnew(a.ledger, c.ID), a.ledger.SetValue(reach.NotUsed(c.ID), "")); err != nil {
			return err
		}
	}
	return nil
}

// giveUp takes copies out of use for good, in the settings first: whatever stops
// the round, none of them is used again. The line in the seal comes with the next
// version's round, since only the machine that records may write it.
func (a *Archive) giveUp(ctx context.Context, names []string) ([]alone.Report, error) {
	if len(names) == 0 {
		return nil, nil
	}
	if len(a.cfg.Copies) <= len(slices.Compact(slices.Sorted(slices.Values(names)))) {
		return nil, fmt.Errorf("with %s given up, %s would have no copy left. Add another first, with `linecamp setup --add-copy`: %w", names[0], a.cfg.Name, ErrLastCopy)
	}
	reports, err := a.Alone(ctx, names...)
	if err != nil {
		return nil, err
	}
	var changes []config.Change
	for _, r := range reports {
		changes = append(changes, config.GivingUp(r.ID, a.now().Local()))
	}
	if err := a.Change(changes...); err != nil {
		return nil, fmt.Errorf("nothing was given up: %w", err)
	}
	return reports, nil
}

// Change changes the archive's settings, and notes the copies that are no longer
// used by them.
func (a *Archive) Change(changes ...config.Change) error {
	was := a.cfg.Copies
	if err := config.Rewrite(a.cfg.File, changes...); err != nil {
		return err
	}
	all, faults := config.Load(a.cfg.File)
	if len(all) != 1 {
		return errors.Join(faults...)
	}
	a.cfg = all[0]
	day := a.now().Local().Format("2006-01-02")
	for _, c := range was {
		if !slices.ContainsFunc(a.cfg.Copies, func(n config.Copy) bool { return n.ID == c.ID }) {
			if err := a.ledger.SetValue(reach.NotUsed(c.ID), day); err != nil {
				return err
			}
		}
	}
	return a.useAgain()
}

// Alone tells, of each copy named, what no other copy holds that stays in use.
func (a *Archive) Alone(ctx context.Context, names ...string) ([]alone.Report, error) {
	k, err := a.look(ctx)
	if err != nil {
		return nil, err
	}
	defer k.r.Close()
	damage, err := a.ledger.Damage()
	if err != nil {
		return nil, err
	}
	bad := map[[3]string]bool{}
	for _, d := range damage {
		if d.Kind != verify.Stray {
			bad[[3]string{d.Copy, d.Object, d.Content}] = true
		}
	}
	in := alone.In{
		Object:  func(slug string) (*manifest.Inventory, *manifest.Record, error) { return k.object(slug) },
		Damaged: func(id, slug, content string) bool { return bad[[3]string{id, slug, content}] },
	}
	for _, h := range k.r.All {
		if !slices.Contains(names, h.Name) {
			in.Others = append(in.Others, alone.Copy{Name: h.Name, ID: h.ID, Root: h.Root})
		}
	}
	var reports []alone.Report
	for _, name := range names {
		h := k.r.Named(name)
		if h == nil {
			return nil, fmt.Errorf("%w: %q", reach.ErrNoCopy, name)
		}
		in.Copy = alone.Copy{Name: h.Name, ID: h.ID, Root: h.Root}
		if in.Read, err = mirror.WasRead(a.ledger, h.ID); err != nil {
			return nil, err
		}
		if in.Committed, err = a.ledger.Committed(h.ID); err != nil {
			return nil, err
		}
		r, err := alone.Look(ctx, in)
		if err != nil {
			return nil, err
		}
		reports = append(reports, r)
	}
	return reports, nil
}
