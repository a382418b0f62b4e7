package main

import (
	"bytes"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"linecamp/cmd/ranchdemo/ranch"
	"linecamp/daemon"
	"linecamp/daemon/show/text"
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
	odd, err := s.ranch.MakeOdd(ctx, s.at.ranch(), s.began.Add(-time.Hour))
	if err != nil {
		return err
	}
	_, err = s.archive.Explain(ctx, daemon.ExplainOptions{Site: explainedSite, Years: fmt.Sprint(explainedYear), Why: explainedWhy, Who: "the practice ranch"}, nil)
	if err != nil {
		return err
	}
	s.say("One of each is put into the folder, and why nobody came in %d is put on file:", explainedYear)
	s.command("explain", explainedSite, fmt.Sprint(explainedYear), explainedWhy)
	if _, err := s.archive.Mirror(ctx, daemon.MirrorOptions{}, nil); err != nil {
		return err
	}
	r, err := s.archive.Verify(ctx, daemon.VerifyOptions{Only: "years"}, nil)
	if err != nil {
		return err
	}
	s.command("verify", "--only", "years")
	s.checkFindings(r.Findings, odd)
	want := flawsOf(s.ranch.Flaws)
	for i, f := range want {
		if f.site == explainedSite && f.year == explainedYear {
			want[i].state = verify.Explained
		}
	}
	for _, a := range r.Alike {
		s.expect(false, "right: whether %s is %s is asked, and their cards say so.", a.Now.Site, a.Former.Site)
	}
	closed := ranch.Closed
	s.checkYears(r.Years, sorted(append(want, finding{closed.Pasture, closed.Site, closed.Year, verify.Explained, ""})))
	var lone []ranch.SiteYear
	for _, y := range r.Years {
		if y.Baseline {
			lone = append(lone, ranch.SiteYear{Pasture: y.Pasture, Site: y.Site, Year: y.Year})
		}
	}
	s.expect(slices.Equal(lone, []ranch.SiteYear{ranch.Baseline}), "the one baseline is %s, %d; no years are counted from there.", ranch.Baseline.Site, ranch.Baseline.Year)
	s.say("The years, as linecamp draws them:")
	var report bytes.Buffer
	text.Print(&report, r)
	const legend = "none expected"
	grid, _, _ := strings.Cut(report.String(), legend)
	for _, l := range strings.Split(grid+legend, "\n")[2:] {
		fmt.Fprintln(s.out, l)
	}
	return nil
}

// checkFindings tells what was found, and whether it is what was put there.
func (s *story) checkFindings(found []verify.Finding, odd []ranch.Odd) {
	name := func(kind, site, visit string, note bool, files []string) string {
		files = slices.Sorted(slices.Values(files))
		return strings.Join(append([]string{kind, site, visit, fmt.Sprint(note)}, files...), "\x00")
	}
	var want []string
	says := map[string]string{}
	for _, o := range odd {
		if o.Kind == "" {
			s.say("  %-13s %s: %s", "(no finding)", o.Site, o.What)
			continue
		}
		s.say("  %-13s %s", o.Kind, strings.TrimPrefix(o.Site+": "+o.What, ": "))
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
	if len(want)+len(extra) == 0 {
		s.expect(true, "%d findings, each of them put there, and nothing else.", len(found))
	}
}
