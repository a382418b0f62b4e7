package main

import (
	"context"
	"fmt"
	"slices"
	"sort"
	"strings"

	"linecamp/cmd/ranchdemo/ranch"
	"linecamp/daemon"
	"linecamp/daemon/mirror"
	"linecamp/verify"
)

// finding is one year of one site that is not whole, as drawn or as reported.
type finding struct {
	pasture, site string
	year          int
	state         string
	lacks         string // views and "note", comma-separated
}

func (f finding) String() string {
	text := fmt.Sprintf("%s %d: ", f.site, f.year)
	switch f.state {
	case verify.Skipped:
		return text + "nobody came"
	case verify.Short:
		return text + "no " + f.lacks
	}
	return text + f.state
}

// flawsOf is what verify should say of the drawn flaws.
func flawsOf(f ranch.Flaws) []finding {
	var all []finding
	add := func(list []ranch.SiteYear, state, lacks string) {
		for _, y := range list {
			all = append(all, finding{y.Pasture, y.Site, y.Year, state, lacks})
		}
	}
	add(f.Skipped, verify.Skipped, "")
	add(f.NoLandscape, verify.Short, "landscape")
	add(f.NoNote, verify.Short, "note")
	return sorted(all)
}

// foundIn is what verify did say: every year that is not whole, but for those
// whose season is not over.
func foundIn(years []verify.Year) []finding {
	var all []finding
	for _, y := range years {
		if y.State == verify.Whole || y.State == verify.Due {
			continue
		}
		f := finding{y.Pasture, y.Site, y.Year, y.State, ""}
		if y.State == verify.Short {
			f.lacks = strings.Join(y.Lacks, ", ")
		}
		all = append(all, f)
	}
	return sorted(all)
}

func sorted(all []finding) []finding {
	sort.Slice(all, func(i, k int) bool {
		a, b := all[i], all[k]
		return a.year < b.year || a.year == b.year && a.site < b.site
	})
	return all
}

// compare holds findings against what was to be found, both ways.
func compare(want, found []finding) (missed, extra []finding) {
	for _, w := range want {
		if !slices.Contains(found, w) {
			missed = append(missed, w)
		}
	}
	for _, f := range found {
		if !slices.Contains(want, f) {
			extra = append(extra, f)
		}
	}
	return missed, extra
}

// checkYears tells how the years were judged, and whether rightly.
func (s *story) checkYears(years []verify.Year, want []finding) {
	found := foundIn(years)
	sites := map[string]bool{}
	for _, y := range years {
		sites[y.Site] = true
	}
	s.say("%d years of %d sites judged; %d are not whole:", len(years), len(sites), len(found))
	for _, f := range found {
		s.say("  %s", f)
	}
	missed, extra := compare(want, found)
	for _, f := range missed {
		s.expect(false, "found: %s. It was drawn or broken, and not reported.", f)
	}
	for _, f := range extra {
		s.expect(false, "right: %s. It was reported, and neither drawn nor broken.", f)
	}
	if len(missed)+len(extra) == 0 {
		s.expect(true, "that is exactly what is really lacking.")
	}
}

// checkCopies tells what was read back; want is damage expected, by copy.
func (s *story) checkCopies(r verify.Report, want map[string]int) {
	for _, c := range r.Copies {
		s.say("%s: %d files, %d read back and right, %d damaged.", c.Copy, c.Files, c.ReadBack.Files, len(c.Damage))
		for _, d := range c.Damage {
			s.say("  %s: %s", d.Path, d.Kind)
		}
		if c.Error != "" {
			s.expect(false, "%s was checked to its end: %s", c.Copy, c.Error)
		}
		if len(c.Damage) != want[c.Copy] {
			s.expect(false, "%s has %d damaged files; %d were reported.", c.Copy, want[c.Copy], len(c.Damage))
		}
	}
}

func (s *story) verifySound(ctx context.Context) error {
	r, err := s.archive.Verify(ctx, daemon.VerifyOptions{}, nil)
	if err != nil {
		return err
	}
	s.checkCopies(r.Report, nil)
	s.checkYears(r.Years, flawsOf(s.ranch.Flaws))
	for _, f := range r.Findings {
		s.expect(false, "right: %s %s: %s. It was reported, and not drawn.", f.Site, f.Visit, f.Text)
	}
	s.command("verify")
	return nil
}

func (s *story) verifyBroken(ctx context.Context) error {
	r, err := s.archive.Verify(ctx, daemon.VerifyOptions{}, nil)
	if err != nil {
		return err
	}
	s.checkCopies(r.Report, map[string]int{driveName: 1})
	rot := false
	for _, c := range r.Copies {
		for _, d := range c.Damage {
			rot = rot || c.Copy == driveName && d.Kind == verify.Altered && d.Path == s.harm.rotten
		}
	}
	s.expect(rot, "the flipped bit is found, in the right picture of the right copy.")
	gone := s.harm.gone
	s.checkYears(r.Years, sorted(append(flawsOf(s.ranch.Flaws),
		finding{gone.Site.Pasture, gone.Site.Name, gone.Year, verify.Recoverable, ""})))
	s.command("verify")
	return nil
}

func (s *story) mend(ctx context.Context) error {
	r, err := s.archive.Mend(ctx, daemon.MendOptions{}, nil)
	if err != nil {
		return err
	}
	for _, m := range r.Mended {
		s.say("%s: %s has good bytes again, from %s.", m.Copy, m.Path, m.From)
	}
	for _, u := range r.Unmended {
		s.expect(false, "%s on %s is mended: %s", u.Path, u.Copy, u.Reason)
	}
	ok, err := s.harm.mended()
	if err != nil {
		return err
	}
	s.expect(len(r.Mended) == 1 && ok, "the picture on the drive is the one that was drawn, byte for byte.")
	s.command("mend")
	return nil
}

// verifyAgain records the year that came home, and looks at everything again.
func (s *story) verifyAgain(ctx context.Context) error {
	m, err := s.archive.Mirror(ctx, daemon.MirrorOptions{}, nil)
	if err != nil {
		return err
	}
	s.say("A mirror records the year that came home.")
	for _, c := range m.Copies {
		s.expect(c.State == mirror.Current && c.Bytes == 0, "%s knows of it and was sent %d bytes, for it has them already.", c.Copy, c.Bytes)
	}
	s.command("mirror")
	r, err := s.archive.Verify(ctx, daemon.VerifyOptions{}, nil)
	if err != nil {
		return err
	}
	s.checkCopies(r.Report, nil)
	all := s.drawn.Photos + s.drawn.Notes
	for _, c := range r.Copies {
		if c.Files != all {
			s.expect(false, "%s has all %d files; it has %d.", c.Copy, all, c.Files)
		}
	}
	s.checkYears(r.Years, flawsOf(s.ranch.Flaws))
	s.command("verify")
	return nil
}
