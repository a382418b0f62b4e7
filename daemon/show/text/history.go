package text

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"linecamp/daemon/show/screen"
	"linecamp/manifest/words"
	"linecamp/verify"
)

// Print writes the history for a person.
func history(w io.Writer, h verify.History) {
	fmt.Fprintf(w, "%s  (%s)\n", verify.Site{Site: shown(h.Site), Pasture: shown(h.Pasture)}.Label(), h.ID)
	if h.Folder != "" {
		fmt.Fprintf(w, "folder %s\n", shown(h.Folder))
	}
	for _, f := range h.Formers {
		fmt.Fprintf(w, "the same stake under an earlier name: %s\n", screen.LineOf(w).Run("history", f))
	}
	fmt.Fprintf(w, "\n%s:\n", words.Count(len(h.Visits), "visit"))
	for _, v := range h.Visits {
		var parts []string
		if n := len(v.Photos); n > 0 {
			views := map[string]int{}
			for _, p := range v.Photos {
				views[p.View]++
			}
			parts = append(parts, words.Count(n, "photo")+viewsText(views))
		}
		if n := len(v.Notes); n > 0 {
			parts = append(parts, words.Count(n, "note"))
		}
		fmt.Fprintf(w, "  %-11s %s\n", v.Date, strings.Join(parts, ", "))
	}
	fmt.Fprintf(w, "\n%s:\n", words.Count(len(h.Versions), "version"))
	for _, v := range h.Versions {
		l := fmt.Sprintf("  v%-3d %s  %s, %s", v.Version, v.Created.Local().Format("2006-01-02 15:04"), words.Count(v.Files, "file"), words.Size(v.Bytes))
		if v.Object != "" {
			l += "  in " + v.Object
		}
		if v.Message != "" {
			l += "  " + shown(v.Message)
		}
		fmt.Fprintln(w, l)
	}
	if len(h.Missing) > 0 {
		fmt.Fprintf(w, "\nThe seal names %s that this copy lacks: v%d to v%d. Another copy may have them.\n",
			words.Count(len(h.Missing), "version"), h.Missing[0], h.Missing[len(h.Missing)-1])
	}
	if len(h.Unread) > 0 {
		fmt.Fprintf(w, "\nThe records of %s cannot be read on this copy. To see why: %s\n", words.Count(len(h.Unread), "version"), screen.LineOf(w).Run("verify"))
	}
}

func viewsText(views map[string]int) string {
	var names []string
	for v := range views {
		if v != "" {
			names = append(names, viewName(v))
		}
	}
	slices.Sort(names)
	if len(names) == 0 {
		return ""
	}
	return " (" + strings.Join(names, ", ") + ")"
}
