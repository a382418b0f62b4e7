// Package history reads what a copy holds of each site. Call [Sites] for the sites of a
// copy, [Find] for the one that a person means, and [Of] for its visits and versions.
// [Records] reads the records of one site as they are asked for.
package history

import (
	"context"
	"slices"
	"strings"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/tally"
	"linecamp/verify"
	"linecamp/verify/gather"
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
	for n, v := range inv.Versions {
		hv := verify.HistoryVersion{Version: n + 1, Created: v.Created, Message: v.Message}
		for p := range v.State {
			if !manifest.Reserved(p) {
				hv.Files++
			}
		}
		rec, err := rs.Of(ctx, n+1)
		if ctx.Err() != nil {
			return verify.History{}, ctx.Err()
		}
		if err != nil {
			h.Unread = append(h.Unread, n+1)
		} else {
			for _, e := range rec.Paths {
				hv.Bytes += e.Bytes
			}
		}
		h.Versions = append(h.Versions, hv)
	}
	if err := addVisits(ctx, &h, rs); err != nil {
		return verify.History{}, err
	}
	if rec, _ := rs.Newest(ctx); rec != nil {
		h.Formers = gather.Formers(s.Object, rec.Decisions)
	}
	seal, err := store.ReadSeal(ctx, r)
	if err == nil {
		for n := inv.Head() + 1; n <= seal.Heads()[inv.ID]; n++ {
			h.Missing = append(h.Missing, n)
		}
	} else if ctx.Err() != nil {
		return verify.History{}, ctx.Err()
	}
	return h, nil
}

// addVisits sorts the full history into visits.
func addVisits(ctx context.Context, h *verify.History, rs *Records) error {
	visits := map[string]*tally.ReportVisit{}
	for logical, held := range rs.Inventory.FullHistory() {
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
		v := visits[e.Visit]
		if v == nil {
			v = &tally.ReportVisit{Date: e.Visit, Year: year, Photos: []tally.ReportFile{}, Notes: []tally.ReportFile{}}
			visits[e.Visit] = v
		}
		if e.Kind == manifest.KindPhoto {
			v.Photos = append(v.Photos, f)
		} else {
			v.Notes = append(v.Notes, f)
		}
	}
	byPath := func(a, b tally.ReportFile) int { return strings.Compare(a.Path, b.Path) }
	h.Visits = []tally.ReportVisit{}
	for _, v := range visits {
		slices.SortFunc(v.Photos, byPath)
		slices.SortFunc(v.Notes, byPath)
		h.Visits = append(h.Visits, *v)
	}
	slices.SortFunc(h.Visits, func(a, b tally.ReportVisit) int { return strings.Compare(a.Date, b.Date) })
	slices.SortFunc(h.Other, byPath)
	if h.Other == nil {
		h.Other = []tally.ReportFile{}
	}
	return nil
}

// workingName is a path for people: below the base the record gives, with the
// name that is valid UTF-8.
func workingName(rec *manifest.Record, logical string) string {
	if rec == nil || rec.Base == "" {
		return logical
	}
	return rec.Base + "/" + logical
}
