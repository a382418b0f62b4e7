package rot_test

import (
	"context"
	"os"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"linecamp/manifest/seal"
	"linecamp/verify"
	"linecamp/verify/rot"
	"linecamp/verify/verifytest"
)

// A bit of the seal that flipped is damage where this machine's seal and another
// copy's both tell; where nobody seconds, it is a rewritten seal, and another digest is
// another history.
func TestRotSealBent(t *testing.T) {
	alone := func(o rot.Options) rot.Options { o.Seconded = nil; return o }
	same := func(o rot.Options) rot.Options { return o }
	for name, tt := range map[string]struct {
		digits, copies int
		options        func(rot.Options) rot.Options
		why            string
	}{
		"one digit":                {1, 2, same, "a few of its bytes"},
		"one digit, no other copy": {1, 1, same, verify.Rewritten},
		"one digit, nobody asked":  {1, 2, alone, verify.Rewritten},
		"a whole digest":           {64, 2, same, verify.OtherHistory},
	} {
		t.Run(name, func(t *testing.T) {
			r := ranch(t, tt.copies)
			r.BendSeal(0, tt.digits)
			rep := checked(t, r.Copies[0], tt.options(r.Options()))
			if len(rep.Damage) != 1 {
				t.Fatalf("found %+v", rep.Damage)
			}
			d := rep.Damage[0]
			if d.Kind != verify.Altered || d.Path != verify.SealPath || d.Content != seal.File(0) || !strings.HasPrefix(d.Detail, tt.why) {
				t.Errorf("found %+v", d)
			}
		})
	}
}

// A version folder whose number nobody counted up to is not counted up to here.
func TestRotVersionFromNowhere(t *testing.T) {
	r := ranch(t, 1)
	verifytest.Write(t, r.Path(0, "windmill--stake-3/v999999999/inventory.json"), []byte("{}"), time.Now())
	verifytest.Write(t, r.Path(0, "windmill--stake-3/v999999999/inventory.json.sha256"), []byte("x"), time.Now())
	// Nor is one borne out by another site's folder that was put there.
	creek := verifytest.Site{Slug: "creek--stake-1", Site: "Stake 1", Pasture: "Creek", Base: "Creek/Stake 1"}
	for i := range 7 {
		r.Version(creek, verifytest.Day(2022+i, 7, 1), verifytest.Visits(2022+i), 0)
	}
	if err := os.CopyFS(r.Path(0, "windmill--stake-3/v7"), os.DirFS(r.Path(0, "creek--stake-1/v7"))); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	c := r.Copies[0]
	var opened atomic.Int64
	c.Root = &failing{c.Root, func(string) bool {
		if opened.Add(1) > 1000 {
			cancel()
		}
		return false
	}}
	for name, o := range map[string]rot.Options{"with the archive's manifests": r.Options(), "alone": {Allowance: -1}} {
		o.Workers = 1
		rep, err := rot.Check(ctx, c, o)
		if err != nil || len(rep.Damage) != 0 {
			t.Errorf("%s: %v, %+v", name, err, rep.Damage)
		}
	}
}

// A site's folder that somebody copied beside it is one stray folder.
func TestRotCopiedFolder(t *testing.T) {
	r := ranch(t, 1)
	if err := os.CopyFS(r.Path(0, "windmill--stake-3-copy"), os.DirFS(r.Path(0, "windmill--stake-3"))); err != nil {
		t.Fatal(err)
	}
	rep := checked(t, r.Copies[0], r.Options())
	if got := found(rep); !slices.Equal(got, []string{"stray windmill--stake-3-copy/ v0"}) {
		t.Errorf("found %q", got)
	}
	if rep.Files != 9 {
		t.Errorf("%d files", rep.Files)
	}
}
