// Package decide puts on file what a person decides about the record. Begin with
// [Explain], which says why a year is missing or what is with a file, and [Same],
// which says that two sites are one stake. What is on file counts at once; the next
// mirror round writes it into the site's record.
package decide

import (
	"context"
	"errors"
	"fmt"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"linecamp/daemon/archive"
	"linecamp/daemon/ledger"
	"linecamp/manifest"
	"linecamp/manifest/store/fault"
	"linecamp/manifest/tally"
	"linecamp/verify"
	"linecamp/verify/history"
)

// ErrExplain marks an explanation that cannot be put on file as it was given.
var ErrExplain = errors.New("this explanation cannot be put on file")

// ErrUndo marks an explanation that cannot be taken back, because there is none.
var ErrUndo = errors.New("there is nothing to undo")

// ExplainOptions say what is explained: years of a site, or of every site of a
// pasture, or one file.
type ExplainOptions struct {
	Site    string // name, folder or slug, or the beginning of one
	Pasture string // instead of Site
	Path    string // instead of both: a file, by its path in the working folder or on this computer
	Years   string // "2014", "2013-2015", "2009,2013-2015"; "" with Path
	Season  string // only the visit of this season, as the report names it: "06-21"
	Lacks   string // only this view, or "note"
	Why     string // the reason
	Who     string // who says so; "" for the user this runs as
	Undo    bool   // what was said of this before holds no longer; Why may be ""
}

// ExplainReport is what was put on file.
type ExplainReport struct {
	Archive   string          `json:"archive"`
	Explained []ExplainedSite `json:"explained"`
	// Undone is what was explained before, and is no longer.
	Undone []ExplainedSite `json:"undone,omitempty"`
	// Notes are what the person who explains may not have meant: a year that
	// lacks nothing.
	Notes []string `json:"notes,omitempty"`
}

// ExplainedSite is one site's explanation.
type ExplainedSite struct {
	Site   string   `json:"site"`
	Object string   `json:"object"`
	Years  []string `json:"years"`
	Path   string   `json:"path,omitempty"`
	Season string   `json:"season,omitempty"`
	Lacks  string   `json:"lacks,omitempty"`
	Why    string   `json:"why"`
	Who    string   `json:"who"`
}

// Wants is false: it was asked for, and done.
func (ExplainReport) Wants() bool { return false }

func explainedSite(s verify.Site, d manifest.Decision) ExplainedSite {
	return ExplainedSite{Site: s.Label(), Object: s.Object, Years: orNone(d.Years), Path: d.Path, Season: d.Season, Lacks: d.View, Why: d.Why, Who: d.Who}
}

// mostWhy bounds a reason, in bytes.
const mostWhy = 2000

// isReason reports whether a text may go on file: short, valid, and on one line.
func isReason(why string) bool {
	return len(why) <= mostWhy && utf8.ValidString(why) && !strings.ContainsFunc(why, unicode.IsControl)
}

var seasonDay = regexp.MustCompile(`^\d\d-\d\d$`)

// Explain puts the reason for missing years, or for a finding about a file, on
// file. It counts at once; the next mirror round writes it into the site's
// record. A fault in what was asked for wraps ErrExplain or history.ErrNoSite, or
// is a *history.ManySites.
func Explain(ctx context.Context, a *archive.Archive, o ExplainOptions, p archive.Progress) (ExplainReport, error) {
	report := ExplainReport{Archive: a.Config.Name, Explained: []ExplainedSite{}}
	if a.Config.Folder == "" {
		return report, fmt.Errorf("%s: %w; explain it on the computer that has it", a.Config.Name, archive.ErrNoFolder)
	}
	d := manifest.Decision{What: manifest.Explained, Who: o.Who, When: a.Now().UTC().Truncate(time.Second), Why: strings.TrimSpace(o.Why), Season: o.Season, View: o.Lacks}
	if o.Undo {
		d.What = manifest.Withdrawn
	}
	if d.Who == "" {
		d.Who = archive.Person()
	}
	if d.Why == "" && !o.Undo || !isReason(d.Why) {
		return report, fmt.Errorf("%w: the reason is to be a sentence or two on one line", ErrExplain)
	}
	if o.Season != "" && !seasonDay.MatchString(o.Season) {
		return report, fmt.Errorf("%w: --season takes the day that the report names, such as 06-21, not %q", ErrExplain, o.Season)
	}
	if o.Path == "" {
		var err error
		if d.Years, err = explainedYears(o.Years, a.Now()); err != nil {
			return report, err
		}
	}
	k, err := a.Look(ctx)
	if err != nil {
		return report, err
	}
	defer k.Copies.Close()
	sites, err := meant(a, k, o, &d)
	if err != nil {
		return report, err
	}
	t, err := a.FolderNow(ctx, p)
	if err != nil {
		return report, err
	}
	said, err := explanation(a, k, t, &report, sites, d)
	if err != nil {
		return report, err
	}
	if err := a.Ledger.AddSaid(said...); err != nil {
		return report, fmt.Errorf("writing the ledger: %w", err)
	}
	return report, a.JudgeAgain(k, t)
}

// explanation is what goes on file, and is told in the report.
func explanation(a *archive.Archive, k *archive.Known, t *tally.Result, report *ExplainReport, sites []verify.Site, d manifest.Decision) (said []ledger.Said, err error) {
	before, err := decided(a, k, sites)
	if err != nil {
		return nil, err
	}
	for _, s := range sites {
		d := d
		for _, e := range before[s.Object] { // the newest word counts, whatever the clock said before
			if !e.When.Before(d.When) && (e.What == manifest.Explained || e.What == manifest.Withdrawn) {
				d.When = e.When.Add(time.Second)
			}
		}
		if d.What == manifest.Withdrawn {
			was := len(report.Undone)
			for _, e := range manifest.Standing(before[s.Object]) {
				if d.Withdraws(e) {
					report.Undone = append(report.Undone, explainedSite(s, e))
				}
			}
			if len(report.Undone) == was {
				continue
			}
		} else {
			report.Explained = append(report.Explained, explainedSite(s, d))
		}
		said = append(said, ledger.Said{Object: s.Object, Decision: d})
	}
	switch {
	case d.What == manifest.Withdrawn && len(said) == 0:
		return nil, fmt.Errorf("%w, for nothing of that is explained; to see the years: `linecamp verify --only years`", ErrUndo)
	case d.What == manifest.Explained && d.Path == "" && t != nil:
		report.Notes, err = sensible(a, k, t, &d, sites)
	}
	return said, err
}

// decided is what is on file about each of the sites, recorded or not yet.
func decided(a *archive.Archive, k *archive.Known, sites []verify.Site) (map[string][]manifest.Decision, error) {
	all := map[string][]manifest.Decision{}
	for _, s := range sites {
		_, rec, err := k.Object(s.Object)
		if err != nil {
			return nil, err
		}
		if rec != nil {
			all[s.Object] = slices.Clone(rec.Decisions)
		}
	}
	said, err := a.Ledger.Said()
	if err != nil {
		return nil, fmt.Errorf("the ledger: %w", err)
	}
	for _, s := range said {
		all[s.Object] = append(all[s.Object], s.Decision)
	}
	return all, nil
}

func orNone(s []string) []string {
	if s == nil {
		return []string{}
	}
	return s
}

// explainedYears reads "2009,2013-2015".
func explainedYears(text string, now time.Time) (years []string, err error) {
	for part := range strings.SplitSeq(text, ",") {
		part = strings.TrimSpace(part)
		from, to, ranged := strings.Cut(part, "-")
		if !ranged {
			to = from
		}
		first, err1 := time.Parse("2006", from)
		last, err2 := time.Parse("2006", to)
		switch {
		case err1 != nil || err2 != nil:
			return nil, fmt.Errorf("%w: %q is no year and no range of years; write 2014, 2013-2015 or 2009,2014", ErrExplain, part)
		case last.Before(first):
			return nil, fmt.Errorf("%w: %s ends before it begins", ErrExplain, part)
		case first.Year() < 1826 || last.Year() > now.Year():
			return nil, fmt.Errorf("%w: %s is not in the time of photographs until now", ErrExplain, part)
		}
		years = append(years, part)
	}
	return years, nil
}

// meant finds the sites that are meant among those on record, and settles the
// decision's path.
func meant(a *archive.Archive, k *archive.Known, o ExplainOptions, d *manifest.Decision) ([]verify.Site, error) {
	var sites, below []verify.Site
	want := inFolder(a, o.Path)
	for inv, rec := range k.Pairs() {
		s := verify.SiteOf(inv.Slug(), rec)
		if o.Path != "" {
			for logical := range rec.Paths {
				if verify.WorkingPath(rec, logical) == want {
					d.Path = want
					return []verify.Site{s}, nil
				}
			}
			continue
		}
		if manifest.Unfiled(s.Object) {
			continue
		}
		sites = append(sites, s)
		if manifest.Folded(s.Pasture) == manifest.Folded(strings.Trim(o.Pasture, "/ ")) {
			below = append(below, s)
		}
	}
	if err := k.Ctx.Err(); err != nil {
		return nil, err
	}
	switch {
	case o.Path != "":
		return nil, fmt.Errorf("%w: no version has recorded a file %s; a site's years are explained by SITE YEARS REASON, and a new file after the next `linecamp mirror`", ErrExplain, verify.Shown(want))
	case o.Pasture != "" && len(below) == 0:
		return nil, fault.Say(history.ErrNoSite, "no recorded site lies in a pasture named %q", o.Pasture)
	case o.Pasture != "":
		return below, nil
	}
	s, err := history.Find(sites, o.Site)
	return []verify.Site{s}, err
}

// inFolder makes a path on this computer one in the working folder, if it is.
func inFolder(a *archive.Archive, p string) string {
	if abs, err := filepath.Abs(p); err == nil {
		if rel, err := filepath.Rel(a.Config.Folder, abs); err == nil && filepath.IsLocal(rel) {
			return filepath.ToSlash(rel)
		}
	}
	return path.Clean(filepath.ToSlash(p))
}
