package verify

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

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
