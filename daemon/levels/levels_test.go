package levels

import (
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

var now = time.Date(2026, 11, 28, 9, 0, 0, 0, time.UTC)

// kept is an archive about which linecamp knows nothing but good.
func kept() Facts {
	week := now.AddDate(0, 0, -7)
	return Facts{
		Now: now, Recorded: 10, Sealed: 30, LastVerify: week, Scheduled: true, Deep: week, Sheet: week,
		Copies: []Copy{
			{Name: "shelf-drive", Where: "tack room", Whole: true, Files: 100, ReadBack: 100, Oldest: week},
			{Name: "bucket", Where: "us-west-2", Bucket: true, Whole: true, Files: 100, ReadBack: 100, Oldest: week},
		},
	}
}

func of(f Facts) map[string]Area {
	all := map[string]Area{}
	for _, a := range Of("saltbush-draw", f).Areas {
		all[a.Area] = a
	}
	return all
}

// The level of an area falls as soon as one thing is not so, and comes no higher
// than what only a person can answer lets it. The grid is that of the NDSA Levels
// of Digital Preservation, version 2 (2019); what each level asks for is from
// memory of it.
func TestLevels(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*Facts)
		area   string
		level  int
		next   string
	}{
		"storage, all known is good":         {func(*Facts) {}, "storage", 2, "storm"},
		"storage, no third copy":             {func(f *Facts) { f.Copies = f.Copies[:1] }, "storage", 1, "third complete copy"},
		"storage, the second is behind":      {func(f *Facts) { f.Copies[1].Whole = false }, "storage", 1, "third complete copy"},
		"storage, nobody says where":         {func(f *Facts) { f.Copies[0].Where = "" }, "storage", 1, "recovery sheet"},
		"storage, a drive of no place":       {func(f *Facts) { f.Copies = f.Copies[:1]; f.Copies[0].Where = "" }, "storage", 0, "another place"},
		"storage, no copy":                   {func(f *Facts) { f.Copies = nil }, "storage", 0, "another place"},
		"integrity waits for a person":       {func(*Facts) {}, "integrity", 0, "camera cards"},
		"control is a person's":              {func(*Facts) {}, "control", 0, "agree"},
		"metadata, all known is good":        {func(*Facts) {}, "metadata", 2, "tally"},
		"metadata, nothing recorded":         {func(f *Facts) { f.Recorded = 0 }, "metadata", 0, "linecamp mirror"},
		"content, decoded":                   {func(*Facts) {}, "content", 1, "photographers"},
		"content, never decoded":             {func(f *Facts) { f.Deep = time.Time{} }, "content", 1, "--deep"},
		"content, nothing recorded, decoded": {func(f *Facts) { f.Recorded = 0 }, "content", 0, "linecamp mirror"},
	} {
		f := kept()
		c.change(&f)
		if a := of(f)[c.area]; a.Level != c.level || !strings.Contains(a.Next, c.next) {
			t.Errorf("%s: level %d, next %q; want %d, %q", name, a.Level, a.Next, c.level, c.next)
		}
	}
	for asks, change := range map[string]func(*Facts){
		"fixed times":            func(f *Facts) { f.Copies[1].ReadBack = 99 },
		"everything is checked":  func(f *Facts) { f.Copies[0].Oldest = now.AddDate(-2, 0, 0) },
		"checked at fixed times": func(f *Facts) { f.Scheduled = false },
		"is replaced":            func(f *Facts) { f.Damaged = 1 },
		"outcome":                func(f *Facts) { f.LastVerify = time.Time{} },
	} {
		f := kept()
		change(&f)
		for _, p := range of(f)["integrity"].Points {
			if strings.Contains(p.Asks, asks) && p.Answer != NotMet {
				t.Errorf("%q is said to be %s", p.Asks, p.Answer)
			}
		}
		for _, p := range of(kept())["integrity"].Points {
			if strings.Contains(p.Asks, asks) && p.Answer != Met {
				t.Errorf("where all is well, %q is said to be %s", p.Asks, p.Answer)
			}
		}
	}
}

// Whatever is known: no level is claimed over something that is not met, and each
// area below the top names its next step.
func TestNoLevelIsClaimed(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		when := rapid.Custom(func(rt *rapid.T) time.Time {
			if rapid.Bool().Draw(rt, "never") {
				return time.Time{}
			}
			return now.AddDate(0, 0, -rapid.IntRange(0, 1000).Draw(rt, "days"))
		})
		f := Facts{
			Now: now, Recorded: rapid.IntRange(0, 3).Draw(rt, "recorded"), Sealed: rapid.IntRange(0, 3).Draw(rt, "sealed"),
			LastVerify: when.Draw(rt, "verify"), Scheduled: rapid.Bool().Draw(rt, "service"), Damaged: rapid.IntRange(0, 2).Draw(rt, "damaged"),
			Deep: when.Draw(rt, "deep"), Sheet: when.Draw(rt, "sheet"),
			Copies: rapid.SliceOfN(rapid.Custom(func(rt *rapid.T) Copy {
				return Copy{Name: "c", Bucket: rapid.Bool().Draw(rt, "bucket"), Where: rapid.SampledFrom([]string{"", "barn"}).Draw(rt, "where"), Whole: rapid.Bool().Draw(rt, "whole"),
					Files: 2, ReadBack: rapid.IntRange(0, 2).Draw(rt, "read"), Oldest: when.Draw(rt, "oldest")}
			}), 0, 4).Draw(rt, "copies"),
		}
		for _, a := range Of("x", f).Areas {
			for _, p := range a.Points {
				if p.Level <= a.Level && p.Answer != Met {
					rt.Fatalf("%s is called level %d, and %q is %s", a.Area, a.Level, p.Asks, p.Answer)
				}
			}
			if a.Level < 4 && a.Next == "" {
				rt.Fatalf("%s at level %d has no next step", a.Area, a.Level)
			}
		}
	})
}

// A practice recovery that passed is evidence that checks are on file.
func TestDrillsAreEvidence(t *testing.T) {
	f := kept()
	if text := evidence(f, "outcome are on file"); !strings.Contains(text, "no practice recovery has passed yet") {
		t.Error(text)
	}
	f.Copies[1].Drilled = now.AddDate(0, 0, -3)
	if text := evidence(f, "outcome are on file"); !strings.Contains(text, "passed from 1 of 2 copies, the last on November 25, 2026") {
		t.Error(text)
	}
}

func evidence(f Facts, asks string) string {
	for _, p := range of(f)["integrity"].Points {
		if strings.Contains(p.Asks, asks) {
			return p.Evidence
		}
	}
	return ""
}
