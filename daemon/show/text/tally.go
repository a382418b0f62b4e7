package text

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"

	"linecamp/daemon"
	"linecamp/manifest/facts"
	"linecamp/manifest/names"
	"linecamp/manifest/tally"
	"linecamp/manifest/words"
)

// longest lists in Print; --json has everything.
const (
	mostSites   = 40
	mostTallied = 8
)

// Print writes the tally of an archive for a person: one line for each site, then
// only what is not as it should be. It stays under a screen when all is well.
func tallied(b io.Writer, r daemon.TallyReport) {
	fmt.Fprintf(b, "%s: %s, %s in %s\n", shown(r.Archive), words.Count(r.Files, "file"), words.Size(r.Bytes), shown(r.Folder))
	if r.Files == 0 && len(r.Waiting) == 0 {
		fmt.Fprintln(b, "Nothing is in your folder yet.")
	}
	tallySites(b, &r.Result)
	tallyTopics(b, &r.Result)
	tallyUndated(b, r.Undated())
	for i, d := range r.Doubles() {
		if i == 0 {
			fmt.Fprintln(b)
		} else if i == mostTallied {
			fmt.Fprintln(b, "And more such doubles (--json lists all).")
			break
		}
		fmt.Fprintf(b, "%s.\n", d.Text())
	}
	if n := r.Unfiled.Len(); n > 0 {
		fmt.Fprintf(b, "\n%s with no site of %s own (kept all the same):\n", words.Count(n, "file"), map[bool]string{true: "its", false: "their"}[n == 1])
		for _, t := range tops(r.Unfiled) {
			fmt.Fprintf(b, "  %s\n", t)
		}
	}
	tallyWaits(b, "Not recorded yet", tally.ReportWaits(r.Waiting))
	tallyWaits(b, "Passed over", tally.ReportWaits(r.Passed))
	tallyLeftOut(b, r)
	sitesWritten(b, r)
}

func tallySites(b io.Writer, r *tally.Result) {
	wide := 4
	for _, s := range r.Sites {
		wide = max(wide, min(len([]rune(siteName(&s))), 40))
	}
	if len(r.Sites) > 0 {
		fmt.Fprintln(b)
	}
	for i, s := range r.Sites {
		if i == mostSites {
			fmt.Fprintf(b, "  … and %s\n", words.Count(len(r.Sites)-i, "more site"))
			break
		}
		photos, notes := 0, 0
		views := map[string]int{}
		first, last := 0, 0
		for _, v := range s.Visits {
			photos += v.Photos.Len()
			notes += v.Notes.Len() + v.Shared.Len()
			for p := range v.Photos.All() {
				views[p.View]++
			}
			if first == 0 || v.Year < first {
				first = v.Year
			}
			last = max(last, v.Year)
		}
		years := ""
		switch {
		case first != last:
			years = fmt.Sprintf("%d–%d", first, last)
		case first != 0:
			years = fmt.Sprint(first)
		}
		fmt.Fprintf(b, "  %-*s  %9s  %s, %s, %s%s\n", wide, siteName(&s), years,
			words.Count(len(s.Visits), "visit"), words.Count(photos, "photo"), words.Count(notes, "note"), viewList(views))
	}
}

// printTopics says in how many visits the text notes tell of what; nothing where
// no text note was understood.
func tallyTopics(b io.Writer, r *tally.Result) {
	n := map[string]int{}
	visits := 0
	for _, s := range r.Sites {
		for _, v := range s.Visits {
			topics := v.Topics().Names()
			if len(topics) > 0 {
				visits++
			}
			for _, t := range topics {
				n[t]++
			}
		}
	}
	if visits == 0 {
		return
	}
	var parts []string
	for _, t := range facts.TopicNames {
		if n[t] > 0 {
			parts = append(parts, fmt.Sprintf("%s %d", t, n[t]))
		}
	}
	fmt.Fprintf(b, "\nText notes of %s tell of: %s.\n", words.Count(visits, "visit"), strings.Join(parts, ", "))
}

func tallyUndated(b io.Writer, all []tally.Undated) {
	if len(all) == 0 {
		return
	}
	fmt.Fprintf(b, "\nPhotos whose day nothing tells for sure (kept all the same):\n")
	for i, u := range all {
		if i == mostTallied {
			fmt.Fprintf(b, "  … and in %s\n", words.Count(len(all)-i, "more folder"))
			break
		}
		fmt.Fprintf(b, "  %s\n", u.Question())
	}
	fmt.Fprintf(b, "  %s\n", tally.Todo(all))
}

func siteName(s *tally.Site) string {
	n := s.Site
	if s.Pasture != "" {
		n = s.Pasture + " / " + n
	}
	return shown(n)
}

func viewList(views map[string]int) string {
	if len(views) == 0 {
		return ""
	}
	names := make([]string, 0, len(views))
	for v := range views {
		names = append(names, v)
	}
	slices.SortFunc(names, func(a, b string) int {
		return cmp.Or(cmp.Compare(views[b], views[a]), cmp.Compare(a, b))
	})
	for i, v := range names {
		if v == tally.Untold {
			names[i] = fmt.Sprintf("%d with view not known", views[v])
		} else {
			names[i] = fmt.Sprintf("%s %d", shown(v), views[v])
		}
	}
	if len(names) > 5 {
		names = append(names[:5], "…")
	}
	return "; " + strings.Join(names, ", ")
}

// tops sums files up by their top folder.
func tops(files tally.Files) []string {
	n := map[string]int{}
	var order []string
	for f := range files.All() {
		top, _, below := strings.Cut(tally.Logical(f.Path), "/")
		if below {
			top += "/"
		} else if files.Len() > mostTallied {
			top = "in your folder itself"
		}
		if n[top] == 0 {
			order = append(order, top)
		}
		n[top]++
	}
	var out []string
	for i, t := range order {
		if i == mostTallied {
			return append(out, fmt.Sprintf("… and in %s", words.Count(len(order)-i, "more folder")))
		}
		if n[t] == 1 && !strings.HasSuffix(t, "/") {
			out = append(out, shown(t))
		} else {
			out = append(out, fmt.Sprintf("%s  %s", shown(t), words.Count(n[t], "file")))
		}
	}
	return out
}

func tallyWaits(b io.Writer, head string, list []tally.ReportWait) {
	if len(list) == 0 {
		return
	}
	fmt.Fprintf(b, "\n%s:\n", head)
	for i, w := range list {
		if i == mostTallied {
			fmt.Fprintf(b, "  … and %d more\n", len(list)-i)
			return
		}
		fmt.Fprintf(b, "  %s: %s\n", shown(w.Path), w.Reason)
	}
}

// tallyLeftOut says what is kept nowhere, because systems and cameras make it by
// themselves.
func tallyLeftOut(b io.Writer, r daemon.TallyReport) {
	if r.Litter == 0 {
		return
	}
	fmt.Fprintf(b, "\nLeft out, and kept nowhere, since systems and cameras make this by themselves (%d):\n", r.Litter)
	for i, path := range r.LeftOut {
		if i == mostTallied {
			fmt.Fprintf(b, "  … and %d more\n", r.Litter-i)
			return
		}
		fmt.Fprintf(b, "  %s", shown(tally.Logical(path)))
		if names.Base(path) == "lost+found" {
			fmt.Fprint(b, ": a check of the disk puts there what it saves. If it holds photos of yours, move them to their sites")
		}
		fmt.Fprintln(b)
	}
}

// printWritten says which cards were drafted, and which not.
func sitesWritten(w io.Writer, r daemon.TallyReport) {
	if r.Written == nil {
		return
	}
	fmt.Fprintln(w)
	if len(r.Written) == 0 {
		fmt.Fprintln(w, "No site.toml was drafted.")
	} else {
		fmt.Fprintln(w, "Drafted, to be looked at and corrected:")
	}
	for _, s := range r.Written {
		fmt.Fprintf(w, "  %s\n", shown(s.Path))
	}
	kept := map[string]int{}
	for _, s := range r.Kept {
		if s.Failed {
			fmt.Fprintf(w, "Not drafted: %s  %s: %s\n", shown(s.Site), shown(s.Path), s.Reason)
		} else {
			kept[s.Reason]++
		}
	}
	for _, s := range r.Kept {
		if n := kept[s.Reason]; !s.Failed && n > 0 {
			fmt.Fprintf(w, "Left out %s, each because %s.\n", words.Count(n, "site"), s.Reason)
			delete(kept, s.Reason)
		}
	}
	caution(w)
}
