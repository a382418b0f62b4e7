package daemon

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"linecamp/daemon/intake"
	"linecamp/daemon/reach"
	"linecamp/manifest"
	"linecamp/manifest/card"
	"linecamp/manifest/layout"
	"linecamp/manifest/tally"
)

// IntakeReport is what a camera card holds and what became of it.
type IntakeReport = intake.Plan

// IntakePlan is a proposal for a card, with what is needed to file it.
type IntakePlan struct {
	*intake.Plan
	archives []*Archive
}

// Intake reads a camera card and proposes what of it goes where, in any of the
// archives. Nothing is written but what the ledgers remember of the working
// folders.
func Intake(ctx context.Context, card string, archives []*Archive, o intake.Options, p Progress) (*IntakePlan, error) {
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
		t, err := a.target(ctx, card, p)
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
	return &IntakePlan{plan, archives}, nil
}

// File files what the plan proposes. One intake at a time files into an
// archive.
func (p *IntakePlan) File(ctx context.Context) error {
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
func (a *Archive) target(ctx context.Context, from string, p Progress) (*intake.Archive, error) {
	t, err := a.Folder(ctx, p)
	if err != nil {
		return nil, err
	}
	layout, err := layout.New(a.Config.Layout, a.Config.Views, a.Now())
	if err != nil {
		return nil, err
	}
	unsorted, err := a.toSort(from, t, layout)
	if err != nil {
		return nil, err
	}
	t = unsorted.beside(t)
	r, err := a.Reach(ctx, a.Config.Copies, reach.Glance)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	recorded, err := a.recorded(ctx, r)
	if err != nil {
		return nil, err
	}
	k, err := a.Known(ctx, r)
	if err != nil {
		return nil, err
	}
	besides := unsorted.objects(k)
	here := contents(t)
	if err := a.addUnsettled(ctx, t, here); err != nil {
		return nil, err
	}
	return &intake.Archive{Name: a.Config.Name, Folder: a.Config.Folder, Tally: t, Layout: layout, Cards: card.Read(t), Near: a.Config.Years.Metres, Units: a.Config.Distances(), Has: func(d manifest.Digest) bool {
		is := slices.ContainsFunc(recorded[d], func(s stored) bool { return !besides[s.object] })
		return is || here[d] != ""
	}}, nil
}

// stored is a content in an object, where its copies have it.
type stored struct{ object, path string }

// recorded is every content of every version of every site.
func (a *Archive) recorded(ctx context.Context, r *reach.Copies) (map[manifest.Digest][]stored, error) {
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
	a, err := resolved(card)
	if err != nil {
		return nil // reading the card will say so
	}
	b, err := resolved(folder)
	if err != nil {
		return nil
	}
	if a == b || within(b, a) || !insideAllowed && within(a, b) {
		return fmt.Errorf("%s and the working folder %s lie one inside the other; name the card's own folder: %w", manifest.Printable(card), manifest.Printable(folder), intake.ErrAsked)
	}
	return nil
}

func resolved(p string) (string, error) {
	p, err := filepath.Abs(p)
	if err != nil {
		return "", err
	}
	return filepath.EvalSymlinks(p)
}

// within reports whether p lies below dir.
func within(p, dir string) bool {
	rel, err := filepath.Rel(dir, p)
	return err == nil && rel != ".." && !strings.HasPrefix(rel, ".."+string(os.PathSeparator))
}

// HasFolder reports whether this machine has a working folder of the archive.
func (a *Archive) HasFolder() bool { return a.Config.Folder != "" }

var errNoFolders = errors.New("none of the archives has a working folder on this machine, so there is nowhere to file to")

// WithFolder leaves the archives that files can go to.
func WithFolder(archives []*Archive) ([]*Archive, error) {
	var list []*Archive
	for _, a := range archives {
		if a.HasFolder() {
			list = append(list, a)
		}
	}
	if len(list) == 0 {
		return nil, errNoFolders
	}
	return list, nil
}

// Inside reports whether a file's place is a folder or lies below it, as far as
// that can be told.
func Inside(file, folder string) bool {
	a, err := resolved(filepath.Dir(file))
	if err != nil {
		return false
	}
	b, err := resolved(folder)
	return err == nil && within(a, b)
}
