package text

import (
	"fmt"
	"io"
	"path"
	"slices"
	"strconv"
	"strings"

	"linecamp/daemon/show/screen"
	"linecamp/manifest"
	"linecamp/manifest/geo"
	"linecamp/manifest/layout"
	"linecamp/manifest/words"
	"linecamp/verify"
)

// Most lines of one kind of finding that are printed; the rest is counted, and
// all of it is in the JSON.
const mostLines = 12

// Print writes the report for a person: a line for each copy and one for the
// years, then the findings, most urgent first, each with what to do.
func verified(w io.Writer, r verify.Report) {
	for _, c := range r.Copies {
		if r.Nothing && c.Error == "" && len(c.Damage) == 0 {
			continue // "no damage" would say more than is known
		}
		fmt.Fprintf(w, "%-14s %s\n", copyName(c.Copy), copyLine(c))
	}
	if r.Nothing {
		fmt.Fprintf(w, "Nothing is recorded yet, so there was nothing to compare. To begin: %s\n", screen.LineOf(w).Run("mirror"))
	}
	if r.Judged && !r.Nothing {
		fmt.Fprintf(w, "%-14s %s\n", "years", yearsLine(r.Years))
	}
	if r.YearsError != "" {
		fmt.Fprintf(w, "%-14s %s\n", "years", r.YearsError)
	}
	if r.Deep != nil {
		fmt.Fprintf(w, "%-14s %s\n", "decoded", deepLine(r.Deep))
	}
	if len(r.Copies) == 0 && !r.Nothing {
		grid(w, r.Years)
		for _, j := range r.Joined {
			var from []string
			for _, f := range j.From {
				from = append(from, shown(f.Label()))
			}
			fmt.Fprintf(w, "%s goes on from %s.\n", verify.Site{Object: j.Object, Site: shown(j.Site), Pasture: shown(j.Pasture)}.Label(), strings.Join(from, " and "))
		}
	}
	p := printer{w: w, line: screen.LineOf(w), units: r.Units}
	if r.Nothing {
		for _, c := range r.Copies {
			p.damage(c)
		}
		return
	}
	p.years(r.Years, verify.Due, "Can still be put right", "")
	p.years(r.Years, verify.Lost, "Lost: recorded once, and no good copy is left anywhere in reach",
		"If an old card, drive or mailbox may still have them, put them back in place. Then: "+p.line.Run("mirror"))
	for _, c := range r.Copies {
		if c.SealFault != "" {
			p.list("The seal on paper does not fit "+placeOf(c), []string{c.SealFault},
				"Compare the other copies, and keep this one as it is until it is clear which is true.")
		}
	}
	for _, c := range r.Copies {
		p.damage(c)
	}
	for _, c := range r.Copies {
		p.list("Against the layout's standard, OCFL, on "+placeOf(c), c.Standard,
			"Something else wrote there. If you are in doubt, restore from another copy. To put a new copy in the place of this one: "+
				p.line.Run("setup", "--replace-copy", c.Copy, "--drive", "NAME=FOLDER"))
	}
	p.years(r.Years, verify.Recoverable, "Not in your folder, and good on a copy", p.restoring(r))
	p.years(r.Years, verify.Short, "Lacking something the site usually has",
		"Look for it on the card or in the binder; once it is in the visit's folder, it counts."+p.explaining(r.Years, verify.Short))
	p.years(r.Years, verify.Skipped, "Skipped: a visit was due and nothing was recorded",
		"If there was a visit, its files may still be on a card or another computer."+p.explaining(r.Years, verify.Skipped))
	p.findings(r.Findings)
	p.alike(r.Alike)
	if r.Deep != nil {
		p.list("Photos that were not decoded", notDecoded(r.Deep), "Nothing is known against them; look at them yourself.")
	}
	for _, c := range r.Copies {
		p.notes(c)
	}
}

// cautioned gives the field cautions, where the report may send somebody out to a stake.
func cautioned(w io.Writer, r verify.Report) {
	if slices.ContainsFunc(r.Years, func(y verify.Year) bool { return y.State == verify.Due || y.State == verify.Skipped }) ||
		slices.ContainsFunc(r.Findings, func(f verify.Finding) bool { return f.Kind == verify.FoundDeclared && f.Wants() }) {
		caution(w)
	}
}

// findings prints what was found about the files that are there, what asks for
// something first.
func (p printer) findings(all []verify.Finding) {
	var notes []verify.Finding
	for i := 0; i < len(all); {
		end := i
		var lines []string
		todo := all[i].Todo
		for ; end < len(all) && all[end].Kind == all[i].Kind; end++ {
			f := all[end]
			l := findingLine(f, p.units)
			switch {
			case !f.Wants() && f.Why != "":
			case f.Note:
				notes = append(notes, f)
			default:
				if lines = append(lines, l); len(lines) == 1 {
					todo = f.Todo + p.intended(f)
				}
			}
		}
		p.list(headings[all[i].Kind], lines, todo)
		i = end
	}
	p.list("Worth knowing, and no fault", p.folded(notes), "")
}

// folded are findings in one line for each site and each thing said of it, with
// the years it is said of run together.
func (p printer) folded(all []verify.Finding) (lines []string) {
	type key struct{ object, site, pasture, kind, text string }
	at := map[key]int{}
	years := map[int][]int{}
	for _, f := range all {
		year, err := strconv.Atoi(f.Visit[:min(4, len(f.Visit))])
		if err != nil || f.Kind == verify.FoundDouble {
			lines = append(lines, findingLine(f, p.units))
			continue
		}
		k := key{f.Object, f.Site, f.Pasture, f.Kind, f.Text}
		i, ok := at[k]
		if !ok {
			i = len(lines)
			at[k] = i
			lines = append(lines, findingLine(f, p.units))
		}
		years[i] = append(years[i], year)
		if ok {
			site := verify.Site{Object: f.Object, Site: shown(f.Site), Pasture: shown(f.Pasture)}.Label()
			lines[i] = site + ", " + words.Runs(slices.Compact(slices.Sorted(slices.Values(years[i])))) + ": " + shown(p.units.Reword(f.Text, f.Distances...))
		}
	}
	return lines
}

// headings name the findings that ask for something.
var headings = map[string]string{
	verify.FoundBroken:    "Photos that are not whole",
	verify.FoundEmpty:     "Empty notes",
	verify.FoundCard:      "Cards that cannot be used as they are",
	verify.FoundDeclared:  "Sites declared to be somewhere else",
	verify.FoundMisdated:  "Photos of another time than their folder's",
	verify.FoundUndated:   "Photos of a day that nothing tells for sure",
	verify.FoundSwapped:   "Visits that seem to have each other's photos",
	verify.FoundElsewhere: "Photos taken away from their site",
	verify.FoundTwice:     "The same photo in two places",
}

// line is a finding in one line.
func findingLine(f verify.Finding, units geo.Units) string {
	text := shown(units.Reword(f.Text, f.Distances...))
	if f.Kind == verify.FoundCard || f.Kind == verify.FoundUndated || f.Kind == verify.FoundDouble {
		return text
	}
	where := verify.Site{Object: f.Object, Site: shown(f.Site), Pasture: shown(f.Pasture)}.Label()
	if len(f.Paths) == 1 {
		where = shown(f.Paths[0])
	} else if f.Visit != "" {
		where += ", " + f.Visit
	}
	return where + ": " + text
}

// line is a copy in one line.
func copyLine(c verify.CopyReport) string {
	if c.Error != "" && c.Files == 0 {
		if c.Away {
			return "not plugged in, so nothing was read: " + c.Error
		}
		return "nothing was read: " + c.Error
	}
	parts := []string{fmt.Sprintf("%s, %s", words.Count(c.Files, "file"), words.Size(c.Bytes))}
	add := func(s verify.Share, what string) {
		switch {
		case s.Files == 0:
		case s.Files == c.Files:
			parts = append(parts, "all "+what)
		default:
			parts = append(parts, fmt.Sprintf("%d %s", s.Files, what))
		}
	}
	add(c.ReadBack, "read back")
	add(c.Matched, "matched by a quick check")
	add(c.Confirmed, "only confirmed by the service")
	add(c.Unread, "not looked at this time")
	switch n := len(c.Damage); {
	case n > 0:
		parts = append(parts, fmt.Sprintf("DAMAGE: %s", words.Count(n, "finding")))
	case c.Error == "" && (c.Files == 0 || c.Unread.Files < c.Files):
		parts = append(parts, "no damage found")
	}
	switch {
	case c.SealHistory != "":
		parts = append(parts, "as sealed, in another history that met this one ("+shown(c.SealHistory)+")")
	case c.SealHolds:
		parts = append(parts, "as sealed")
	case c.SealFault != "":
		parts = append(parts, "NOT AS SEALED")
	}
	if c.Error != "" {
		parts = append(parts, "stopped: "+c.Error)
	}
	return strings.Join(parts, "; ")
}

// yearsLine counts the years by state.
func yearsLine(years []verify.Year) string {
	n := map[string]int{}
	for _, y := range years {
		n[y.State]++
	}
	if len(years) == 0 {
		return "no visits recorded"
	}
	var parts []string
	for _, s := range []string{verify.Whole, verify.Explained, verify.Due, verify.Short, verify.Skipped, verify.Recoverable, verify.Lost} {
		if n[s] > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n[s], s))
		}
	}
	return strings.Join(parts, ", ")
}

type printer struct {
	w     io.Writer
	line  words.Line
	units geo.Units
}

// list prints a heading, lines and what to do; nothing if there are no lines.
func (p printer) list(heading string, lines []string, todo string) {
	if len(lines) == 0 {
		return
	}
	fmt.Fprintf(p.w, "\n%s:\n", heading)
	for i, l := range lines {
		if i == mostLines && len(lines) > mostLines+1 {
			fmt.Fprintf(p.w, "  … and %d more (--json lists all)\n", len(lines)-mostLines)
			break
		}
		fmt.Fprintf(p.w, "  %s\n", l)
	}
	for line := range strings.Lines(todo) {
		fmt.Fprintf(p.w, "  %s\n", strings.TrimRight(line, "\n"))
	}
}

// damage prints what is wrong on one copy.
func (p printer) damage(c verify.CopyReport) {
	var bad, strays []string
	rewritten, parted := 0, 0
	for _, d := range c.Damage {
		if d.Kind == verify.Stray {
			strays = append(strays, fmt.Sprintf("%s  %s", shown(d.Path), d.Detail))
			continue
		}
		switch {
		case strings.HasPrefix(d.Detail, verify.Rewritten):
			rewritten++
		case strings.HasPrefix(d.Detail, verify.OtherHistory):
			parted++
		}
		where := damagedPath(d.Path, d.Site)
		if d.Version > 0 && strings.HasPrefix(d.Path, ".linecamp/") {
			where += fmt.Sprintf(", version %d", d.Version)
		}
		bad = append(bad, where+"  "+damageWords(d))
	}
	todo := "To put good bytes in their place, from another copy: " + p.line.Run("mend")
	if p.line.From != "" {
		todo = "The computer that has the archive's settings puts good bytes in their place, by linecamp mend."
	}
	var next []string
	if len(bad) > rewritten+parted {
		next = append(next, todo)
	}
	if rewritten > 0 {
		next = append(next, "What was rewritten is never mended: keep this copy as it is, and add another to the archive, by linecamp setup --add-copy --drive NAME=FOLDER.")
	}
	if parted > 0 {
		next = append(next, "Another history is no damage to mend: run linecamp mirror on the recording computer, which takes in what this copy has and uses it on.")
	}
	p.list("Damage "+on(c), bad, strings.Join(next, "\n"))
	p.list("Files on "+shown(c.Copy)+" that linecamp did not put there", strays,
		"They harm nothing, and linecamp leaves them alone. Look at them, and move them off the copy: it is counted as damaged until then.")
}

// damagedPath is a path as people know it, and what linecamp itself keeps by its name.
func damagedPath(path, site string) string {
	own := map[string]string{
		verify.SealPath: "the seal", verify.RootPath: "what makes it a copy", verify.SettingsPath: "the settings for a new computer",
		verify.InventoryPath: "the manifest", manifest.RecordPath: "the record",
	}[path]
	switch {
	case own == "":
		return shown(path)
	case site == "":
		return own
	}
	return own + " of " + shown(site)
}

// damageWords say what is wrong with a file. What the digests are is in the JSON.
func damageWords(d verify.Damage) string {
	ours := strings.HasPrefix(d.Path, ".linecamp/")
	switch {
	case ours || strings.HasPrefix(d.Detail, verify.Rewritten):
		return d.Kind + ": " + d.Detail
	case d.Kind == verify.Altered && layout.FormOf(path.Base(d.Path)).IsPicture():
		return "damaged: no longer the picture that was stored"
	case d.Kind == verify.Altered:
		return "damaged: no longer the file that was stored"
	case d.Kind == verify.Gone:
		return "gone: it was stored there, and is not there any more"
	}
	return d.Kind + ": " + d.Detail
}

// notes prints what is no damage and still worth knowing.
func (p printer) notes(c verify.CopyReport) {
	var lines []string
	if n := len(c.Behind); n > 0 {
		lines = append(lines, fmt.Sprintf("it lacks the newest of %s. To bring it up to date: %s", words.Count(n, "site"), p.line.Run("mirror")))
	}
	if n := len(c.Unfinished); n > 0 {
		lines = append(lines, fmt.Sprintf("a round was broken off at %s. To complete it: %s", words.Count(n, "site"), p.line.Run("mirror")))
	}
	if c.Waiting > 0 {
		lines = append(lines, fmt.Sprintf("%s changed since the last mirror; the next one records it", words.Count(c.Waiting, "file")))
	}
	p.list("Also "+on(c), lines, "")
}

// on says where something is: "on shelf-drive", "in the working folder".
func on(c verify.CopyReport) string {
	if c.Copy == verify.WorkingName {
		return "in " + placeOf(c)
	}
	return "on " + placeOf(c)
}

func placeOf(c verify.CopyReport) string {
	if c.Copy == verify.WorkingName {
		return "your folder"
	}
	return shown(c.Copy)
}

// years prints the years in one state: a line a site, years run together.
func (p printer) years(years []verify.Year, state, heading, todo string) {
	var lines []string
	type key struct{ object, what string }
	at := map[key]int{}
	var groups [][]verify.Year
	for _, y := range years {
		if y.State != state || (state == verify.Due && len(y.Lacks) == 0 && y.Opens == "") {
			continue
		}
		k := key{y.Object + "\x00" + y.Site, yearText(y)}
		i, ok := at[k]
		if !ok {
			i = len(groups)
			at[k] = i
			groups = append(groups, nil)
		}
		groups[i] = append(groups[i], y)
	}
	for _, g := range groups {
		var numbers []int
		for _, y := range g {
			numbers = append(numbers, y.Year)
		}
		l := fmt.Sprintf("%s  %s", verify.Site{Object: g[0].Object, Site: shown(g[0].Site), Pasture: shown(g[0].Pasture)}.Label(), words.Runs(numbers))
		if t := yearText(g[0]); t != "" {
			l += "  " + t
		}
		lines = append(lines, l)
	}
	p.list(heading, lines, todo)
}

// yearText is what a year's line says after the year.
func yearText(y verify.Year) string {
	switch {
	case y.State == verify.Lost || y.State == verify.Recoverable:
		if len(y.Lacks) == 1 {
			return shown(y.Lacks[0])
		}
		return words.Count(len(y.Lacks), "file")
	case y.State == verify.Due:
		t := "expected " + y.Opens + " to " + y.Closes
		if y.Over {
			t = verify.ClosedText(y.Closes, y.Lacks)
		}
		if len(y.Lacks) > 0 {
			t = "lacks " + strings.Join(shownAll(y.Lacks), ", ") + "; " + t
		}
		return t
	case len(y.Lacks) > 0:
		return "lacks " + strings.Join(shownAll(y.Lacks), ", ")
	}
	return ""
}

func shownAll(s []string) []string {
	out := make([]string, len(s))
	for i := range s {
		out[i] = shown(s[i])
	}
	return out
}
