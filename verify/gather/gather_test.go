package gather_test

import (
	"context"
	"iter"
	"slices"
	"strings"
	"testing"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/tally"
	"linecamp/verify"
	"linecamp/verify/gather"
	"linecamp/verify/history"
	"linecamp/verify/rot"
	"linecamp/verify/verifytest"
	"linecamp/verify/years"
)

// checked is what a check found of a copy.
func checked(t *testing.T, c verify.Copy, o rot.Options) verify.CopyReport {
	t.Helper()
	rep, err := rot.Check(t.Context(), c, o)
	if err != nil {
		t.Fatal(err)
	}
	return rep
}

func holding(c verify.CopyReport) gather.Holding {
	return gather.Holding{Heads: c.Heads, Damage: c.Damage, Unknown: c.Error != ""}
}

// objects yields a ranch's newest manifests, read from a copy.
func objects(t *testing.T, r *verifytest.Ranch, copy int) iter.Seq[gather.Object] {
	ctx := context.Background()
	root := r.Copies[copy].Root
	return func(yield func(gather.Object) bool) {
		for slug := range r.Heads {
			inv, rec, err := history.ReadObject(ctx, root, slug)
			if err != nil {
				t.Error(err)
				continue
			}
			rs := history.Records{Inventory: inv, Roots: []store.Root{root}}
			if !yield(gather.Object{Inventory: inv, Record: rec, RecordOf: func(n int) (*manifest.Record, error) { return rs.Of(ctx, n) }}) {
				return
			}
		}
	}
}

// listed is a tally of one site that holds a state.
func listed(state verifytest.State) *tally.Result {
	s := tally.Site{Site: "Stake 3", Pasture: "Windmill", Base: "Windmill/Stake 3"}
	visits := map[string]*tally.Visit{}
	for p, f := range state {
		v := visits[f.Entry.Visit]
		if v == nil {
			v = &tally.Visit{Date: f.Entry.Visit}
			visits[f.Entry.Visit] = v
		}
		tf := tally.File{Path: s.Base + "/" + p, Size: int64(len(f.Bytes)), Modified: f.Modified, SHA256: manifest.Sum(f.Bytes), Kind: f.Entry.Kind, View: f.Entry.View, Visit: f.Entry.Visit}
		if f.Entry.Kind == manifest.KindNote {
			v.Notes = tally.PackFiles(append(v.Notes.List(), tf)...)
		} else {
			v.Photos = tally.PackFiles(append(v.Photos.List(), tf)...)
		}
	}
	for _, v := range visits {
		s.Visits = append(s.Visits, *v)
	}
	return &tally.Result{Sites: []tally.Site{s}}
}

func yearStates(years []verify.Year) string {
	var out []string
	for _, y := range years {
		if y.State != verify.Whole {
			out = append(out, y.State+" "+strings.Join(y.Lacks, " "))
		}
	}
	return strings.Join(out, "; ")
}

func TestGather(t *testing.T) {
	all := verifytest.Visits(2018, 2019, 2020, 2021)
	r := verifytest.New(t, 2)
	r.Version(verifytest.Stake, verifytest.Day(2021, 7, 1), all)
	now := time.Date(2021, 12, 1, 0, 0, 0, 0, time.UTC)
	holdings := func() []gather.Holding {
		var out []gather.Holding
		for _, c := range r.Copies {
			out = append(out, holding(checked(t, c, r.Options())))
		}
		return out
	}
	judge := func(t *testing.T, w *tally.Result, h []gather.Holding) string {
		return yearStates(years.Judge(gather.Sites(now, w, objects(t, r, 0), h)))
	}
	without := func(year string) verifytest.State {
		s := verifytest.State{}
		for p, f := range all {
			if !strings.HasPrefix(p, year) {
				s[p] = f
			}
		}
		return s
	}
	in := gather.Sites(now, listed(all), objects(t, r, 0), holdings())
	if len(in.Sites) != 1 || in.Sites[0].Object != "windmill--stake-3" || len(in.Sites[0].List()) != 12 {
		t.Fatalf("%+v", in)
	}
	if got := judge(t, listed(all), holdings()); got != "" {
		t.Errorf("all there: %q", got)
	}
	const folder = "Windmill/Stake 3/2019-06-21/"
	gone := "recoverable " + folder + "landscape.jpg " + folder + "notes.txt " + folder + "plot.jpg"
	if got := judge(t, listed(without("2019")), holdings()); got != gone {
		t.Errorf("a year deleted: %q", got)
	}
	// Deleted and mirrored: the newest version has it no more, an older one has.
	r.Version(verifytest.Stake, verifytest.Day(2021, 7, 2), without("2019"))
	if got := judge(t, listed(without("2019")), holdings()); got != gone {
		t.Errorf("a year deleted since the last version: %q", got)
	}
	// A folder that could not be listed proves nothing.
	w := listed(without("2019"))
	w.Unlisted = []string{"Windmill/Stake 3/2019-06-21"}
	if got := judge(t, w, holdings()); got != "" {
		t.Errorf("unlisted: %q", got)
	}
	// Moved to another site: it is that one's now.
	w = listed(without("2019"))
	var moved []tally.File
	for p, f := range all {
		if strings.HasPrefix(p, "2019") {
			moved = append(moved, tally.File{Path: "elsewhere/" + p, SHA256: manifest.Sum(f.Bytes)})
		}
	}
	w.Unfiled = tally.PackFiles(moved...)
	if got := judge(t, w, holdings()); strings.Contains(got, "recoverable") {
		t.Errorf("moved: %q", got)
	}
	// Rotten on one copy, it is recoverable from the other; on both, lost, unless
	// a third copy could not be asked.
	inv := r.Heads["windmill--stake-3"]
	plot := "windmill--stake-3/" + inv.Content[manifest.Sum(all["2019-06-21/plot.jpg"].Bytes)][0]
	verifytest.Flip(t, r.Path(0, plot))
	if got := judge(t, listed(without("2019")), holdings()); got != gone {
		t.Errorf("rotten once: %q", got)
	}
	verifytest.Flip(t, r.Path(1, plot))
	if got := judge(t, listed(without("2019")), holdings()); got != "lost "+folder+"plot.jpg" {
		t.Errorf("rotten twice: %q", got)
	}
	if got := judge(t, listed(without("2019")), append(holdings(), gather.Holding{Unknown: true})); got != gone {
		t.Errorf("rotten twice, one copy unknown: %q", got)
	}
	// Where this machine only keeps the archive there is no working folder.
	if got := judge(t, nil, holdings()); got != "lost "+folder+"plot.jpg" {
		t.Errorf("without a working folder: %q", got)
	}
}

// A note in the pasture's folder serves the sites below it, also once it is only
// on a copy.
func TestGatherSharedNotes(t *testing.T) {
	r := verifytest.New(t, 1)
	state := verifytest.State{}
	for p, f := range verifytest.Visits(2018, 2019, 2020, 2021) {
		if f.Entry.Kind != manifest.KindNote {
			state[p] = f
		}
	}
	r.Version(verifytest.Stake, verifytest.Day(2021, 7, 1), state)
	w := listed(state)
	notes := verifytest.State{}
	for i := range w.Sites[0].Visits {
		v := &w.Sites[0].Visits[i]
		year := v.Date[:4]
		f := verifytest.Photo(year+" field notes.txt", verifytest.Day(2019, 6, 21))
		f.Entry.Visit = year
		notes["Windmill/"+year+" field notes.txt"] = f
		if year != "2020" {
			v.Shared = tally.PackFiles(tally.File{Path: "Windmill/" + year + " field notes.txt", Kind: manifest.KindNote, Visit: year})
		}
	}
	r.Version(verifytest.Site{Slug: "unfiled--windmill"}, verifytest.Day(2021, 7, 1), notes)
	for y, f := range notes {
		if !strings.Contains(y, "2020") {
			w.Unfiled = tally.PackFiles(append(w.Unfiled.List(), tally.File{Path: y, SHA256: manifest.Sum(f.Bytes), Kind: manifest.KindNote})...)
		}
	}
	now := time.Date(2021, 12, 1, 0, 0, 0, 0, time.UTC)
	judged := years.Judge(gather.Sites(now, w, objects(t, r, 0), []gather.Holding{holding(checked(t, r.Copies[0], r.Options()))}))
	if got := yearStates(judged); got != "recoverable Windmill/2020 field notes.txt" {
		t.Errorf("%q", got)
	}
	if !slices.ContainsFunc(judged, func(y verify.Year) bool { return y.Site == "Stake 3" && y.Year == 2021 && y.State == verify.Whole }) {
		t.Errorf("%+v", judged)
	}
}
