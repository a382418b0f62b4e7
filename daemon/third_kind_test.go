package daemon_test

import (
	"bytes"
	"context"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"linecamp/daemon"
	"linecamp/daemon/config"
	"linecamp/daemon/reach"
	"linecamp/daemon/setup"
	"linecamp/manifest/store"
	"linecamp/manifest/store/drive"
	"linecamp/verify"
)

// cellar is a third kind of copy: somewhere else, answering over a link, with nothing
// to pay and a lock of its own. Its package is this file.
type cellar struct{ store.Root }

var cellarCan = store.Abilities{Kind: "cellar", OCFL: true, Staged: true}

func (cellar) Can() store.Abilities { return cellarCan }

// cellarKind is what the settings know of it.
var cellarKind = config.Kind{
	Can: cellarCan, Called: "cellar",
	At: func(place string) (config.Copy, bool) {
		return config.Copy{URL: place}, strings.HasPrefix(place, "cellar://")
	},
	Open: func(_ context.Context, c config.Copy) (store.Root, error) {
		return in(drive.Open(strings.TrimPrefix(c.URL, "cellar://"), c.ID))
	},
	Place: func(_ context.Context, c *config.Copy) (store.Root, error) {
		return in(drive.New(strings.TrimPrefix(c.URL, "cellar://")))
	},
	Try: func(_ context.Context, r store.Root, _ *config.Copy, _ bool) (store.Root, []string, error) {
		return r, []string{"it is cool and dry there"}, nil
	},
}

func in(d *drive.Drive, err error) (store.Root, error) {
	if err != nil {
		return nil, err
	}
	return cellar{d}, nil
}

// A third kind of copy needs its own package and the settings' table, nothing else: it
// is set up, mirrored to, read again, mended and restored from as the others are.
func TestThirdKind(t *testing.T) {
	config.Kinds["cellar"] = cellarKind
	t.Cleanup(func() { delete(config.Kinds, "cellar") })
	r := newRanch(t, "shelf")
	below := filepath.Join(r.dir, "cellar")
	r.set.S3s = append(r.set.S3s, setup.NamedURL{Name: "under-the-house", URL: "cellar://" + below})
	made, err := setup.Run(t.Context(), r.set)
	if err != nil {
		t.Fatal(err)
	}
	if c := made.Copies[1]; c.Kind != "cellar" || len(c.Notes) != 1 {
		t.Errorf("setup made %+v", c)
	}
	a := r.open()
	m := r.mirror(a)
	if m.Made == 0 || len(m.Copies) != 2 || m.Copies[1].State != reach.Current {
		t.Fatalf("mirrored: %+v", m)
	}

	rotten := filepath.Join(below, "windmill--stake-3", "v1", "content", "2023-06-21", "plot.jpg")
	good, err := os.ReadFile(rotten)
	if err != nil {
		t.Fatal(err)
	}
	bad := bytes.Clone(good)
	bad[0] ^= 1
	if err := os.Chmod(rotten, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(rotten, bad, 0o644); err != nil {
		t.Fatal(err)
	}
	v, err := a.Verify(t.Context(), daemon.VerifyOptions{Copy: "under-the-house"}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if c := v.Copies[0]; len(c.Damage) != 1 || c.Damage[0].Kind != verify.Altered || c.ReadBack.Files == 0 {
		t.Errorf("verified: %+v", c)
	}
	if d, err := a.Mend(t.Context(), daemon.MendOptions{}, nil); err != nil || len(d.Mended) != 1 || len(d.Unmended) > 0 {
		t.Errorf("mended: %+v, %v", d, err)
	}
	if now, err := os.ReadFile(rotten); err != nil || !bytes.Equal(now, good) {
		t.Errorf("it is not mended: %v", err)
	}

	into := filepath.Join(r.dir, "back")
	back, err := a.Restore(t.Context(), daemon.RestoreOptions{Everything: true, From: "under-the-house", Into: into}, nil)
	if err != nil || len(back.Failed) > 0 {
		t.Fatalf("restored: %+v, %v", back, err)
	}
	files := 0
	filepath.WalkDir(r.folder, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		files++
		rel, _ := filepath.Rel(r.folder, path)
		was, err := os.ReadFile(path)
		is, err2 := os.ReadFile(filepath.Join(into, rel))
		if err != nil || err2 != nil || !bytes.Equal(was, is) {
			t.Errorf("%s is not back: %v, %v", rel, err, err2)
		}
		return nil
	})
	if files == 0 || files != back.Files {
		t.Errorf("%d files back of %d", back.Files, files)
	}
	if s, err := a.Status(t.Context()); err != nil || s.Copies[1].Kind != "cellar" || s.Copies[1].State != reach.Current {
		t.Errorf("status: %+v, %v", s.Copies, err)
	}
}
