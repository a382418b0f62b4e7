package leveled

import (
	"slices"
	"strings"
	"testing"
	"time"

	"linecamp/daemon/levels"
)

// The evidence says in words what the answer says, and says nothing twice.
func TestEvidence(t *testing.T) {
	now := time.Date(2026, 11, 26, 12, 0, 0, 0, time.UTC)
	kept := func() levels.Facts {
		week := now.AddDate(0, 0, -7)
		return levels.Facts{
			Now: now, Recorded: 10, Sealed: 30, LastVerify: week, Scheduled: true, Deep: week, Sheet: week,
			Copies: []levels.Copy{
				{Name: "shelf-drive", Where: "tack room", Whole: true, Files: 100, ReadBack: 100, Oldest: week},
				{Name: "bucket", Where: "us-west-2", Bucket: true, Whole: true, Files: 100, ReadBack: 100, Oldest: week},
			},
		}
	}
	one := kept()
	one.Recorded, one.Copies = 1, one.Copies[:1]
	for name, c := range map[string]struct {
		f          levels.Facts
		area       string
		has, never []string
	}{
		"nothing recorded": {levels.Facts{Now: now, Copies: kept().Copies}, "metadata", []string{"(not met: nothing is recorded yet)"}, []string{"0 sites", "each of 2"}},
		"one of each":      {one, "metadata", []string{"of 1 site,", "on the one copy"}, []string{"1 sites", "1 copies"}},
		"no place": {func() levels.Facts { f := kept(); f.Copies[0].Where = ""; return f }(), "storage",
			[]string{"(not met: the settings say of 1 of 2 copies where it is kept; the recovery sheet"}, []string{"(not met: the recovery sheet"}},
		"a person's": {kept(), "control", []string{"(not known)"}, []string{"not known to"}},
	} {
		var b strings.Builder
		r := levels.Of("saltbush-draw", c.f)
		r.Areas = slices.DeleteFunc(r.Areas, func(a levels.Area) bool { return a.Area != c.area })
		Print(&b, r)
		for _, s := range c.has {
			if !strings.Contains(b.String(), s) {
				t.Errorf("%s: %q is not said in\n%s", name, s, &b)
			}
		}
		for _, s := range c.never {
			if strings.Contains(b.String(), s) {
				t.Errorf("%s: %q is said in\n%s", name, s, &b)
			}
		}
		lines := strings.Split(b.String(), "\n")
		for i, l := range lines {
			if strings.TrimSpace(l) != "" && slices.Contains(lines[:i], l) {
				t.Errorf("%s: said twice: %s", name, l)
			}
		}
	}
}
