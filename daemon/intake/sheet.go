package intake

import (
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"slices"
	"strconv"
	"strings"

	"linecamp/daemon/intake/sky"
	"linecamp/manifest/tally"
	"linecamp/manifest/wholefile"
	"linecamp/manifest/words"
	"linecamp/verify"
)

//go:embed sheet.html
var sheetHTML string

var sheetPage = template.Must(template.New("sheet").Funcs(template.FuncMap{
	"caution":  func() string { return words.FieldCaution },
	"where":    func(v Visit) string { return verify.Shown(v.Where()) },
	"distance": func(v Visit) string { return v.Distance() },
	"reason":   func(v Visit) string { return verify.Shown(v.ReasonText()) },
	"shown":    verify.Shown,
	"thumb": func(f File) template.URL {
		return template.URL("data:image/jpeg;base64," + base64.StdEncoding.EncodeToString(f.thumb))
	},
	"view": func(f File) string {
		if f.View == tally.Untold {
			return "view not known"
		}
		return f.View
	},
	"how": func(f File) string { return ViewWords[f.ViewBy] },
	"look": func(f File) string {
		switch f.look {
		case sky.Sky:
			return "shows sky"
		case sky.Ground:
			return "no sky"
		}
		return ""
	},
	"hour": func(f File) string {
		if len(f.Taken) < 16 {
			return ""
		}
		return f.Taken[11:16]
	},
	"by": func(v Visit) string {
		return map[string]string{ByPosition: "by position", ByTrack: "by the track", ByOrder: "by the order of other years", ByPerson: "as told"}[v.By]
	},
	"size":   words.Size,
	"number": counted,
	// path lets a long path break behind its slashes.
	"path": func(p string) template.HTML {
		return template.HTML(strings.ReplaceAll(template.HTMLEscapeString(verify.Shown(p)), "/", "/<wbr/>"))
	},
	"alt": func(v Visit, f File) string {
		what := f.View
		if what == tally.Untold || what == "" {
			what = "picture"
		}
		if v.Site != "" {
			what += " of " + verify.Shown(v.Where())
		}
		return strings.TrimSuffix(what+", "+v.Date, ", ") + " (" + verify.Shown(f.From) + ")"
	},
	"unsited": func(p *Plan) bool {
		return slices.ContainsFunc(p.Visits, func(v Visit) bool { return v.Site == "" })
	},
	"told": func(p *Plan) string {
		return counted(len(p.Visits), "visit") + "; " + counted(p.Waiting(), "file") + " would be filed"
	},
}).Parse(sheetHTML))

// Small is a small picture of the file, as JPEG; nil for none. [Options.Thumbs] has it
// made.
func (f File) Small() []byte { return f.thumb }

// Sheet writes the plan as one page with small pictures, which needs nothing
// beside it and fetches nothing. Options.Thumbs must have been set.
func (p *Plan) Sheet(w io.Writer) error { return sheetPage.Execute(w, p) }

// WriteSheet writes the page to a file, whole or not at all.
func (p *Plan) WriteSheet(file string) error {
	draft, err := wholefile.Begin(file, 0o644)
	if err != nil {
		return fmt.Errorf("the sheet cannot be written: %w", err)
	}
	defer draft.Drop()
	if err := p.Sheet(draft); err != nil {
		return fmt.Errorf("the sheet cannot be written: %w", err)
	}
	if err := draft.Replace(); err != nil {
		return fmt.Errorf("the sheet cannot be written: %w", err)
	}
	return nil
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return strconv.Itoa(n) + " " + what + "s"
}

// Where names a visit's site.
func (v *Visit) Where() string {
	switch {
	case v.Site == "" && v.By == ByFolders:
		return "the same place in your folder"
	case v.Site == "":
		return "no site"
	case v.several:
		return v.label() + ", archive " + v.Archive
	}
	return v.label()
}

func (v *Visit) label() string {
	if v.Pasture == "" {
		return v.Site
	}
	return strings.ReplaceAll(v.Pasture, "/", " / ") + " / " + v.Site
}
