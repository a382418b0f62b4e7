package daemon

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"linecamp/daemon/handover"
	"linecamp/daemon/reach"
	"linecamp/manifest/store"
	"linecamp/manifest/within"
	"linecamp/verify"
	"linecamp/verify/bag"
	"linecamp/verify/history"
	"linecamp/verify/restore"
)

// HandOverOptions say what is handed over: Sites, the sites of one Pasture, or
// Everything.
type HandOverOptions struct {
	Sites         []string // names, folders or slugs, or beginnings of one
	Pasture       string
	Everything    bool
	Into          string
	EveryVersion  bool
	WithPositions bool
}

// ErrHandOver marks a wish that fits nothing there is.
var ErrHandOver = errors.New("cannot be handed over")

// HandOver makes a bag of sites, from the copies within reach.
func (a *Archive) HandOver(ctx context.Context, o HandOverOptions, p Progress) (handover.Report, error) {
	ho := handover.Options{
		Archive: a.Config.Name, Everything: o.Everything, Into: o.Into, EveryVersion: o.EveryVersion, WithPositions: o.WithPositions,
		Now: a.Now(), Progress: p.Tell,
	}
	if err := o.place(a.Config.Folder); err != nil {
		return handover.Report{}, err
	}
	// The years take turns with rounds, so they are judged before copies are opened.
	judged, err := a.Verify(ctx, VerifyOptions{Only: OnlyYears}, p)
	if err != nil {
		return handover.Report{}, fmt.Errorf("the years: %w", err)
	}
	r, err := a.sources(ctx, "")
	if err != nil {
		return handover.Report{}, err
	}
	defer r.Close()
	from := r.Nearest()
	if !o.Everything {
		if ho.Sites, err = o.sites(ctx, from); err != nil {
			return handover.Report{}, err
		}
	}
	for _, y := range judged.Years {
		if o.Everything || slices.ContainsFunc(ho.Sites, func(s verify.Site) bool { return s.Object == y.Object }) {
			ho.Years = append(ho.Years, y)
		}
	}
	if ho.Seal, err = a.Cache.Seal(); err != nil {
		ho.Seal = nil // then the copies' own seals tell
		ho.Seal, _ = store.ReadSeal(ctx, from[0].Root)
	}
	if ho.Seal != nil && ho.Seal.Len() > 0 {
		ho.SealLine = ho.Seal.Printed().String()
	}
	var sources []restore.Source
	for _, h := range from {
		sources = append(sources, restore.Source{Name: h.Name, Root: h.Root})
	}
	return handover.Run(ctx, sources, ho)
}

// place refuses a folder in the working folder: the next round would take the bag
// for new photos.
func (o HandOverOptions) place(folder string) error {
	if folder != "" && within.Folder(o.Into, folder) {
		return fmt.Errorf("%s lies in your folder, where the bag would be kept as new photos, so it %w; choose a folder outside", o.Into, handover.ErrInto)
	}
	return nil
}

// sites are those that the options name, each once, in the order of their names.
func (o HandOverOptions) sites(ctx context.Context, from []*reach.Copy) ([]verify.Site, error) {
	var all []verify.Site
	for _, name := range o.Sites {
		s, err := site(ctx, from, name)
		if err != nil {
			return nil, err
		}
		all = append(all, s)
	}
	if o.Pasture != "" {
		for _, h := range from {
			there, err := history.Sites(ctx, h.Root)
			if err != nil {
				return nil, fmt.Errorf("%s: %w", h.Name, err)
			}
			for _, s := range there {
				if strings.EqualFold(s.Pasture, o.Pasture) {
					all = append(all, s)
				}
			}
		}
		if len(all) == 0 {
			return nil, fmt.Errorf("no site on the copies has the pasture %q, so it %w; to see the pastures: linecamp tally", o.Pasture, ErrHandOver)
		}
	}
	slices.SortFunc(all, func(a, b verify.Site) int { return strings.Compare(a.Object, b.Object) })
	return slices.CompactFunc(all, func(a, b verify.Site) bool { return a.Object == b.Object }), nil
}

// JudgeBag holds any bag, ours or not, against RFC 8493.
func JudgeBag(ctx context.Context, folder string, p Progress) (bag.Report, error) {
	return bag.Judge(ctx, folder, func(done, total int64) { p.Tell(folder, done, total) })
}
