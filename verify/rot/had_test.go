package rot_test

import (
	"os"
	"path/filepath"
	"slices"
	"testing"

	"linecamp/manifest/seal"
	"linecamp/verify"
	"linecamp/verify/rot"
	"linecamp/verify/verifytest"
)

// What a copy is known to have held and does not have is damage; what it never
// had, it is behind on.
func TestWhatACopyHadAndLacksIsDamage(t *testing.T) {
	const slug = "windmill--stake-3"
	for name, c := range map[string]struct {
		had, lines  int
		kinds       []string // of the findings
		behind, top int
	}{
		"nothing is known":         {0, 0, nil, 1, 0},
		"it had the first version": {1, 0, []string{verify.Gone}, 1, 1},
		"it had both":              {2, 2, []string{verify.Altered, verify.Gone}, 0, 2},
	} {
		r := verifytest.New(t, 2)
		state := verifytest.State{"2020-06-20/plot.jpg": verifytest.Photo("2020-06-20/plot.jpg", verifytest.Day(2020, 6, 20))}
		r.Version(verifytest.Stake, verifytest.Day(2020, 7, 1), state)
		state["2021-06-20/plot.jpg"] = verifytest.Photo("2021-06-20/plot.jpg", verifytest.Day(2021, 6, 20))
		r.Version(verifytest.Stake, verifytest.Day(2021, 7, 1), state)
		if err := os.RemoveAll(filepath.Join(r.Dirs[0], slug)); err != nil {
			t.Fatal(err)
		}
		log := filepath.Join(r.Dirs[0], seal.File(0))
		b, err := os.ReadFile(log)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(log, b[:len(b)/2], 0o666); err != nil { // the first of two lines
			t.Fatal(err)
		}
		o := r.Options()
		o.HadLines = c.lines
		if c.had > 0 {
			o.Had = map[string]int{slug: c.had}
		}
		rep, err := rot.Check(t.Context(), r.Copies[0], o)
		if err != nil {
			t.Fatal(err)
		}
		var kinds []string
		for _, d := range rep.Damage {
			kinds = append(kinds, d.Kind)
		}
		slices.Sort(kinds)
		if kinds = slices.Compact(kinds); !slices.Equal(kinds, c.kinds) || len(rep.Behind) != c.behind || rep.Heads[slug] != c.top {
			t.Errorf("%s: damage %v, behind %v, newest %d", name, kinds, rep.Behind, rep.Heads[slug])
		}
	}
}
