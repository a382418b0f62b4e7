package restore

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"linecamp/manifest"
	"linecamp/verify"
	"linecamp/verify/verifytest"
)

// file is a file with bytes and a time of its own.
func file(path, content string, n int) verifytest.File {
	f := verifytest.Photo(path, time.Date(2019, 6, 21, 10, 11, 12, 345678900+n*100, time.UTC))
	f.Bytes = []byte(content)
	return f
}

// from are the copies of a ranch, in order.
func from(r *verifytest.Ranch) []Source {
	var s []Source
	for _, c := range r.Copies {
		s = append(s, Source{c.Name, c.Root})
	}
	return s
}

func stake(r *verifytest.Ranch) []verify.Site {
	return []verify.Site{{Object: verifytest.Stake.Slug}}
}

func run(t testing.TB, s []Source, o Options) Report {
	t.Helper()
	rep, err := Run(context.Background(), s, o)
	if err != nil {
		t.Fatal(err)
	}
	return rep
}

// tree reads a folder: path to bytes and time.
func tree(t testing.TB, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	err := filepath.WalkDir(dir, func(p string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		b, err := os.ReadFile(p)
		if err != nil {
			return err
		}
		st, err := e.Info()
		if err != nil {
			return err
		}
		rel, _ := filepath.Rel(dir, p)
		out[filepath.ToSlash(rel)] = fmt.Sprintf("%s @%s", b, st.ModTime().UTC().Format(time.RFC3339Nano))
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// want is what tree finds of a state below a base.
func want(base string, s verifytest.State) map[string]string {
	out := map[string]string{}
	for p, f := range s {
		if len(f.Entry.Raw) > 0 {
			p = string(f.Entry.Raw)
		}
		out[base+"/"+p] = fmt.Sprintf("%s @%s", f.Bytes, f.Modified.UTC().Format(time.RFC3339Nano))
	}
	return out
}

func same(t testing.TB, got, want map[string]string) {
	t.Helper()
	for p, w := range want {
		if got[p] != w {
			t.Errorf("%q is %q, want %q", p, got[p], w)
		}
	}
	for p := range got {
		if _, ok := want[p]; !ok {
			t.Errorf("%q is there and should not be", p)
		}
	}
}

const base = "Windmill/Stake 3"

// aHistory is a site with an edit, a deletion, a move, odd names and an empty file.
func aHistory(t testing.TB, n int) (r *verifytest.Ranch, full verifytest.State) {
	r = verifytest.New(t, n)
	v1 := verifytest.State{
		"2018-06-20/plot.jpg":       file("2018-06-20/plot.jpg", "plot 2018", 1),
		"2018-06-20/notes.txt":      file("2018-06-20/notes.txt", "dry", 2),
		"2019-06-21/plot.jpg":       file("2019-06-21/plot.jpg", "plot 2019, first scan", 3),
		"2019-06-21/landscpe.jpg":   file("2019-06-21/landscape.jpg", "landscape 2019", 4),
		"2019-06-21/empty.txt":      file("2019-06-21/empty.txt", "", 5),
		"2019-06-21/naïve \n 🐄.jpg": file("2019-06-21/plot 2.jpg", "cow", 6),
	}
	r.Version(verifytest.Stake, verifytest.Day(2019, 7, 1), v1)
	v2 := verifytest.State{}
	for p, f := range v1 {
		v2[p] = f
	}
	delete(v2, "2018-06-20/plot.jpg")
	delete(v2, "2018-06-20/notes.txt")
	v2["2019-06-21/plot.jpg"] = file("2019-06-21/plot.jpg", "plot 2019, second scan", 7)
	v2["2019-06-21/landscape.jpg"] = v2["2019-06-21/landscpe.jpg"]
	delete(v2, "2019-06-21/landscpe.jpg")
	r.Version(verifytest.Stake, verifytest.Day(2020, 7, 1), v2)
	full = verifytest.State{}
	for p, f := range v2 {
		full[p] = f
	}
	full["2018-06-20/plot.jpg"], full["2018-06-20/notes.txt"] = v1["2018-06-20/plot.jpg"], v1["2018-06-20/notes.txt"]
	return r, full
}

func TestRestoreSite(t *testing.T) {
	r, full := aHistory(t, 1)
	into := filepath.Join(t.TempDir(), "new", "folder")
	rep := run(t, from(r), Options{Sites: stake(r), Into: into})
	if rep.Wants() || rep.Files != len(full) || rep.Archive != "saltbush-draw" || rep.Already != 0 {
		t.Errorf("%+v", rep)
	}
	same(t, tree(t, into), want(base, full))

	// Again: everything is there already, and nothing is written.
	rep = run(t, from(r), Options{Sites: stake(r), Into: into})
	if rep.Wants() || rep.Files != len(full) || rep.Already != len(full) {
		t.Errorf("a second time: %+v", rep)
	}
	same(t, tree(t, into), want(base, full))
}

func TestRestoreYear(t *testing.T) {
	r, full := aHistory(t, 1)
	into := t.TempDir()
	run(t, from(r), Options{Sites: stake(r), Into: into, Year: "2018"})
	for p := range full {
		if !strings.HasPrefix(p, "2018") {
			delete(full, p)
		}
	}
	if len(full) != 2 {
		t.Fatal(full)
	}
	same(t, tree(t, into), want(base, full))
}

func TestRestoreOnADay(t *testing.T) {
	r, _ := aHistory(t, 1)
	zone := time.FixedZone("ranch", -6*3600)
	for _, tt := range []struct {
		on    string
		scan  string
		files int
	}{
		{"2019-06-30", "", 0},
		{"2019-07-01", "plot 2019, first scan", 6},
		{"2020-06-30", "plot 2019, first scan", 6},
		{"2020-07-01T11:59:59Z", "plot 2019, first scan", 6},
		{"2020-07-01T12:00:00Z", "plot 2019, second scan", 4},
		{"2020-07-01", "plot 2019, second scan", 4},
	} {
		into := t.TempDir()
		rep := run(t, from(r), Options{Sites: stake(r), Into: into, On: tt.on, Location: zone})
		got := tree(t, into)
		scan, _, _ := strings.Cut(got[base+"/2019-06-21/plot.jpg"], " @")
		if len(got) != tt.files || rep.Files != tt.files || scan != tt.scan || rep.Wants() != (tt.files == 0) {
			t.Errorf("%s: %d files, %q, %+v", tt.on, len(got), scan, rep)
		}
	}
}

func TestParseDay(t *testing.T) {
	zone := time.FixedZone("ranch", -6*3600)
	for in, want := range map[string]string{
		"2019-06-21":                "2019-06-22T05:59:59.999999999Z",
		"2019-12-31":                "2020-01-01T05:59:59.999999999Z",
		"2019-06-21T18:00:00-06:00": "2019-06-22T00:00:00Z",
		"2019-06-21T18:00:00.5Z":    "2019-06-21T18:00:00.5Z",
	} {
		got, err := ParseDay(in, zone)
		if err != nil || got.UTC().Format(time.RFC3339Nano) != want {
			t.Errorf("%s: %s, %v", in, got.UTC().Format(time.RFC3339Nano), err)
		}
	}
	for _, in := range []string{"", "2019", "2019-02-30", "21.6.2019", "2019-06-21 18:00", "yesterday"} {
		if _, err := ParseDay(in, zone); !errors.Is(err, ErrAsked) {
			t.Errorf("%q: %v", in, err)
		}
	}
}

func TestRestoreEveryVersion(t *testing.T) {
	r, full := aHistory(t, 1)
	into := t.TempDir()
	run(t, from(r), Options{Sites: stake(r), Into: into, EveryVersion: true})
	w := want(base, full)
	old := file("", "plot 2019, first scan", 3)
	w[base+"/2019-06-21/plot (v1).jpg"] = fmt.Sprintf("%s @%s", old.Bytes, old.Modified.Format(time.RFC3339Nano))
	same(t, tree(t, into), w)
}

// A name made for replaced bytes takes no other file's name.
func TestEveryVersionTakesNoName(t *testing.T) {
	r := verifytest.New(t, 1)
	s := verifytest.State{"plot.jpg": file("plot.jpg", "one", 1), "Plot (v1).jpg": file("x", "mine", 2)}
	r.Version(verifytest.Stake, verifytest.Day(2019, 7, 1), s)
	s["plot.jpg"] = file("plot.jpg", "two", 3)
	r.Version(verifytest.Stake, verifytest.Day(2020, 7, 1), s)
	into := t.TempDir()
	rep := run(t, from(r), Options{Sites: stake(r), Into: into, EveryVersion: true})
	got := tree(t, into)
	if len(got) != 3 || rep.Wants() || !strings.HasPrefix(got[base+"/Plot (v1).jpg"], "mine") || !strings.HasPrefix(got[base+"/plot (v1, 2).jpg"], "one") {
		t.Errorf("%q %+v", got, rep)
	}
}

func TestRestoreFallsBack(t *testing.T) {
	r, full := aHistory(t, 2)
	k := func(p string) string { return r.Key(verifytest.Stake.Slug, p) }
	verifytest.Flip(t, r.Path(0, k("2019-06-21/plot.jpg")))
	verifytest.Remove(t, r.Path(0, k("2019-06-21/landscape.jpg")))
	verifytest.Flip(t, r.Path(1, k("2019-06-21/naïve \n 🐄.jpg")))
	into := t.TempDir()
	rep := run(t, from(r), Options{Sites: stake(r), Into: into})
	if rep.Wants() {
		t.Errorf("%+v", rep)
	}
	same(t, tree(t, into), want(base, full))
}

func TestRestoreNamesWhatItCannotDeliver(t *testing.T) {
	r, full := aHistory(t, 1)
	k := r.Key(verifytest.Stake.Slug, "2019-06-21/plot.jpg")
	verifytest.Flip(t, r.Path(0, k))
	into := t.TempDir()
	rep := run(t, from(r), Options{Sites: stake(r), Into: into})
	if !rep.Wants() || len(rep.Failed) != 1 || rep.Failed[0].Path != base+"/2019-06-21/plot.jpg" || !strings.Contains(rep.Failed[0].Reason, "not those of the manifest") {
		t.Errorf("%+v", rep)
	}
	delete(full, "2019-06-21/plot.jpg")
	same(t, tree(t, into), want(base, full)) // and no temporary file
}

func TestRestoreRawNames(t *testing.T) {
	if runtime.GOOS != "linux" {
		t.Skip("names are not bytes here")
	}
	r := verifytest.New(t, 1)
	raw := "2019-06-21/caf\xe9.jpg"
	logical, escaped := manifest.Logical(raw)
	if !escaped {
		t.Fatal("not escaped")
	}
	f := file("2019-06-21/plot.jpg", "café", 1)
	f.Entry.Raw = []byte(raw)
	s := verifytest.State{logical: f}
	r.Version(verifytest.Stake, verifytest.Day(2019, 7, 1), s)
	into := t.TempDir()
	rep := run(t, from(r), Options{Sites: stake(r), Into: into})
	if rep.Wants() {
		t.Errorf("%+v", rep)
	}
	same(t, tree(t, into), want(base, s))
}

func TestRestoreEverything(t *testing.T) {
	r := verifytest.New(t, 1)
	creek := verifytest.Site{Slug: "creek--stake-1", Site: "Stake 1", Pasture: "Creek", Base: "Creek/Stake 1"}
	moved := file("2019-06-21/plot.jpg", "filed under the wrong stake", 1)
	deleted := file("2018-06-21/plot.jpg", "deleted", 2)
	r.Version(verifytest.Stake, verifytest.Day(2019, 7, 1), verifytest.State{"2019-06-21/plot.jpg": moved, "2018-06-21/plot.jpg": deleted, "keep.txt": file("k", "k", 3)})
	r.Version(creek, verifytest.Day(2019, 7, 1), verifytest.State{"2017-06-21/plot.jpg": file("2017", "old", 4)})
	r.Version(verifytest.Stake, verifytest.Day(2020, 7, 1), verifytest.State{"keep.txt": file("k", "k", 3)})
	r.Version(creek, verifytest.Day(2020, 7, 1), verifytest.State{"2017-06-21/plot.jpg": file("2017", "old", 4), "2019-06-21/plot.jpg": moved})
	// In a later round, the deleted one's bytes come to the other site: no move.
	r.Version(creek, verifytest.Day(2021, 7, 1), verifytest.State{"2017-06-21/plot.jpg": file("2017", "old", 4), "2019-06-21/plot.jpg": moved, "copy.jpg": deleted})
	into := t.TempDir()
	rep := run(t, from(r), Options{Everything: true, Into: into})
	if rep.Wants() {
		t.Errorf("%+v", rep)
	}
	w := want(base, verifytest.State{"2018-06-21/plot.jpg": deleted, "keep.txt": file("k", "k", 3)})
	for p, c := range want("Creek/Stake 1", verifytest.State{"2017-06-21/plot.jpg": file("2017", "old", 4), "2019-06-21/plot.jpg": moved, "copy.jpg": deleted}) {
		w[p] = c
	}
	same(t, tree(t, into), w)
	// Folders of somebody else's are nothing that could not be delivered.
	if err := os.CopyFS(r.Path(0, "stake-copied"), os.DirFS(r.Path(0, verifytest.Stake.Slug))); err != nil {
		t.Fatal(err)
	}
	verifytest.Write(t, r.Path(0, "photos/dog.jpg"), []byte("dog"), time.Now())
	into = t.TempDir()
	if rep := run(t, from(r), Options{Everything: true, Into: into}); rep.Wants() {
		t.Errorf("%+v", rep)
	}
	same(t, tree(t, into), w)
	// One site alone brings back what moved away from it.
	into = t.TempDir()
	run(t, from(r), Options{Sites: stake(r), Into: into})
	if got := tree(t, into); len(got) != 3 {
		t.Errorf("%q", got)
	}
}

// A photo of two stakes is renamed at one and deleted at the other in the same
// round: no file moved from stake to stake, and what was deleted comes back.
func TestAMoveWithinASiteIsNoArrivalFromAnother(t *testing.T) {
	r := verifytest.New(t, 1)
	creek := verifytest.Site{Slug: "creek--stake-1", Site: "Stake 1", Pasture: "Creek", Base: "Creek/Stake 1"}
	fence := file("fence.jpg", "the fence between the two", 1)
	k := file("k", "k", 3)
	r.Version(verifytest.Stake, verifytest.Day(2019, 7, 1), verifytest.State{"2019/fence.jpg": fence, "keep.txt": k})
	r.Version(creek, verifytest.Day(2019, 7, 1), verifytest.State{"2019/fence.jpg": fence})
	r.Version(verifytest.Stake, verifytest.Day(2020, 7, 1), verifytest.State{"keep.txt": k})
	r.Version(creek, verifytest.Day(2020, 7, 1), verifytest.State{"2019-06-21/fence.jpg": fence})
	into := t.TempDir()
	run(t, from(r), Options{Everything: true, Into: into})
	w := want(base, verifytest.State{"2019/fence.jpg": fence, "keep.txt": k})
	for p, c := range want("Creek/Stake 1", verifytest.State{"2019-06-21/fence.jpg": fence}) {
		w[p] = c
	}
	same(t, tree(t, into), w)
}

// A copy that another machine went on with does not tell this archive's history,
// however many versions it has there; its bytes are good all the same.
func TestRestoreFollowsTheSeal(t *testing.T) {
	r := verifytest.New(t, 2)
	first := verifytest.State{"2019-06-21/plot.jpg": file("2019", "plot", 1)}
	r.Version(verifytest.Stake, verifytest.Day(2019, 7, 1), first)
	fork := &verifytest.Ranch{T: t, Copies: r.Copies[1:], Dirs: r.Dirs[1:], Seal: r.Seal.Clone(), Bytes: r.Bytes,
		Heads: map[string]*manifest.Inventory{verifytest.Stake.Slug: r.Heads[verifytest.Stake.Slug]}}
	fork.Version(verifytest.Stake, verifytest.Day(2020, 7, 2), verifytest.State{"2020-06-21/theirs.jpg": file("t", "theirs", 2)})
	fork.Version(verifytest.Stake, verifytest.Day(2021, 7, 2), verifytest.State{"2020-06-21/theirs.jpg": file("t", "theirs, again", 3)})
	both := from(r)
	r.Copies = r.Copies[:1]
	ours := verifytest.State{"2019-06-21/plot.jpg": first["2019-06-21/plot.jpg"], "2020-06-21/ours.jpg": file("o", "ours", 4)}
	r.Version(verifytest.Stake, verifytest.Day(2020, 7, 1), ours)
	verifytest.Flip(t, r.Path(0, r.Key(verifytest.Stake.Slug, "2019-06-21/plot.jpg")))
	for name, o := range map[string]Options{"the site": {Sites: stake(r)}, "everything": {Everything: true}} {
		o.Into, o.Seal = t.TempDir(), r.Seal
		if rep := run(t, both, o); rep.Wants() {
			t.Errorf("%s: %+v", name, rep)
		}
		same(t, tree(t, o.Into), want(base, ours))
	}
	// Asked for by itself, it tells its own.
	into := t.TempDir()
	run(t, both[1:], Options{Sites: stake(r), Into: into})
	if got := tree(t, into); got[base+"/2020-06-21/theirs.jpg"] == "" {
		t.Errorf("%q", got)
	}
}

func TestRestoreNamesMissingVersions(t *testing.T) {
	r := verifytest.New(t, 2)
	creek := verifytest.Site{Slug: "creek--stake-1", Site: "Stake 1", Pasture: "Creek", Base: "Creek/Stake 1"}
	s := verifytest.State{"plot.jpg": file("plot.jpg", "one", 1)}
	r.Version(verifytest.Stake, verifytest.Day(2019, 7, 1), s)
	s["plot.jpg"] = file("plot.jpg", "two", 2)
	r.Version(verifytest.Stake, verifytest.Day(2020, 7, 1), s, 1)
	r.Version(creek, verifytest.Day(2020, 7, 1), s, 1)
	one := from(r)[:1]
	rep := run(t, one, Options{Sites: stake(r), Into: t.TempDir()})
	if !rep.Wants() || len(rep.Missing) != 1 || rep.Missing[0].Version != 2 || rep.Missing[0].Site != "Stake 3" {
		t.Errorf("%+v", rep)
	}
	if rep = run(t, one, Options{Everything: true, Into: t.TempDir()}); len(rep.Missing) != 2 || rep.Missing[1].Object != "creek--stake-1" {
		t.Errorf("everything: %+v", rep.Missing)
	}
	// What came later than the day asked for is not missing from it.
	if rep = run(t, one, Options{Sites: stake(r), Into: t.TempDir(), On: "2019-12-31"}); rep.Wants() {
		t.Errorf("as of: %+v", rep.Missing)
	}
	// With the other copy at hand nothing is missing, whichever comes first.
	into := t.TempDir()
	if rep = run(t, from(r), Options{Everything: true, Into: into}); rep.Wants() || rep.Files != 2 {
		t.Errorf("both: %+v", rep)
	}
	if got := tree(t, into)[base+"/plot.jpg"]; !strings.HasPrefix(got, "two") {
		t.Errorf("restored %q", got)
	}
}
