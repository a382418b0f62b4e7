package daemon_test

import (
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"linecamp/daemon"
	"linecamp/daemon/reach"
	"linecamp/verify"
)

// terabyte makes each file that is named so on a drive a thousand times as long
// as any disk in here, without its taking room.
func terabyte(t *testing.T, dir, name string) (n int) {
	t.Helper()
	err := filepath.WalkDir(dir, func(p string, e fs.DirEntry, err error) error {
		if err != nil || e.Name() != name || e.IsDir() || !strings.Contains(p, "/v") {
			return err
		}
		n++
		return os.Truncate(p, 1<<40)
	})
	if err != nil {
		t.Skip(err) // a file system without holes
	}
	return n
}

// What is longer than the manifest says is altered, and is never read to its end:
// not by a check, with or without a memory, nor where it is mended, taken over by
// another copy, or restored.
func TestNothingIsReadBeyondItsSize(t *testing.T) {
	for _, name := range []string{"plot.jpg", "record.json", "inventory.json", "inventory.json.sha256"} {
		t.Run(name, func(t *testing.T) {
			r := newRanch(t, "shelf", "barn")
			r.setup()
			a := r.open()
			r.mirror(a)
			n := terabyte(t, r.drive("shelf"), name)
			if n == 0 {
				t.Fatal("nothing was changed")
			}
			alone, err := daemon.VerifyFrom(t.Context(), reach.RootAccess{Root: r.drive("shelf")}, daemon.VerifyOptions{}, nil)
			if err != nil {
				t.Fatal(err)
			}
			if got := len(alone.Copies[0].Damage); got == 0 {
				t.Errorf("without a memory: %s", printed(alone))
			}
			v := r.verify(a, daemon.VerifyOptions{Copy: "shelf"})
			if got := len(v.Copies[0].Damage); got != n {
				t.Errorf("found %d of %d: %s", got, n, printed(v))
			}
			// A copy that still lacks everything takes nothing from it.
			into := filepath.Join(t.TempDir(), "back")
			if _, err := daemon.RestoreFrom(t.Context(), reach.RootAccess{Root: r.drive("shelf")}, daemon.RestoreOptions{Everything: true, Into: into}, nil); err != nil {
				t.Log(err)
			}
			if _, err := a.Mend(t.Context(), daemon.MendOptions{}, nil); err != nil {
				t.Fatal(err)
			}
			v = r.verify(a, daemon.VerifyOptions{Copy: "shelf"})
			for _, d := range v.Copies[0].Damage {
				if d.Kind != verify.Stray {
					t.Errorf("not mended: %+v", d)
				}
			}
		})
	}
}

// A copy that catches up takes nothing from a file that is longer than it should be.
func TestCatchingUpReadsNothingBeyondItsSize(t *testing.T) {
	r := newRanch(t, "shelf", "barn")
	r.setup()
	a := r.open()
	r.mirror(a)
	away := r.drive("barn") + " away"
	if err := os.Rename(r.drive("barn"), away); err != nil {
		t.Fatal(err)
	}
	const late = "Windmill/Stake 3/2026-06-21/late.jpg"
	r.photo(late)
	r.mirror(a)
	if n := terabyte(t, r.drive("shelf"), "late.jpg"); n != 1 {
		t.Fatalf("%d files were changed", n)
	}
	if err := os.Rename(away, r.drive("barn")); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(filepath.Join(r.folder, late)); err != nil {
		t.Fatal(err)
	}
	m := r.mirror(a)
	if len(m.Copies[1].Missing) != 1 || !strings.HasSuffix(m.Copies[1].Missing[0], late) {
		t.Errorf("the copy that caught up: %s", printed(m))
	}
	v := r.verify(a, daemon.VerifyOptions{Copy: "barn"})
	if d := v.Copies[0].Damage; v.Copies[0].ReadBack.Files != 18 || len(d) != 1 || d[0].Kind != verify.Gone {
		t.Errorf("what it has now: %s", printed(v))
	}
}
