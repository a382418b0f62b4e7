package verify

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"linecamp/manifest"
	"linecamp/manifest/geo"
	"linecamp/manifest/words"
)

// Most lines of one kind of finding that are printed; the rest is counted, and
// all of it is in the JSON.
const mostLines = 12

// Wants reports whether something wants a person: damage, a copy that could not
// be checked (one that is away does not count, unless it was asked for by name),
// years that could not be judged,
// nothing recorded yet, a year that is lost, recoverable,
// short or skipped, a finding that asks for something.
func (r Report) Wants() bool {
	if r.Nothing || r.YearsError != "" {
		return true
	}
	for _, c := range r.Copies {
		if len(c.Damage) > 0 || c.SealFault != "" || len(c.Standard) > 0 || (c.Error != "" && (!c.Away || c.Copy == r.Asked)) {
			return true
		}
	}
	return slices.ContainsFunc(r.Years, Year.Wants) || slices.ContainsFunc(r.Findings, Finding.Wants)
}

// Print writes the report for a person: a line for each copy and one for the
// years, then the findings, most urgent first, each with what to do.
func (r Report) Print(w io.Writer) {
	for _, c := range r.Copies {
		if r.Nothing && c.Error == "" && len(c.Damage) == 0 {
			continue // "no damage" would say more than is known
		}
		fmt.Fprintf(w, "%-14s %s\n", Shown(c.Copy), c.line())
	}
	if r.Nothing {
		fmt.Fprintf(w, "Nothing is recorded yet, so there was nothing to compare. To begin: %s\n", words.Of(w).Run("mirror"))
	}
	if r.Judged && !r.Nothing {
		fmt.Fprintf(w, "%-14s %s\n", "years", yearsLine(r.Years))
	}
	if r.YearsError != "" {
		fmt.Fprintf(w, "%-14s %s\n", "years", r.YearsError)
	}
	if r.Deep != nil {
		fmt.Fprintf(w, "%-14s %s\n", "decoded", r.Deep.line())
	}
	if len(r.Copies) == 0 && !r.Nothing {
		grid(w, r.Years)
		for _, j := range r.Joined {
			var from []string
			for _, f := range j.From {
				from = append(from, Shown(f.Label()))
			}
			fmt.Fprintf(w, "%s goes on from %s.\n", Site{Object: j.Object, Site: Shown(j.Site), Pasture: Shown(j.Pasture)}.Label(), strings.Join(from, " and "))
		}
	}
	p := printer{w: w, line: words.Of(w), units: r.Units}
	if r.Nothing {
		for _, c := range r.Copies {
			p.damage(c)
		}
		return
	}
	p.years(r.Years, Due, "Can still be put right", "")
	p.years(r.Years, Lost, "Lost: recorded once, and no good copy is left anywhere in reach",
		"If an old card, drive or mailbox may still have them, put them back in place. Then: "+p.line.Run("mirror"))
	for _, c := range r.Copies {
		if c.SealFault != "" {
			p.list("The seal on paper does not fit "+c.place(), []string{c.SealFault},
				"Compare the other copies, and keep this one as it is until it is clear which is true.")
		}
	}
	for _, c := range r.Copies {
		p.damage(c)
	}
	for _, c := range r.Copies {
		p.list("Against the layout's standard, OCFL, on "+c.place(), c.Standard,
			"Something else wrote there. Restore from another copy if in doubt, and give this one a new root.")
	}
	p.years(r.Years, Recoverable, "No longer in the working folder, and good on a copy", p.restoring(r))
	p.years(r.Years, Short, "Lacking something the site usually has",
		"Look for it on the card or in the binder; once it is in the visit's folder, it counts."+p.explaining(r.Years, Short))
	p.years(r.Years, Skipped, "Skipped: a visit was due and nothing was recorded",
		"If there was a visit, its files may still be on a card or another computer."+p.explaining(r.Years, Skipped))
	p.findings(r.Findings)
	p.alike(r.Alike)
	if r.Deep != nil {
		p.list("Photos that were not decoded", r.Deep.lines(), "Nothing is known against them; look at them yourself.")
	}
	for _, c := range r.Copies {
		p.notes(c)
	}
}

// findings prints what was found about the files that are there, what asks for
// something first.
func (p printer) findings(all []Finding) {
	var notes []string
	for i := 0; i < len(all); {
		end := i
		var lines []string
		todo := all[i].Todo
		for ; end < len(all) && all[end].Kind == all[i].Kind; end++ {
			f := all[end]
			l := f.line(p.units)
			switch {
			case !f.Wants() && f.Why != "":
			case f.Note:
				notes = append(notes, l)
			default:
				if lines = append(lines, l); len(lines) == 1 {
					todo = f.Todo + p.intended(f)
				}
			}
		}
		p.list(headings[all[i].Kind], lines, todo)
		i = end
	}
	p.list("Worth knowing, and no fault", notes, "")
}

// headings name the findings that ask for something.
var headings = map[string]string{
	FoundBroken:    "Photos that are not whole",
	FoundEmpty:     "Empty notes",
	FoundCard:      "Cards that cannot be used as they are",
	FoundDeclared:  "Sites declared to be somewhere else",
	FoundMisdated:  "Photos of another time than their folder's",
	FoundUndated:   "Photos of a day that nothing tells for sure",
	FoundSwapped:   "Visits that seem to have each other's photos",
	FoundElsewhere: "Photos taken away from their site",
	FoundTwice:     "The same photo in two places",
}

// line is a finding in one line.
func (f Finding) line(units geo.Units) string {
	text := Shown(units.Reword(f.Text, f.Distances...))
	if f.Kind == FoundCard || f.Kind == FoundUndated || f.Kind == FoundDouble {
		return text
	}
	where := Site{Object: f.Object, Site: Shown(f.Site), Pasture: Shown(f.Pasture)}.Label()
	if len(f.Paths) == 1 {
		where = Shown(f.Paths[0])
	} else if f.Visit != "" {
		where += ", " + f.Visit
	}
	return where + ": " + text
}

// line is a copy in one line.
func (c CopyReport) line() string {
	if c.Error != "" && c.Files == 0 {
		if c.Away {
			return "away, so nothing was read: " + c.Error
		}
		return "nothing was read: " + c.Error
	}
	parts := []string{fmt.Sprintf("%s, %s", Count(int64(c.Files), "file"), Size(c.Bytes))}
	add := func(s Share, what string) {
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
		parts = append(parts, fmt.Sprintf("DAMAGE: %s", Count(int64(n), "finding")))
	case c.Error == "":
		parts = append(parts, "no damage")
	}
	switch {
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
func yearsLine(years []Year) string {
	n := map[string]int{}
	for _, y := range years {
		n[y.State]++
	}
	if len(years) == 0 {
		return "no visits recorded"
	}
	var parts []string
	for _, s := range []string{Whole, Explained, Due, Short, Skipped, Recoverable, Lost} {
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
func (p printer) damage(c CopyReport) {
	var bad, strays []string
	rewritten := 0
	for _, d := range c.Damage {
		if d.Kind == Stray {
			strays = append(strays, fmt.Sprintf("%s  %s", Shown(d.Path), d.Detail))
			continue
		}
		if strings.HasPrefix(d.Detail, Rewritten) {
			rewritten++
		}
		where := Shown(d.Path)
		if d.Site != "" && (d.Path == InventoryPath || strings.HasPrefix(d.Path, ".linecamp/")) {
			where = fmt.Sprintf("%s of %s, version %d", where, Shown(d.Site), d.Version)
		}
		bad = append(bad, fmt.Sprintf("%s  %s: %s", where, d.Kind, d.Detail))
	}
	todo := "To put good bytes in their place, from another copy: " + p.line.Run("mend")
	if p.line.From != "" {
		todo = "The machine that has the archive's settings puts good bytes in their place, by linecamp mend."
	}
	const never = "What was rewritten is never mended: keep this copy as it is, and add another to the archive, by linecamp setup --add-copy."
	switch rewritten {
	case 0:
	case len(bad):
		todo = never
	default:
		todo += "\n" + never
	}
	p.list("Damage "+c.on(), bad, todo)
	p.list("Files on "+Shown(c.Copy)+" that linecamp did not put there", strays,
		"They harm nothing, and linecamp leaves them alone. Look at them, and move them off the copy: it is counted as damaged until then.")
}

// notes prints what is no damage and still worth knowing.
func (p printer) notes(c CopyReport) {
	var lines []string
	if n := len(c.Behind); n > 0 {
		lines = append(lines, fmt.Sprintf("it lacks the newest of %s. To bring it up to date: %s", Count(int64(n), "site"), p.line.Run("mirror")))
	}
	if n := len(c.Unfinished); n > 0 {
		lines = append(lines, fmt.Sprintf("a round was broken off at %s. To complete it: %s", Count(int64(n), "site"), p.line.Run("mirror")))
	}
	if c.Waiting > 0 {
		lines = append(lines, fmt.Sprintf("%s changed since the last mirror; the next one records it", Count(int64(c.Waiting), "file")))
	}
	p.list("Also "+c.on(), lines, "")
}

// on says where something is: "on shelf-drive", "in the working folder".
func (c CopyReport) on() string {
	if c.Copy == WorkingName {
		return "in " + c.place()
	}
	return "on " + c.place()
}

func (c CopyReport) place() string {
	if c.Copy == WorkingName {
		return "the working folder"
	}
	return Shown(c.Copy)
}

// years prints the years in one state: a line a site, years run together.
func (p printer) years(years []Year, state, heading, todo string) {
	var lines []string
	type key struct{ object, what string }
	at := map[key]int{}
	var groups [][]Year
	for _, y := range years {
		if y.State != state || (state == Due && len(y.Lacks) == 0 && y.Opens == "") {
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
		l := fmt.Sprintf("%s  %s", Site{Object: g[0].Object, Site: Shown(g[0].Site), Pasture: Shown(g[0].Pasture)}.Label(), YearRuns(numbers))
		if t := yearText(g[0]); t != "" {
			l += "  " + t
		}
		lines = append(lines, l)
	}
	p.list(heading, lines, todo)
}

// yearText is what a year's line says after the year.
func yearText(y Year) string {
	switch {
	case y.State == Lost || y.State == Recoverable:
		if len(y.Lacks) == 1 {
			return Shown(y.Lacks[0])
		}
		return Count(int64(len(y.Lacks)), "file")
	case y.State == Due:
		t := "expected " + y.Opens + " to " + y.Closes
		if y.Over {
			t = closedText(y.Closes, y.Lacks)
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

// closedText says that a season is over, and where what is lacking may still be.
func closedText(closes string, lacks []string) string {
	if len(lacks) == 1 && lacks[0] == LackNote {
		return "the season closed on " + closes + "; is the note still on paper?"
	}
	return "the season closed on " + closes + "; is a card still in a camera?"
}

func shownAll(s []string) []string {
	out := make([]string, len(s))
	for i := range s {
		out[i] = Shown(s[i])
	}
	return out
}

// Shown is [manifest.Printable].
func Shown(s string) string { return manifest.Printable(s) }

// count writes a number with its noun.
func Count(n int64, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// sizeText writes bytes for a person: three digits, powers of 1000.
func Size(n int64) string {
	if n < 1000 {
		return Count(n, "byte")
	}
	v := float64(n)
	for _, u := range []string{"kB", "MB", "GB", "TB"} {
		v /= 1000
		if v < 999.5 || u == "TB" {
			if v < 9.95 {
				return fmt.Sprintf("%.1f %s", v, u)
			}
			return fmt.Sprintf("%.0f %s", v, u)
		}
	}
	return ""
}
