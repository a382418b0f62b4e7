package main

import (
	"context"
	"fmt"
	"slices"
	"sort"
	"strings"

	"linecamp/cmd/ranchdemo/ranch"
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

// checkYears holds how the years were judged against what was to be found.
func (s *story) checkYears(years []verify.Year, want []finding) {
	missed, extra := compare(want, foundIn(years))
	for _, f := range missed {
		s.expect(false, "found: %s. It was drawn or broken, and not reported.", f)
	}
	for _, f := range extra {
		s.expect(false, "right: %s. It was reported, and neither drawn nor broken.", f)
	}
	s.expect(len(missed)+len(extra) == 0, "the years are told as they are.")
}

// checkCopies holds what was read back against what was drawn; want is the damage
// expected, by copy.
func (s *story) checkCopies(copies []toldCopy, want map[string]int) {
	for _, c := range copies {
		s.expect(c.Error == "", "%s is checked to its end: %s", c.Copy, c.Error)
		s.expect(c.ReadBack.Files+len(c.Damage) == c.Files, "every file of %s is read back; %d of %d are.", c.Copy, c.ReadBack.Files, c.Files)
		s.expect(len(c.Damage) == want[c.Copy], "%s has %d damaged files; %d were reported: %v", c.Copy, want[c.Copy], len(c.Damage), c.Damage)
	}
}

func (s *story) verifySound(ctx context.Context) error {
	if err := s.screen(ctx, 4, "verify"); err != nil {
		return err
	}
	return s.checkSound(ctx)
}

// checkSound: nothing is damaged, everything is there, and the years lack what was
// drawn to be lacking.
func (s *story) checkSound(ctx context.Context) error {
	r, err := s.linecamp.ask(ctx, "verify")
	if err != nil {
		return err
	}
	s.checkCopies(r.Copies, nil)
	s.expect(len(r.Copies) == 3, "two copies and the folder are checked; %d are.", len(r.Copies))
	for _, c := range r.Copies {
		s.expect(c.Files == s.all(), "%s has all %d files; it has %d.", c.Copy, s.all(), c.Files)
	}
	s.checkYears(r.Years, flawsOf(s.ranch.Flaws))
	for _, f := range r.Findings {
		s.expect(false, "right: %s %s: %s. It was reported, and not drawn.", f.Site, f.Visit, f.Text)
	}
	return nil
}

func (s *story) verifyBroken(ctx context.Context) error {
	if err := s.screen(ctx, 11, "verify"); err != nil {
		return err
	}
	r, err := s.linecamp.ask(ctx, "verify")
	if err != nil {
		return err
	}
	s.checkCopies(r.Copies, map[string]int{driveName: 1})
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
	return nil
}

func (s *story) mend(ctx context.Context) error {
	if err := s.screen(ctx, 4, "mend"); err != nil {
		return err
	}
	ok, err := s.harm.mended()
	s.expect(ok, "the picture on the drive is the one that was drawn, byte for byte.")
	return err
}

// verifyAgain records the year that came home, and looks at everything again.
func (s *story) verifyAgain(ctx context.Context) error {
	if err := s.screen(ctx, 3, "mirror"); err != nil {
		return err
	}
	if err := s.nothingToSend(ctx); err != nil {
		return err
	}
	return s.checkSound(ctx)
}
