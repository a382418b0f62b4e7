package daemon

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"

	"linecamp/daemon/alone"
	"linecamp/daemon/authority"
	"linecamp/daemon/config"
	"linecamp/daemon/reach"
	"linecamp/manifest"
	"linecamp/manifest/store/fault"
	"linecamp/verify"
)

// ErrLastCopy: an archive needs one copy.
var ErrLastCopy = errors.New("an archive needs one copy at least")

// ErrAlone: what the copy holds is nowhere else.
var ErrAlone = errors.New("nothing was changed")

// giveUp takes copies out of use for good, in the settings first: whatever stops
// the round, none of them is used again. Of one that is within reach, a person is
// asked only when it was away and turns up.
func (a *Archive) giveUp(ctx context.Context, names []string) ([]alone.Report, error) {
	if len(names) == 0 {
		return nil, nil
	}
	if len(a.Config.Copies) <= len(slices.Compact(slices.Sorted(slices.Values(names)))) {
		return nil, fault.Say(ErrLastCopy, "with %s given up, %s would have no copy left. Add another first, with `linecamp setup --add-copy --drive NAME=FOLDER`", names[0], a.Config.Name)
	}
	reports, err := a.Alone(ctx, names...)
	if err != nil {
		return nil, err
	}
	var changes []config.Change
	for _, r := range reports {
		changes = append(changes, config.GivingUp(r.ID, a.Now().Local()))
		stayed := ""
		if r.Here {
			stayed = "yes"
		}
		if err := a.Ledger.SetValue(reach.Stayed(r.ID), stayed); err != nil {
			return nil, err
		}
	}
	if err := a.Change(changes...); err != nil {
		return nil, fmt.Errorf("nothing was given up: %w", err)
	}
	return reports, nil
}

// keyLeft is where the ledger lists the ids of the copies that the settings had once
// and have no longer.
const keyLeft = "copies left"

// left are the copies of which the seal is to say that they were given up: those that
// the settings tell of, and those taken out of them. The line is written by the next
// round that may record.
func (a *Archive) left() (ids []string, err error) {
	if err := a.Recall(keyLeft, &ids); err != nil {
		return nil, err
	}
	for _, c := range a.Config.GivenUp {
		ids = append(ids, c.ID)
	}
	slices.Sort(ids)
	return slices.DeleteFunc(slices.Compact(ids), func(id string) bool { return a.has(id) }), nil
}

// has reports whether the settings use a copy.
func (a *Archive) has(id string) bool {
	return slices.ContainsFunc(a.Config.Copies, func(c config.Copy) bool { return c.ID == id })
}

// Change changes the archive's settings, and notes the copies that are no longer
// used by them.
func (a *Archive) Change(changes ...config.Change) error {
	was := a.Config.Copies
	if err := config.Rewrite(a.Config.File, changes...); err != nil {
		return err
	}
	all, faults := config.Load(a.Config.File)
	if len(all) != 1 {
		return errors.Join(faults...)
	}
	a.Config = all[0]
	day := a.Now().Local().Format("2006-01-02")
	left, err := a.left()
	if err != nil {
		return err
	}
	for _, c := range was {
		if !a.has(c.ID) {
			if err := a.Ledger.SetValue(reach.NotUsed(c.ID), day); err != nil {
				return err
			}
			left = append(left, c.ID)
		}
	}
	return cmp.Or(a.Remember(keyLeft, left), a.UseAgain())
}

// Alone tells, of each copy named, what no other copy holds that stays in use.
func (a *Archive) Alone(ctx context.Context, names ...string) ([]alone.Report, error) {
	k, err := a.Look(ctx)
	if err != nil {
		return nil, err
	}
	defer k.Copies.Close()
	damage, err := a.Ledger.Damage()
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
		Object:  func(slug string) (*manifest.Inventory, *manifest.Record, error) { return k.Object(slug) },
		Damaged: func(id, slug, content string) bool { return bad[[3]string{id, slug, content}] },
	}
	for _, h := range k.Copies.All {
		if !slices.Contains(names, h.Name) {
			in.Others = append(in.Others, alone.Copy{Name: h.Name, ID: h.ID, Root: h.Root})
		}
	}
	var reports []alone.Report
	for _, name := range names {
		h := k.Copies.Named(name)
		if h == nil {
			return nil, fmt.Errorf("%w: %q", reach.ErrNoCopy, name)
		}
		in.Copy = alone.Copy{Name: h.Name, ID: h.ID, Root: h.Root}
		if in.Read, err = authority.WasRead(a.Ledger, h.ID); err != nil {
			return nil, err
		}
		if in.Committed, err = a.Ledger.Committed(h.ID); err != nil {
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
