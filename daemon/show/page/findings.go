package page

import (
	"net/http"
	"slices"

	"linecamp/manifest/words"
	"linecamp/verify"
)

// findingsView is what was found about what is there, most urgent first.
type findingsView struct {
	frame
	Asking []findingRow // ask something of a person
	Known  []findingRow // worth knowing, or explained
	Line   string
}

type findingRow struct {
	Kind, Visit, Text, Todo, Why string
	Site, Key                    string // "" for what is of no site
	Paths                        []string
	Explain                      string // the command lines that put a reason on file
}

func findingOf(f verify.Finding, line words.Line) findingRow {
	row := findingRow{Kind: f.Kind, Visit: verify.Shown(f.Visit), Text: verify.Shown(f.Text), Todo: verify.Shown(line.Text(f.Todo)), Why: verify.Shown(f.Why)}
	for _, p := range f.Paths {
		row.Paths = append(row.Paths, verify.Shown(p))
		if f.Intended() {
			row.Explain += line.Run("explain", p, "the reason") + "\n"
		}
	}
	return row
}

func (s *Server) findings(w http.ResponseWriter, r *http.Request, b *book) error {
	read, err := b.read(r.Context(), false)
	if err != nil {
		return err
	}
	v := findingsView{frame: s.frame(b, "stand", "Findings"), Line: b.Line.Run("verify", "--only", "years")}
	for _, f := range read.record.Findings {
		row := findingOf(f, b.Line)
		if i := slices.IndexFunc(read.sites, func(x *site) bool { return f.Site != "" && x.Site == f.Site && x.Pasture == f.Pasture }); i >= 0 {
			row.Site, row.Key = read.sites[i].label(), read.sites[i].key
		}
		if f.Wants() {
			v.Asking = append(v.Asking, row)
		} else {
			v.Known = append(v.Known, row)
		}
	}
	return show(w, "findings", http.StatusOK, v)
}
