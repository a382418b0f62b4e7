package daemon_test

import (
	"encoding/json"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"linecamp/daemon"
)

// What is remembered of manifests, in the ledger.
const shownKey = "manifests that the folder shows"

// years is what a check says of the years, and whether the manifests were read for it.
func (r *ranch) years(a *daemon.Archive) (report string, read bool) {
	r.t.Helper()
	before, _, err := a.Ledger.Value(shownKey)
	if err != nil {
		r.t.Fatal(err)
	}
	marked := strings.ReplaceAll(before, `"Decisions":null`, `"Decisions":null `) // reading them writes it anew
	if err := a.Ledger.SetValue(shownKey, marked); err != nil {
		r.t.Fatal(err)
	}
	v := r.verify(a, daemon.VerifyOptions{Only: daemon.OnlyYears})
	b, err := json.Marshal(v)
	if err != nil {
		r.t.Fatal(err)
	}
	after, _, err := a.Ledger.Value(shownKey)
	if err != nil {
		r.t.Fatal(err)
	}
	return string(b) + fmt.Sprintf("%+v", r.status(a)), marked == before || after != marked
}

// The years are the same with what is remembered of the manifests and without it, after
// whatever people do in the folder, put on file and record, and whatever the state loses.
func TestYearsWithWhatIsRememberedOfTheManifests(t *testing.T) {
	remembered := 0
	for seed := range uint64(6) {
		r := newRanch(t, "shelf").setup()
		a := r.open()
		chance := rand.New(rand.NewPCG(seed, 7))
		file := func() string {
			var all []string
			filepath.WalkDir(r.folder, func(path string, d fs.DirEntry, err error) error {
				if err == nil && d.Type().IsRegular() {
					all = append(all, path)
				}
				return nil
			})
			return all[chance.IntN(len(all))]
		}
		must := func(err error) {
			t.Helper()
			if err != nil {
				t.Fatal(err)
			}
		}
		mirror := func(accept bool) {
			_, err := a.Mirror(t.Context(), daemon.MirrorOptions{AcceptChanges: accept, Why: "meant"}, nil)
			must(err)
		}
		mirror(false)
		steps := map[string]func(){
			"a photo":     func() { r.photo(fmt.Sprintf("Windmill/Stake 3/20%02d-06-21/plot.jpg", chance.IntN(26))) },
			"a loose one": func() { r.photo(fmt.Sprintf("Windmill/Stake 3/loose %d.jpg", chance.IntN(3))) },
			"a note":      func() { r.write("Windmill/2024 notes.txt", fmt.Sprint("rain ", chance.IntN(3))) },
			"an edit":     func() { must(os.WriteFile(file(), []byte(fmt.Sprint("edited ", chance.IntN(9))), 0o644)) },
			"rot":         func() { r.spoil(file()) },
			"a file goes": func() { must(os.Remove(file())) },
			"a file moves": func() {
				from := file()
				must(os.Rename(from, filepath.Join(filepath.Dir(from), fmt.Sprintf("moved %d%s", chance.IntN(4), filepath.Ext(from)))))
			},
			"a site moves": func() {
				err := os.Rename(filepath.Join(r.folder, "North Draw", "Post 1"), filepath.Join(r.folder, "North Draw", "Post 2"))
				if err != nil {
					_ = os.Rename(filepath.Join(r.folder, "North Draw", "Post 2"), filepath.Join(r.folder, "North Draw", "Post 1"))
				}
			},
			"a word": func() {
				_, _ = a.Explain(t.Context(), daemon.ExplainOptions{Site: "Stake 3", Years: fmt.Sprint(2025 + chance.IntN(2)), Why: "fire", Who: "Ann"}, nil)
			},
			"a manifest is lost": func() {
				all, _ := filepath.Glob(filepath.Join(r.dir, "state", "*", "*.zst"))
				if len(all) > 0 {
					must(os.Remove(all[chance.IntN(len(all))]))
				}
			},
			"a round":              func() { mirror(false) },
			"a word for all of it": func() { mirror(true) },
			"nothing":              func() {},
		}
		names := []string{"a photo", "a loose one", "a note", "a file moves", "a site moves", "a word", "a manifest is lost",
			"a round", "a word for all of it", "a word for all of it", "a word for all of it", "nothing"}
		if seed%2 == 0 { // else every file that a version had is there, and may be remembered
			names = append(names, "an edit", "rot", "a file goes")
		}
		var log []string
		for range 40 {
			name := names[chance.IntN(len(names))]
			log = append(log, name)
			r.now = r.now.Add(26 * time.Hour)
			steps[name]()
			_, _ = r.years(a) // so that there is something to remember
			back := func() {}
			if away, f := filepath.Join(r.dir, "away"), file(); chance.IntN(3) == 0 {
				log = append(log, "less "+f)
				must(os.Rename(f, away))
				back = func() { must(os.Rename(away, f)) }
			}
			got, read := r.years(a)
			if !read {
				remembered++
			}
			must(a.Ledger.SetValue(shownKey, ""))
			if want, _ := r.years(a); got != want {
				t.Fatalf("seed %d, %q: remembered\n%s\nand read\n%s", seed, log, got, want)
			}
			back()
		}
	}
	if remembered < 20 {
		t.Errorf("the manifests were remembered %d times only", remembered)
	}
	t.Logf("the manifests were remembered %d times", remembered)
}

// Where all is as it was, no manifest is read, and what is remembered is what counts. Once
// a manifest's file is another one, it is read.
func TestYearsReadNoManifestTwice(t *testing.T) {
	r := newRanch(t, "shelf").setup()
	a := r.open()
	r.mirror(a)
	want, read := r.years(a)
	if !read {
		t.Error("nothing was read the first time")
	}
	if got, read := r.years(a); read || got != want {
		t.Errorf("read %v\n%s\n%s", read, got, want)
	}
	kept, _, err := a.Ledger.Value(shownKey)
	if err != nil {
		t.Fatal(err)
	}
	if err := a.Ledger.SetValue(shownKey, strings.Replace(kept, `"Slug":"windmill--stake-3"`, `"Slug":"windmill--stake-9"`, 1)); err != nil {
		t.Fatal(err)
	}
	if got, _ := r.years(a); !strings.Contains(got, "windmill--stake-9") {
		t.Errorf("what was remembered did not count: %s", got)
	}
	all, err := filepath.Glob(filepath.Join(r.dir, "state", "records", "*.zst"))
	if err != nil || len(all) == 0 {
		t.Fatal(all, err)
	}
	if err := os.Chtimes(all[0], r.now, r.now); err != nil {
		t.Fatal(err)
	}
	if got, read := r.years(a); !read || got != want {
		t.Errorf("read %v\n%s\n%s", read, got, want)
	}
}
