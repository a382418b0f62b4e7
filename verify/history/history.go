// Package history reads what a copy holds of each site. Call [Sites] for the sites of a
// copy, [Find] for the one that a person means, and [Of] for its visits and versions.
// [Records] reads the records of one site as they are asked for.
package history

import (
	"context"
	"slices"
	"strings"

	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/manifest/tally"
	"linecamp/verify"
)

// Of reads a site's history from one copy.
func Of(ctx context.Context, r store.Root, s verify.Site) (verify.History, error) {
	inv, err := store.Head(ctx, r, s.Object)
	if err != nil {
		return verify.History{}, err
	}
	h := verify.History{Site: s.Name(), ID: inv.ID, Pasture: s.Pasture, Folder: s.Folder, Versions: []verify.HistoryVersion{}}
	if h.Archive, _, err = manifest.ParseObjectID(inv.ID); err != nil {
		return verify.History{}, err
	}
	rs := &Records{Inventory: inv, Roots: []store.Root{r}}
	rec, _ := rs.Newest(ctx)
	h.Formers = verify.JoinedIn(rec)
	seal, err := store.ReadSeal(ctx, r)
	if ctx.Err() != nil {
		return verify.History{}, ctx.Err()
	}
	visits := newVisits()
	if err := visits.add(ctx, &h, rs); err != nil {
		return verify.History{}, err
	}
	if err := addVersions(ctx, &h, rs, ""); err != nil {
		return verify.History{}, err
	}
	if err == nil {
		for n := inv.Head() + 1; n <= seal.Heads()[inv.ID]; n++ {
			h.Missing = append(h.Missing, n)
		}
		if err := addClosed(ctx, r, &h, visits, seal); err != nil {
			return verify.History{}, err
		}
	}
	visits.sorted(&h)
	return h, nil
}

// addClosed makes the closed objects that the site goes on from a part of it: what the later
// ones lack of their files, and their versions. One that this copy cannot read stays among
// the formers.
func addClosed(ctx context.Context, r store.Root, h *verify.History, v *visits, s *seal.Seal) error {
	closed := verify.ClosedBy(s)
	for i := 0; i < len(h.Formers); {
		f := h.Formers[i]
		inv, err := store.Head(ctx, r, f)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if !closed[f] || err != nil {
			i++
			continue
		}
		h.Formers = slices.Delete(h.Formers, i, i+1)
		closed[f] = false // once
		counts := min(inv.Head(), s.Heads()[inv.ID])
		if counts == 0 {
			continue
		}
		rs := &Records{Inventory: inv.Until(counts), Roots: []store.Root{r}}
		if err := v.add(ctx, h, rs); err != nil {
			return err
		}
		if err := addVersions(ctx, h, rs, f); err != nil {
			return err
		}
		rec, _ := rs.Newest(ctx)
		for _, more := range verify.JoinedIn(rec) {
			if !slices.Contains(h.Formers, more) {
				h.Formers = append(h.Formers, more)
			}
		}
	}
	return nil
}

// addVersions puts an object's versions before those that are there, under its name
// where it is not the site's own.
func addVersions(ctx context.Context, h *verify.History, rs *Records, object string) error {
	all := []verify.HistoryVersion{}
	for n, v := range rs.Inventory.Versions {
		hv := verify.HistoryVersion{Version: n + 1, Object: object, Created: v.Created, Message: v.Message}
		for p := range v.State {
			if !manifest.Reserved(p) {
				hv.Files++
			}
		}
		rec, err := rs.Of(ctx, n+1)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil && object == "" {
			h.Unread = append(h.Unread, n+1)
		}
		if err == nil {
			for _, e := range rec.Paths {
				hv.Bytes += e.Bytes
			}
		}
		all = append(all, hv)
	}
	h.Versions = append(all, h.Versions...)
	return nil
}

// visits sorts the full history into visits.
type visits struct {
	of   map[string]*tally.ReportVisit
	seen map[string]bool // logical paths
}

func newVisits() *visits {
	return &visits{map[string]*tally.ReportVisit{}, map[string]bool{}}
}

// add takes in the paths of an object that none before it had.
func (vs *visits) add(ctx context.Context, h *verify.History, rs *Records) error {
	for logical, held := range rs.Inventory.FullHistory() {
		if vs.seen[logical] {
			continue
		}
		vs.seen[logical] = true
		e, rec, err := rs.Entry(ctx, held)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil {
			e, rec = &manifest.Entry{Visit: verify.DateIn(logical)}, &manifest.Record{Base: h.Folder}
		}
		f := tally.ReportFile{Path: workingName(rec, logical), View: e.View, Bytes: e.Bytes}
		year, dated := verify.YearOf(e.Visit)
		if !dated || (e.Kind != manifest.KindPhoto && e.Kind != manifest.KindNote) {
			h.Other = append(h.Other, f)
			continue
		}
		v := vs.of[e.Visit]
		if v == nil {
			v = &tally.ReportVisit{Date: e.Visit, Year: year, Photos: []tally.ReportFile{}, Notes: []tally.ReportFile{}}
			vs.of[e.Visit] = v
		}
		if e.Kind == manifest.KindPhoto {
			v.Photos = append(v.Photos, f)
		} else {
			v.Notes = append(v.Notes, f)
		}
	}
	return nil
}

// sorted puts the visits into the history, in order.
func (vs *visits) sorted(h *verify.History) {
	byPath := func(a, b tally.ReportFile) int { return strings.Compare(a.Path, b.Path) }
	h.Visits = []tally.ReportVisit{}
	for _, v := range vs.of {
		slices.SortFunc(v.Photos, byPath)
		slices.SortFunc(v.Notes, byPath)
		h.Visits = append(h.Visits, *v)
	}
	slices.SortFunc(h.Visits, func(a, b tally.ReportVisit) int { return strings.Compare(a.Date, b.Date) })
	slices.SortFunc(h.Other, byPath)
	if h.Other == nil {
		h.Other = []tally.ReportFile{}
	}
}

// workingName is a path for people: below the base the record gives, with the
// name that is valid UTF-8.
func workingName(rec *manifest.Record, logical string) string {
	if rec == nil || rec.Base == "" {
		return logical
	}
	return rec.Base + "/" + logical
}
