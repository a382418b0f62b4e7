package page

import (
	"bufio"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"linecamp/daemon/show/text"
	"linecamp/manifest/words"
	"linecamp/verify"
)

// yearsView is the sites by years.
type yearsView struct {
	frame
	Pastures []string
	States   []stateWord
	Pasture  string // only this one
	State    string // only sites that have a year like this
	Counts   []stateCount
	Rows     int
	All      int
}

type stateWord struct{ State, Says string }

type stateCount struct {
	stateWord
	Count int
}

// stateWords are what a year can be, gravest first, each with what it means.
var stateWords = []stateWord{
	{verify.Lost, "recorded once, and no good bytes are left anywhere"},
	{verify.Recoverable, "not in the folder, and a copy has it"},
	{verify.Short, "something is lacking that the site usually has"},
	{verify.Skipped, "a visit was due, and nothing was recorded"},
	{verify.Due, "its season is not over, or ended lately"},
	{verify.Explained, "somebody put on file why"},
	{verify.Whole, "everything that is usual is there"},
}

// wants is the choice of all sites with a year that wants a person.
const wants = "wants"

func (s *Server) years(w http.ResponseWriter, r *http.Request, b *book) error {
	read, err := b.read(r.Context(), false)
	if err != nil {
		return err
	}
	v := yearsView{frame: s.frame(b, "years", "The years"), States: stateWords, All: len(read.sites),
		Pasture: r.FormValue("pasture"), State: r.FormValue("state")}
	counts := map[string]int{}
	var rows []*site
	for _, x := range read.sites {
		if p := verify.Shown(x.Pasture); p != "" && !slices.Contains(v.Pastures, p) {
			v.Pastures = append(v.Pastures, p)
		}
		if v.Pasture != "" && verify.Shown(x.Pasture) != v.Pasture {
			continue
		}
		fits := v.State == ""
		for _, y := range x.years {
			counts[y.State]++
			fits = fits || y.State == v.State || v.State == wants && y.Wants()
		}
		if fits {
			rows = append(rows, x)
		}
	}
	for _, w := range stateWords {
		if counts[w.State] > 0 {
			v.Counts = append(v.Counts, stateCount{w, counts[w.State]})
		}
	}
	v.Rows = len(rows)
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	out := bufio.NewWriterSize(w, 32<<10)
	defer out.Flush()
	t := templates["years"]
	// The table is written between the two halves of the view, by hand: it may have
	// tens of thousands of cells.
	if err := t.ExecuteTemplate(out, "before", v); err != nil {
		return err
	}
	writeList(out, rows)
	writeTable(out, rows)
	return t.ExecuteTemplate(out, "after", v)
}

// writeTable writes the table of sites by years. Names are hostile: each goes
// through escape, and addresses are made of keys.
func writeTable(w *bufio.Writer, rows []*site) {
	had := map[int]bool{}
	for _, x := range rows {
		for _, y := range x.years {
			had[y.Year] = true
		}
	}
	cols := text.YearColumns(had)
	w.WriteString("<div class=\"wide\" tabindex=\"0\" role=\"region\" aria-label=\"Sites by years\"><table class=\"years\">\n<caption>Sites by years. Each mark leads to that year of the site.</caption>\n<thead><tr><th scope=\"col\">Site</th>")
	for _, c := range cols {
		if c == 0 {
			w.WriteString("<td class=\"gap\"></td>")
			continue
		}
		w.WriteString("<th scope=\"col\">")
		w.WriteString(strconv.Itoa(c))
		w.WriteString("</th>")
	}
	w.WriteString("</tr></thead>\n")
	pasture, begun := "", false
	for _, x := range rows {
		if !begun || x.Pasture != pasture {
			if begun {
				w.WriteString("</tbody>\n")
			}
			w.WriteString("<tbody>")
			if pasture, begun = x.Pasture, true; pasture != "" {
				w.WriteString("<tr class=\"pasture\"><th scope=\"rowgroup\" colspan=\"")
				w.WriteString(strconv.Itoa(len(cols) + 1))
				w.WriteString("\"><span>")
				escape(w, verify.Shown(pasture))
				w.WriteString("</span></th></tr>\n")
			}
		}
		writeRow(w, x, cols)
	}
	if begun {
		w.WriteString("</tbody>\n")
	}
	w.WriteString("</table></div>\n")
}

func writeRow(w *bufio.Writer, x *site, cols []int) {
	w.WriteString("<tr><th scope=\"row\"><a href=\"site/")
	w.WriteString(x.key)
	w.WriteString("\">")
	escape(w, x.name())
	w.WriteString("</a></th>")
	years := x.years
	for _, c := range cols {
		for len(years) > 0 && years[0].Year < c && c != 0 {
			years = years[1:]
		}
		if c == 0 || len(years) == 0 || years[0].Year != c {
			w.WriteString("<td></td>")
			continue
		}
		w.WriteString("<td><a class=\"m ")
		w.WriteString(years[0].State)
		w.WriteString("\" href=\"site/")
		w.WriteString(x.key)
		w.WriteString("#y")
		w.WriteString(strconv.Itoa(c))
		w.WriteString("\">")
		w.WriteString(years[0].State)
		w.WriteString("</a></td>")
	}
	w.WriteString("</tr>\n")
}

// writeList writes the same for a narrow window: each site with what its years are.
func writeList(w *bufio.Writer, rows []*site) {
	w.WriteString("<ul class=\"narrow sites\">\n")
	pasture := ""
	for _, x := range rows {
		if x.Pasture != pasture {
			pasture = x.Pasture
			w.WriteString("<li class=\"pasture\"><h2>")
			escape(w, verify.Shown(pasture))
			w.WriteString("</h2></li>\n")
		}
		w.WriteString("<li><a class=\"name\" href=\"site/")
		w.WriteString(x.key)
		w.WriteString("\">")
		escape(w, x.name())
		w.WriteString("</a> <span>")
		escape(w, yearWords(x.years))
		w.WriteString("</span></li>\n")
	}
	w.WriteString("</ul>\n")
}

// yearWords says in words what a site's years are: the ones that want a person by
// number, the others counted.
func yearWords(years []verify.Year) string {
	var parts []string
	for _, s := range stateWords {
		var list []int
		for _, y := range years {
			if y.State == s.State {
				list = append(list, y.Year)
			}
		}
		switch {
		case len(list) == 0:
		case s.State == verify.Whole:
			parts = append(parts, strconv.Itoa(len(list))+" whole")
		default:
			parts = append(parts, s.State+" "+words.Runs(list))
		}
	}
	if len(parts) == 0 {
		return "no years yet"
	}
	return strings.Join(parts, "; ")
}

var escapes = strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&quot;", "'", "&#39;", "\x00", "\ufffd")

func escape(w *bufio.Writer, s string) { escapes.WriteString(w, s) }
