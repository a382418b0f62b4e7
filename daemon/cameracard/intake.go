// Package cameracard is the way in from a camera card, and says whether one may be
// wiped. Begin with [Intake], which proposes what of a card goes where, and
// [MayWipe], which asks every copy for each of its files. Both look at several
// archives at once.
package cameracard

import (
	"context"
	"fmt"
	"slices"

	"linecamp/daemon/archive"
	"linecamp/daemon/intake"
	"linecamp/daemon/reach"
	"linecamp/manifest"
	"linecamp/manifest/card"
	"linecamp/manifest/layout"
	"linecamp/manifest/store/fault"
	"linecamp/manifest/tally"
	"linecamp/manifest/within"
)

// Plan is a proposal for a card, with what is needed to file it.
type Plan struct {
	*intake.Plan
	archives []*archive.Archive
}

// Intake reads a camera card and proposes what of it goes where, in any of the
// archives. Nothing is written but what the ledgers remember of the working
// folders.
func Intake(ctx context.Context, card string, archives []*archive.Archive, o intake.Options, p archive.Progress) (*Plan, error) {
	for _, a := range archives {
		if err := separate(card, a.Config.Folder, true); err != nil {
			return nil, err
		}
	}
	now := archives[0].Now()
	c, err := intake.ReadCard(ctx, card, now, func(done, total int64) { p.Tell("card", done, total) })
	if err != nil {
		return nil, err
	}
	var targets []*intake.Archive
	for _, a := range archives {
		t, err := target(ctx, a, card, p)
		if err != nil {
			return nil, fmt.Errorf("archive %s: %w", a.Config.Name, err)
		}
		targets = append(targets, t)
	}
	o.Now = now
	o.Progress = func(done, total int64) { p.Tell("pictures", done, total) }
	if o.Visits != nil {
		if o.Shown, err = planShown(card, archives); err != nil {
			return nil, err
		}
	}
	plan, err := intake.Propose(ctx, c, targets, o)
	if err != nil {
		return nil, err
	}
	if o.Shown == nil { // its numbers are new
		if err := rememberPlan(card, archives, plan.Shown()); err != nil {
			return nil, err
		}
	}
	return &Plan{plan, archives}, nil
}

// File files what the plan proposes. One intake at a time files into an
// archive.
func (p *Plan) File(ctx context.Context) error {
	for _, a := range p.archives {
		leave, err := a.Turns.File(ctx)
		if err != nil {
			return err
		}
		defer leave()
	}
	return p.Plan.File(ctx)
}

// target is the archive as intake needs it.
func target(ctx context.Context, a *archive.Archive, from string, p archive.Progress) (*intake.Archive, error) {
	t, err := a.Folder(ctx, p)
	if err != nil {
		return nil, err
	}
	layout, err := layout.New(a.Config.Layout, a.Config.Views, a.Now())
	if err != nil {
		return nil, err
	}
	unsorted, err := toSort(a, from, t, layout)
	if err != nil {
		return nil, err
	}
	t = unsorted.beside(t)
	r, err := a.Reach(ctx, a.Config.Copies, reach.Glance)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	recorded, err := recorded(ctx, a, r)
	if err != nil {
		return nil, err
	}
	k, err := a.Known(ctx, r)
	if err != nil {
		return nil, err
	}
	besides := unsorted.objects(k)
	here := contents(t)
	if err := addUnsettled(ctx, a, t, here); err != nil {
		return nil, err
	}
	return &intake.Archive{Name: a.Config.Name, Folder: a.Config.Folder, Tally: t, Layout: layout, Cards: card.Read(t), Near: a.Config.Years.Meters, Units: a.Config.Distances(), Has: func(d manifest.Digest) bool {
		is := slices.ContainsFunc(recorded[d], func(s stored) bool { return !besides[s.object] })
		return is || here[d] != ""
	}}, nil
}

// stored is a content in an object, where its copies have it.
type stored struct{ object, path string }

// recorded is every content of every version of every site.
func recorded(ctx context.Context, a *archive.Archive, r *reach.Copies) (map[manifest.Digest][]stored, error) {
	k, err := a.Known(ctx, r)
	if err != nil {
		return nil, err
	}
	all := map[manifest.Digest][]stored{}
	for _, slug := range k.Slugs {
		inv, err := k.Inventory(slug)
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		if err != nil {
			a.Log.Warn("what this site has on record cannot be told now", "archive", a.Config.Name, "site", slug, "why", err)
			continue
		}
		for d, paths := range inv.Content {
			for _, p := range paths {
				all[d] = append(all[d], stored{slug, p})
			}
		}
	}
	return all, nil
}

// contents is the content of a working folder, with one path for each.
func contents(t *tally.Result) map[manifest.Digest]string {
	all := map[manifest.Digest]string{}
	for i := range t.Sites {
		for f := range t.Sites[i].Files() {
			all[f.SHA256] = f.Path
		}
	}
	for f := range t.Unfiled.All() {
		all[f.SHA256] = f.Path
	}
	return all
}

// separate refuses a card that is the working folder or lies around it: that is no
// way in. One that lies in it may hold what waits to be sorted, and is refused where
// that is not allowed.
func separate(card, folder string, insideAllowed bool) error {
	if folder == "" {
		return nil
	}
	if within.Folder(folder, card) && within.Folder(card, folder) {
		return fault.Say(intake.ErrAsked, "%s is your folder; name the card's own folder", manifest.Printable(card))
	}
	if within.Folder(folder, card) || !insideAllowed && within.Folder(card, folder) {
		return fault.Say(intake.ErrAsked, "%s and your folder %s lie one inside the other; name the card's own folder", manifest.Printable(card), manifest.Printable(folder))
	}
	return nil
}
