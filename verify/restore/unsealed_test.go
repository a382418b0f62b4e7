package restore

import (
	"os"
	"slices"
	"strings"
	"testing"

	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/verify/verifytest"
)

// What was committed and is not in the seal, because a round was cut off between
// the two, comes back like everything else, and it is said. What was never
// committed is named, and so is what cannot be told apart from it.
func TestRestoreUnsealed(t *testing.T) {
	creek := verifytest.Site{Slug: "creek--stake-1", Site: "Stake 1", Pasture: "Creek", Base: "Creek/Stake 1"}
	first := verifytest.State{"2019-06-21/plot.jpg": file("2019", "plot", 1)}
	second := verifytest.State{"2019-06-21/plot.jpg": file("2019", "plot", 1), "2020-06-21/plot.jpg": file("2020", "plot again", 2)}
	theirs := verifytest.State{"2020-06-21/plot.jpg": file("2020", "creek", 3)}
	remove := func(t *testing.T, r *verifytest.Ranch, names ...string) {
		for _, n := range names {
			if err := os.RemoveAll(r.Path(0, creek.Slug+"/"+n)); err != nil {
				t.Fatal(err)
			}
		}
	}
	for name, tt := range map[string]struct {
		change func(t *testing.T, r *verifytest.Ranch)
		files  int
		failed []string
		notes  []string
	}{
		"committed": {func(*testing.T, *verifytest.Ranch) {}, 3, nil,
			[]string{"Stake 3: version 2 is not in the seal yet", "Stake 1: version 1 is not in the seal yet"}},
		"a version that was not finished": {func(t *testing.T, r *verifytest.Ranch) {
			remove(t, r, "v1/inventory.json", "v1/inventory.json.sha256", "inventory.json", "inventory.json.sha256", "0=ocfl_object_1.1")
		}, 2, []string{creek.Slug}, []string{"Stake 3: version 2"}},
		"a manifest that rotted": {func(t *testing.T, r *verifytest.Ranch) {
			verifytest.Flip(t, r.Path(0, creek.Slug+"/v1/inventory.json"))
			verifytest.Flip(t, r.Path(0, creek.Slug+"/inventory.json"))
		}, 2, []string{creek.Slug}, []string{"Stake 3: version 2"}},
		"a folder of somebody else's": {func(t *testing.T, r *verifytest.Ranch) {
			remove(t, r, "")
			if err := os.CopyFS(r.Path(0, "stake-copied"), os.DirFS(r.Path(0, verifytest.Stake.Slug))); err != nil {
				t.Fatal(err)
			}
		}, 2, nil, []string{"Stake 3: version 2"}},
		"another history": {func(t *testing.T, r *verifytest.Ranch) { r.BendSeal(0, 64) }, 3, nil,
			[]string{"Stake 3: its manifest is not the one the seal names", "Stake 1: version 1"}},
	} {
		t.Run(name, func(t *testing.T) {
			r := verifytest.New(t, 1)
			r.Version(verifytest.Stake, verifytest.Day(2019, 7, 1), first)
			cut := r.Seal.Clone()
			r.Version(verifytest.Stake, verifytest.Day(2020, 7, 1), second)
			r.Version(creek, verifytest.Day(2020, 7, 1), theirs)
			verifytest.Write(t, r.Path(0, seal.File(0)), cut.Text(0, cut.Len()), verifytest.Day(2019, 7, 1))
			if s, err := store.ReadSeal(t.Context(), r.Copies[0].Root); err != nil || s.Len() != 1 {
				t.Fatal(err)
			}
			tt.change(t, r)
			into := t.TempDir()
			rep := run(t, from(r), Options{Everything: true, Into: into})
			if rep.Files != tt.files || len(tree(t, into)) != tt.files || rep.Wants() != (len(tt.failed) > 0) {
				t.Errorf("%+v", rep)
			}
			var failed []string
			for _, f := range rep.Failed {
				failed = append(failed, f.Path)
			}
			if !slices.Equal(failed, tt.failed) {
				t.Errorf("failed: %+v", rep.Failed)
			}
			for _, n := range tt.notes {
				if !slices.ContainsFunc(rep.Trouble, func(s string) bool { return strings.HasPrefix(s, n) }) {
					t.Errorf("no note %q in %q", n, rep.Trouble)
				}
			}
			if len(rep.Trouble) != len(tt.notes) {
				t.Errorf("notes: %q", rep.Trouble)
			}
			// A day before it has nothing to say of it.
			if rep := run(t, from(r), Options{Sites: stake(r), Into: t.TempDir(), On: "2019-12-31"}); rep.Wants() || rep.Files != 1 || name != "another history" && len(rep.Trouble) > 0 {
				t.Errorf("as of: %+v", rep)
			}
		})
	}
}

// What one copy has never heard of, another that cannot be read may have.
func TestRestoreNamesWhatCannotBeRead(t *testing.T) {
	r := verifytest.New(t, 2)
	r.Version(verifytest.Stake, verifytest.Day(2019, 7, 1), verifytest.State{"2019-06-21/plot.jpg": file("2019", "plot", 1)}, 1)
	for i := range 2 { // no seal names it
		if err := os.Remove(r.Path(i, seal.File(0))); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(r.Path(1, verifytest.Stake.Slug+"/v1/inventory.json"), []byte("{}"), 0o666); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(r.Path(1, verifytest.Stake.Slug+"/v1/inventory.json.sha256"), manifest.Sidecar([]byte("{}")), 0o666); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(r.Path(1, verifytest.Stake.Slug+"/inventory.json")); err != nil {
		t.Fatal(err)
	}
	rep := run(t, from(r), Options{Everything: true, Into: t.TempDir()})
	if !rep.Wants() || len(rep.Failed) != 1 || !strings.Contains(rep.Failed[0].Reason, "v1/inventory.json") {
		t.Errorf("%+v", rep)
	}
}
