package main

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"linecamp/cmd/ranchdemo/ranch"
	"linecamp/cmd/ranchdemo/ranch/odd"
	"linecamp/verify"
)

// The year that was skipped, which somebody explains.
const (
	explainedSite, explainedYear = "Cottonwood Stake 3", 2014
	explainedWhy                 = "the draw crossing was washed out until October"
)

// oddThings puts one oddity of each kind into the folder, puts the reason for a
// skipped year on file, and holds what is found against that.
func (s *story) oddThings(ctx context.Context) error {
	put, err := odd.Make(ctx, s.ranch, s.at.ranch(), s.began.Add(-time.Hour))
	if err != nil {
		return err
	}
	s.say("\nOne oddity of each kind is put into the folder:")
	for _, o := range put {
		s.say("  %-13s %s", cmp.Or(o.Kind, "(no finding)"), strings.TrimPrefix(o.Site+": "+o.What, ": "))
	}
	if err := s.screen(ctx, 3, "explain", explainedSite, fmt.Sprint(explainedYear), explainedWhy, "--who", "the practice ranch"); err != nil {
		return err
	}
	if _, err := s.linecamp.ask(ctx, "mirror"); err != nil {
		return err
	}
	if err := s.screen(ctx, 99, "verify", "--only", "years"); err != nil {
		return err
	}
	r, err := s.linecamp.ask(ctx, "verify", "--only", "years")
	if err != nil {
		return err
	}
	s.checkFindings(r.Findings, put)
	want := flawsOf(s.ranch.Flaws)
	for i, f := range want {
		if f.site == explainedSite && f.year == explainedYear {
			want[i].state = verify.Explained
		}
	}
	for _, a := range r.Alike {
		s.expect(false, "right: whether %s is %s is asked, and their cards say so.", a.Now.Site, a.Former.Site)
	}
	closed := odd.Closed
	s.checkYears(r.Years, sorted(append(want, finding{closed.Pasture, closed.Site, closed.Year, verify.Explained, ""})))
	var lone []ranch.SiteYear
	for _, y := range r.Years {
		if y.Baseline {
			lone = append(lone, ranch.SiteYear{Pasture: y.Pasture, Site: y.Site, Year: y.Year})
		}
	}
	s.expect(slices.Equal(lone, []ranch.SiteYear{odd.Baseline}), "the one baseline is %s, %d; no years are counted from there.", odd.Baseline.Site, odd.Baseline.Year)
	return nil
}

// checkFindings holds what was found against what was put there.
func (s *story) checkFindings(found []verify.Finding, put []odd.Oddity) {
	name := func(kind, site, visit string, note bool, files []string) string {
		files = slices.Sorted(slices.Values(files))
		return strings.Join(append([]string{kind, site, visit, fmt.Sprint(note)}, files...), "\x00")
	}
	var want []string
	says := map[string]string{}
	for _, o := range put {
		if o.Kind == "" {
			continue
		}
		n := name(o.Kind, o.Site, o.Visit, o.Note, o.Files)
		want, says[n] = append(want, n), o.Says
	}
	var extra []string
	for _, f := range found {
		n := name(f.Kind, f.Site, f.Visit, f.Note, f.Paths)
		i := slices.Index(want, n)
		if i < 0 || !strings.Contains(f.Text, says[n]) {
			extra = append(extra, fmt.Sprintf("%s, %s %s: %s %q", f.Kind, f.Site, f.Visit, f.Text, f.Paths))
			continue
		}
		want = slices.Delete(want, i, i+1)
	}
	for _, w := range want {
		s.expect(false, "found: %s. It was put there, and not reported.", strings.ReplaceAll(w, "\x00", " "))
	}
	for _, e := range extra {
		s.expect(false, "right: %s. It was reported, and not put there.", e)
	}
	s.expect(len(want)+len(extra) == 0, "what was put there is found, and nothing else.")
	s.say("\n%d findings: each was put there, and nothing else was found: %t.", len(found), len(want)+len(extra) == 0)
}
