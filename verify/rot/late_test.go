package rot_test

import (
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/verify"
	"linecamp/verify/verifytest"
)

// parted has one version of a site on two copies and a second that differs on each:
// the first copy's is of another history, x, and its seal is replaced by the other's.
func parted(t *testing.T) (r *verifytest.Ranch, x *seal.Seal) {
	r = verifytest.New(t, 2)
	r.Version(verifytest.Stake, verifytest.Day(2020, 7, 1), verifytest.Visits(2019))
	common, heads, copies := r.Seal.Clone(), maps.Clone(r.Heads), r.Copies
	r.Copies = copies[:1]
	r.Version(verifytest.Stake, verifytest.Day(2021, 7, 1), verifytest.Visits(2019, 2021))
	x, r.Seal, r.Heads, r.Copies = r.Seal, common, heads, copies[1:]
	r.Version(verifytest.Stake, verifytest.Day(2021, 7, 2), verifytest.Visits(2019, 2020))
	r.Copies = copies
	if err := r.Seal.Append(seal.Line{At: verifytest.Day(2021, 8, 1), What: seal.Late, Lines: x.Len(), Log: x.Digest(), Why: "met on drive1"}); err != nil {
		t.Fatal(err)
	}
	if err := store.ReplaceSeal(t.Context(), copies[0].Root, r.Seal); err != nil {
		t.Fatal(err)
	}
	return r, x
}

func lateFile(r *verifytest.Ranch, copy int, log *seal.Seal) string {
	return r.Path(copy, store.LateFolder+"/"+log.Digest().String()+".txt")
}

func TestRotCallsAVersionOfAnotherHistoryBehind(t *testing.T) {
	r, x := parted(t)
	behind := []verify.Behind{{Object: "windmill--stake-3", Site: "Stake 3", Have: 1, Want: 2}}
	rep := checked(t, r.Copies[0], r.Options())
	if len(rep.Damage) != 0 || !slices.Equal(rep.Behind, behind) || rep.Heads["windmill--stake-3"] != 1 || len(rep.Standard) != 0 {
		t.Errorf("damage %q, behind %+v, heads %v, standard %q", found(rep), rep.Behind, rep.Heads, rep.Standard)
	}
	if rep.ReadBack.Files != 6 {
		t.Errorf("%d files were read back: its bytes are checked, too", rep.ReadBack.Files)
	}
	// Rot in it is damage all the same.
	verifytest.Flip(t, r.Path(0, "windmill--stake-3/v2/content/2021-06-21/plot.jpg"))
	if rep := checked(t, r.Copies[0], r.Options()); !slices.Equal(found(rep), []string{"altered Windmill/Stake 3/2021-06-21/plot.jpg v2"}) {
		t.Errorf("found %q", found(rep))
	}
	// Where nothing names it, somebody wrote it.
	if err := os.Remove(lateFile(r, 0, x)); err != nil {
		t.Fatal(err)
	}
	rep = checked(t, r.Copies[0], r.Options())
	if got := found(rep); !slices.Contains(got, "altered .linecamp/inventory v2") || len(rep.Behind) != 0 {
		t.Errorf("found %q, behind %+v", got, rep.Behind)
	}
}

func TestRotCallsALostVersionThatTurnedUpBehind(t *testing.T) {
	r := verifytest.New(t, 2)
	r.Version(verifytest.Stake, verifytest.Day(2020, 7, 1), verifytest.Visits(2019))
	first := r.Heads["windmill--stake-3"]
	r.Version(verifytest.Stake, verifytest.Day(2021, 7, 1), verifytest.Visits(2019, 2021), 0)
	id := r.Heads["windmill--stake-3"].ID
	if err := r.Seal.Append(seal.Line{At: verifytest.Day(2021, 7, 2), What: seal.Lost, Object: id, Version: 2, Why: "test"}); err != nil {
		t.Fatal(err)
	}
	r.Heads["windmill--stake-3"] = first
	r.Version(verifytest.Stake, verifytest.Day(2021, 7, 3), verifytest.Visits(2019, 2020), 1)
	rep := checked(t, r.Copies[0], r.Options())
	if len(rep.Damage) != 0 || len(rep.Behind) != 1 || rep.Behind[0].Have != 1 {
		t.Errorf("damage %q, behind %+v", found(rep), rep.Behind)
	}
}

// Whoever can write to a copy can put a log there that names what they rewrote. The
// archive's seal does not name that log, so it excuses nothing.
func TestRotBelievesNoLogThatTheSealDoesNotName(t *testing.T) {
	r := verifytest.New(t, 2)
	r.Version(verifytest.Stake, verifytest.Day(2020, 7, 1), verifytest.Visits(2019))
	first, heads, copies := r.Seal.Clone(), maps.Clone(r.Heads), r.Copies
	r.Copies = copies[:1]
	r.Version(verifytest.Stake, verifytest.Day(2021, 7, 1), verifytest.Visits(2019, 2021))
	r.Seal, r.Heads, r.Copies = first, heads, copies[1:]
	r.Version(verifytest.Stake, verifytest.Day(2021, 7, 2), verifytest.Visits(2019, 2020))
	if err := store.ReplaceSeal(t.Context(), copies[0].Root, r.Seal); err != nil {
		t.Fatal(err)
	}
	rep := checked(t, copies[0], r.Options())
	if got := found(rep); !slices.Contains(got, "altered .linecamp/inventory v2") || len(rep.Behind) != 0 {
		t.Errorf("found %q, behind %+v", got, rep.Behind)
	}
}

// A line excuses the version that it names, not another one that shows its bytes.
func TestRotTakesAnotherVersionsPairForNoHistory(t *testing.T) {
	r := verifytest.New(t, 1)
	for year := 2019; year < 2022; year++ {
		r.Version(verifytest.Stake, verifytest.Day(year+1, 7, 1), verifytest.Visits(2019, year))
	}
	for _, name := range []string{"inventory.json", "inventory.json.sha256"} {
		b, err := os.ReadFile(r.Path(0, "windmill--stake-3/v1/"+name))
		if err != nil {
			t.Fatal(err)
		}
		verifytest.Write(t, r.Path(0, "windmill--stake-3/v2/"+name), b, time.Now())
	}
	rep := checked(t, r.Copies[0], r.Options())
	if got := found(rep); !slices.Contains(got, "altered .linecamp/inventory v2") || len(rep.Behind) != 0 {
		t.Errorf("found %q, behind %+v", got, rep.Behind)
	}
	// Without any seal, too.
	verifytest.Write(t, r.Path(0, seal.File(0)), []byte("no log\n"), time.Now())
	o := r.Options()
	o.Seal = nil
	rep = checked(t, r.Copies[0], o)
	if got := found(rep); !slices.Contains(got, "altered .linecamp/inventory v2") || !slices.Contains(got, "altered .linecamp/seal v0") {
		t.Errorf("found %q, behind %+v", got, rep.Behind)
	}
}

func TestRotChecksTheLogsOfOtherHistories(t *testing.T) {
	r, x := parted(t)
	whole, err := os.ReadFile(lateFile(r, 0, x))
	if err != nil {
		t.Fatal(err)
	}
	for name, bad := range map[string][]byte{"a bit": append([]byte("1"), whole[1:]...), "cut short": whole[:9], "empty": nil} {
		verifytest.Write(t, lateFile(r, 0, x), bad, time.Now())
		rep := checked(t, r.Copies[0], r.Options())
		if got := found(rep); !slices.Contains(got, "altered .linecamp/seal v0") || rep.Damage[slices.Index(got, "altered .linecamp/seal v0")].Content != store.LateFolder+"/"+x.Digest().String()+".txt" {
			t.Errorf("%s: found %+v", name, rep.Damage)
		}
	}
}

// A seal that somebody was given in the other history holds, and it is said of which
// history it is.
func TestRotHoldsAPaperAgainstOtherHistories(t *testing.T) {
	r, x := parted(t)
	paper := r.Seal.Clone()
	if err := paper.Append(seal.Line{At: verifytest.Day(2021, 8, 2), What: seal.GaveUp, Copy: r.Copies[1].ID}); err != nil {
		t.Fatal(err)
	}
	never := new(seal.Seal)
	if err := never.Append(seal.Line{At: verifytest.Day(2020, 1, 1), What: seal.Version, Object: manifest.ObjectID(verifytest.Archive, "x"), Version: 1, Inventory: manifest.Sum(nil)}); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		copy    int
		log     *seal.Seal
		holds   bool
		history string
	}{
		{0, paper, false, ""}, // its own log is a line behind
		{0, x, true, "2 lines until 2021-07-01, met on drive1"},
		{1, x, false, ""},
		{0, never, false, ""},
	} {
		o := r.Options()
		p := c.log.Printed()
		o.Paper = &p
		rep := checked(t, r.Copies[c.copy], o)
		if rep.SealHolds != c.holds || rep.SealHistory != c.history || (rep.SealFault == "") != c.holds {
			t.Errorf("%+v: holds %v, history %q, fault %q", c, rep.SealHolds, rep.SealHistory, rep.SealFault)
		}
		if strings.Contains(fmt.Sprint(found(rep)), "stray") {
			t.Errorf("found %q", found(rep))
		}
	}
}

// A log of another history that the seal names is gone where the copy had it once. One that
// it never had comes with a round, and nobody misses one that the seal does not name.
func TestRotMissesALogThatWent(t *testing.T) {
	r, x := parted(t)
	key := store.LateKey(x.Digest())
	if err := os.Remove(lateFile(r, 0, x)); err != nil {
		t.Fatal(err)
	}
	never := manifest.Sum([]byte("a log that no line names"))
	for _, c := range []struct {
		had  map[manifest.Digest]bool
		seal *seal.Seal
		gone bool
	}{
		{map[manifest.Digest]bool{x.Digest(): true}, r.Seal, true},
		{nil, r.Seal, false},
		{map[manifest.Digest]bool{never: true}, r.Seal, false},
		{map[manifest.Digest]bool{x.Digest(): true}, nil, true}, // the copy's own names it
	} {
		for _, quick := range []bool{false, true} {
			o := r.Options()
			o.HadLogs, o.Seal, o.Quick = c.had, c.seal, quick
			rep := checked(t, r.Copies[0], o)
			i := slices.IndexFunc(rep.Damage, func(d verify.Damage) bool { return d.Content == key })
			if i >= 0 != c.gone || c.gone && (rep.Damage[i].Kind != verify.Gone || rep.Damage[i].Path != verify.SealPath || !strings.Contains(rep.Damage[i].Detail, "2 lines, met on drive1")) {
				t.Errorf("had %v, quick %v: found %+v", c.had, quick, rep.Damage)
			}
		}
	}
}
