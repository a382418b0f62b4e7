package tally

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"

	"linecamp/manifest"
	"linecamp/manifest/facts"
)

// text makes a name fit for a report: bytes that are no text become U+FFFD.
func text(s string) string { return strings.ToValidUTF8(s, "\uFFFD") }

// line makes a name fit for one line of a terminal.
func line(s string) string { return manifest.Printable(s) }

// longest lists in Print; --json has everything.
const (
	mostSites = 40
	mostPaths = 8
)

// Print writes the tally of an archive for a person: one line for each site, then
// only what is not as it should be. It stays under a screen when all is well.
func (r *Result) Print(w io.Writer, archive string) error {
	b := &strings.Builder{}
	fmt.Fprintf(b, "%s: %s, %s in %s\n", line(archive), count(r.Files, "file"), size(r.Bytes), line(r.Folder))
	if r.Files == 0 && len(r.Waiting) == 0 {
		fmt.Fprintln(b, "Nothing is in the working folder yet.")
	}
	r.printSites(b)
	r.printTopics(b)
	printUndated(b, r.Undated())
	for i, d := range r.Doubles() {
		if i == 0 {
			fmt.Fprintln(b)
		} else if i == mostPaths {
			fmt.Fprintln(b, "And more such doubles (--json lists all).")
			break
		}
		fmt.Fprintf(b, "%s.\n", d.Text())
	}
	if n := r.Unfiled.Len(); n > 0 {
		fmt.Fprintf(b, "\n%s with no site of %s own (kept all the same):\n", count(n, "file"), map[bool]string{true: "its", false: "their"}[n == 1])
		for _, t := range tops(r.Unfiled) {
			fmt.Fprintf(b, "  %s\n", t)
		}
	}
	printWaits(b, "Not recorded yet", reportWaits(r.Waiting))
	printWaits(b, "Passed over", reportWaits(r.Passed))
	_, err := io.WriteString(w, b.String())
	return err
}

func (r *Result) printSites(b *strings.Builder) {
	wide := 4
	for _, s := range r.Sites {
		wide = max(wide, min(len([]rune(s.name())), 40))
	}
	if len(r.Sites) > 0 {
		fmt.Fprintln(b)
	}
	for i, s := range r.Sites {
		if i == mostSites {
			fmt.Fprintf(b, "  … and %s\n", count(len(r.Sites)-i, "more site"))
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
		fmt.Fprintf(b, "  %-*s  %9s  %s, %s, %s%s\n", wide, s.name(), years,
			count(len(s.Visits), "visit"), count(photos, "photo"), count(notes, "note"), viewList(views))
	}
}

// printTopics says in how many visits the text notes tell of what; nothing where
// no text note was understood.
func (r *Result) printTopics(b *strings.Builder) {
	n := map[string]int{}
	visits := 0
	for _, s := range r.Sites {
		for _, v := range s.Visits {
			topics := v.topics().Names()
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
	fmt.Fprintf(b, "\nText notes of %s tell of: %s.\n", count(visits, "visit"), strings.Join(parts, ", "))
}

// Question asks of which day the photos are, in a few words.
func (u Undated) Question() string {
	q := count(u.Photos, "photo") + " in " + line(logical(u.Folder))
	days := u.Days
	switch {
	case len(days) > 1:
		q += ": which day? " + strings.Join(days[:len(days)-1], ", ") + " or " + days[len(days)-1]
	case len(u.Years) == 1:
		q += fmt.Sprintf(": which day, of %d?", u.Years[0])
	default:
		q += ": which day?"
	}
	return q
}

func printUndated(b *strings.Builder, all []Undated) {
	if len(all) == 0 {
		return
	}
	fmt.Fprintf(b, "\nPhotos whose day nothing tells for sure (kept all the same):\n")
	for i, u := range all {
		if i == mostPaths {
			fmt.Fprintf(b, "  … and in %s\n", count(len(all)-i, "more folder"))
			break
		}
		fmt.Fprintf(b, "  %s\n", u.Question())
	}
	fmt.Fprintf(b, "  %s\n", Todo(all))
}

// Todo is what a person does about them.
func Todo(all []Undated) string {
	todo := "Begin the folder's name with year, month and day, as in 2019-06-07"
	if slices.ContainsFunc(all, func(u Undated) bool { return len(u.Days) > 1 }) {
		todo += "; or where all dates are written in one order, say so in the settings, as in dates = \"month first\""
	}
	return todo + "."
}

func (s *Site) name() string {
	n := s.Site
	if s.Pasture != "" {
		n = s.Pasture + " / " + n
	}
	return line(n)
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
		names[i] = fmt.Sprintf("%s %d", line(v), views[v])
	}
	if len(names) > 5 {
		names = append(names[:5], "…")
	}
	return "; " + strings.Join(names, ", ")
}

// tops sums files up by their top folder.
func tops(files Files) []string {
	n := map[string]int{}
	var order []string
	for f := range files.All() {
		top, _, below := strings.Cut(logical(f.Path), "/")
		if below {
			top += "/"
		} else if files.Len() > mostPaths {
			top = "in the working folder itself"
		}
		if n[top] == 0 {
			order = append(order, top)
		}
		n[top]++
	}
	var out []string
	for i, t := range order {
		if i == mostPaths {
			return append(out, fmt.Sprintf("… and in %s", count(len(order)-i, "more folder")))
		}
		if n[t] == 1 && !strings.HasSuffix(t, "/") {
			out = append(out, line(t))
		} else {
			out = append(out, fmt.Sprintf("%s  %s", line(t), count(n[t], "file")))
		}
	}
	return out
}

func printWaits(b *strings.Builder, head string, list []ReportWait) {
	if len(list) == 0 {
		return
	}
	fmt.Fprintf(b, "\n%s:\n", head)
	for i, w := range list {
		if i == mostPaths {
			fmt.Fprintf(b, "  … and %d more\n", len(list)-i)
			return
		}
		fmt.Fprintf(b, "  %s: %s\n", line(w.Path), w.Reason)
	}
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// size puts bytes into words, in powers of a thousand as drives are sold.
func size(n int64) string {
	units := []string{"bytes", "kB", "MB", "GB", "TB", "PB"}
	if n < 1000 {
		return count(int(n), "byte")
	}
	x, u := float64(n), 0
	for x >= 999.5 && u < len(units)-1 {
		x /= 1000
		u++
	}
	if x < 9.95 {
		return fmt.Sprintf("%.1f %s", x, units[u])
	}
	return fmt.Sprintf("%.0f %s", x, units[u])
}
