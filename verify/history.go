package verify

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/tally"
	"linecamp/manifest/words"
)

// History is a site's visits and versions. Visits are those of its full
// history: what was deleted since is there.
type History struct {
	Archive  string              `json:"archive"`
	Site     string              `json:"site"`
	ID       string              `json:"id"`
	Pasture  string              `json:"pasture"`
	Folder   string              `json:"folder"`
	Versions []HistoryVersion    `json:"versions"`
	Visits   []tally.ReportVisit `json:"visits"`
	Other    []tally.ReportFile  `json:"other"` // files that are neither a visit's photos nor its notes
	// Formers are the objects that were joined to this one: the same stake under
	// an earlier name.
	Formers []string `json:"formers,omitempty"`
	// Missing are versions that the seal names and this copy lacks.
	Missing []int `json:"missing_versions,omitempty"`
	// Unread are versions whose record this copy cannot read: their bytes and
	// visits are not known here.
	Unread []int `json:"unread_records,omitempty"`
}

// HistoryVersion is one version; files and bytes are people's.
type HistoryVersion struct {
	Version int       `json:"version"`
	Created time.Time `json:"created"`
	Message string    `json:"message"`
	Files   int       `json:"files"`
	Bytes   int64     `json:"bytes"`
}

// HistoryOf reads a site's history from one copy.
func HistoryOf(ctx context.Context, r store.Root, s Site) (History, error) {
	inv, err := store.Head(ctx, r, s.Object)
	if err != nil {
		return History{}, err
	}
	h := History{Site: s.Name(), ID: inv.ID, Pasture: s.Pasture, Folder: s.Folder, Versions: []HistoryVersion{}}
	if h.Archive, _, err = manifest.ParseObjectID(inv.ID); err != nil {
		return History{}, err
	}
	rs := &Records{Inventory: inv, Roots: []store.Root{r}}
	for n, v := range inv.Versions {
		hv := HistoryVersion{Version: n + 1, Created: v.Created, Message: v.Message}
		for p := range v.State {
			if !manifest.Reserved(p) {
				hv.Files++
			}
		}
		rec, err := rs.Of(ctx, n+1)
		if ctx.Err() != nil {
			return History{}, ctx.Err()
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
	if err := h.addVisits(ctx, rs); err != nil {
		return History{}, err
	}
	if rec, _ := rs.Newest(ctx); rec != nil {
		h.Formers = formers(s.Object, rec.Decisions)
	}
	seal, err := store.ReadSeal(ctx, r)
	if err == nil {
		for n := inv.Head() + 1; n <= seal.Heads()[inv.ID]; n++ {
			h.Missing = append(h.Missing, n)
		}
	} else if ctx.Err() != nil {
		return History{}, ctx.Err()
	}
	return h, nil
}

// addVisits sorts the full history into visits.
func (h *History) addVisits(ctx context.Context, rs *Records) error {
	visits := map[string]*tally.ReportVisit{}
	for logical, held := range rs.Inventory.FullHistory() {
		e, rec, err := rs.Entry(ctx, held)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil {
			e, rec = &manifest.Entry{Visit: DateIn(logical)}, &manifest.Record{Base: h.Folder}
		}
		f := tally.ReportFile{Path: workingName(rec, logical), View: e.View, Bytes: e.Bytes}
		year, dated := yearOf(e.Visit)
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

// Wants reports whether this copy lacks versions or cannot read a record.
func (h History) Wants() bool { return len(h.Missing)+len(h.Unread) > 0 }

// Print writes the history for a person.
func (h History) Print(w io.Writer) {
	fmt.Fprintf(w, "%s  (%s)\n", Site{Site: Shown(h.Site), Pasture: Shown(h.Pasture)}.Label(), h.ID)
	if h.Folder != "" {
		fmt.Fprintf(w, "folder %s\n", Shown(h.Folder))
	}
	for _, f := range h.Formers {
		fmt.Fprintf(w, "the same stake under an earlier name: %s\n", words.Of(w).Run("history", f))
	}
	fmt.Fprintf(w, "\n%s:\n", Count(int64(len(h.Visits)), "visit"))
	for _, v := range h.Visits {
		var parts []string
		if n := len(v.Photos); n > 0 {
			views := map[string]int{}
			for _, p := range v.Photos {
				views[p.View]++
			}
			parts = append(parts, Count(int64(n), "photo")+viewsText(views))
		}
		if n := len(v.Notes); n > 0 {
			parts = append(parts, Count(int64(n), "note"))
		}
		fmt.Fprintf(w, "  %-11s %s\n", v.Date, strings.Join(parts, ", "))
	}
	fmt.Fprintf(w, "\n%s:\n", Count(int64(len(h.Versions)), "version"))
	for _, v := range h.Versions {
		l := fmt.Sprintf("  v%-3d %s  %s, %s", v.Version, v.Created.Local().Format("2006-01-02 15:04"), Count(int64(v.Files), "file"), Size(v.Bytes))
		if v.Message != "" {
			l += "  " + Shown(v.Message)
		}
		fmt.Fprintln(w, l)
	}
	if len(h.Missing) > 0 {
		fmt.Fprintf(w, "\nThe seal names %s that this copy lacks: v%d to v%d. Another copy may have them.\n",
			Count(int64(len(h.Missing)), "version"), h.Missing[0], h.Missing[len(h.Missing)-1])
	}
	if len(h.Unread) > 0 {
		fmt.Fprintf(w, "\nThe records of %s cannot be read on this copy. To see why: %s\n", Count(int64(len(h.Unread)), "version"), words.Of(w).Run("verify"))
	}
}

func viewsText(views map[string]int) string {
	var names []string
	for v := range views {
		if v != "" {
			names = append(names, v)
		}
	}
	slices.Sort(names)
	if len(names) == 0 {
		return ""
	}
	return " (" + strings.Join(shownAll(names), ", ") + ")"
}
