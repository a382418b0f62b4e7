package mirror

import (
	"context"
	"os"
	"path/filepath"
	"testing"

	"linecamp/daemon/attention"
	"linecamp/daemon/reach"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/manifest/store/s3test"
	"linecamp/verify"
	"linecamp/verify/rot"
)

// saveState copies this machine's state folder, as a backup of the office
// computer would; the result puts it back.
func (r *ranch) saveState() (putBack func()) {
	r.t.Helper()
	must(r.t, r.led.Close())
	old := filepath.Join(r.t.TempDir(), "state")
	must(r.t, os.CopyFS(old, os.DirFS(r.state)))
	r.openState()
	return func() {
		r.t.Helper()
		must(r.t, r.led.Close())
		r.state = old
		r.openState()
	}
}

// A version was committed in the bucket while the drive was away, and its line
// never came to the seal. Then an old state is put back, which knows nothing of
// it. The number must not be used again on the drive.
func TestAnOldStateMakesNoVersionAgain(t *testing.T) {
	servers(t, func(t *testing.T, srv *s3test.Server) {
		r := newRanch(t, "shelf")
		bucket := r.addBucket(srv, "bucket")
		shelf, good := r.copies[0], bucket.root
		r.visit("North/Windmill", "2019-06-21")
		r.wantCurrent(r.mirror())
		putBack := r.saveState()

		shelf.away, bucket.root = true, &badSeal{Root: good}
		r.visit("North/Windmill", "2020-06-21")
		r.mirror()
		made := head(t, good, "north--windmill")
		if made.Head() != 2 {
			t.Fatalf("the bucket is at version %d, want 2", made.Head())
		}

		putBack()
		shelf.away, bucket.root = false, good
		r.visit("North/Windmill", "2021-06-21")
		if rep := r.mirror(); rep.Made != 0 || len(rep.Waiting) != 1 || rep.Waiting[0].Kind != attention.RecordingHeld {
			t.Errorf("the round that made it may still be at work: %+v", rep)
		}
		r.mirror(func(in *In) { in.Accept = &Acceptance{Who: "Ada", Why: "put back from a backup"} })
		r.wantCurrent(r.mirror())
		for _, c := range r.copies {
			now := head(t, c.root, "north--windmill")
			if now.Head() != 3 || string(now.Until(2).Encode()) != string(made.Encode()) {
				t.Errorf("%s is at version %d, and version 2 is not the one the bucket had", c.name, now.Head())
			}
		}
	})
}

// The same with two drives, and the seal of the one that got further rots: it
// can be told no line, and it still shows the version.
func TestARottenSealHidesNoVersion(t *testing.T) {
	r := newRanch(t, "shelf", "barn")
	shelf, barn := r.copies[0], r.copies[1]
	good := barn.root
	r.visit("North/Windmill", "2019-06-21")
	r.wantCurrent(r.mirror())
	putBack := r.saveState()
	shelf.away, barn.root = true, &badSeal{Root: good}
	r.visit("North/Windmill", "2020-06-21")
	r.mirror()

	log := filepath.Join(barn.path, filepath.FromSlash(seal.File(0)))
	b, err := os.ReadFile(log)
	must(t, err)
	must(t, os.Chmod(log, 0o644))
	must(t, os.WriteFile(log, append([]byte{b[0] ^ 1<<6}, b[1:]...), 0o644))
	putBack()
	shelf.away, barn.root = false, good
	r.visit("North/Windmill", "2021-06-21")
	r.visit("South/Draw", "2021-06-21")
	if rep := r.mirror(); rep.Copies[1].State != reach.Failed || rep.Made != 1 {
		t.Errorf("the barn drive is %s, and %d versions were made, want South/Draw's alone", rep.Copies[1].State, rep.Made)
	}
	if n := head(t, shelf.root, "north--windmill").Head(); n != 1 {
		t.Errorf("the shelf drive is at version %d of a site whose second lies in the barn", n)
	}
	must(t, os.WriteFile(log, b, 0o644)) // as mend would
	r.mirror()
	r.wantCurrent(r.mirror())
}

// The newest version's manifest rots on the drive where versions are made, at
// its place and at the top of the object, and the state folder is lost. That is
// damage: the version is never taken for one that was never finished, and made
// again.
func TestARottenManifestIsNoUnfinishedVersion(t *testing.T) {
	r := newRanch(t, "shelf")
	r.visit("North/Windmill", "2019-06-21")
	r.wantCurrent(r.mirror())
	r.visit("North/Windmill", "2020-06-21")
	r.wantCurrent(r.mirror())
	shelf := r.copies[0]
	for _, name := range []string{"north--windmill/inventory.json", "north--windmill/v2/inventory.json"} {
		file := filepath.Join(shelf.path, filepath.FromSlash(name))
		must(t, os.Chmod(file, 0o644))
		b, err := os.ReadFile(file)
		must(t, err)
		b[len(b)/2] ^= 1
		must(t, os.WriteFile(file, b, 0o644))
	}
	before := keysBelow(t, shelf.root, "north--windmill/v2/content")
	r.loseState()
	r.visit("North/Windmill", "2021-06-21")
	r.mirror()
	r.mirror()
	if after := keysBelow(t, shelf.root, "north--windmill/v2/content"); len(after) != len(before) {
		t.Errorf("version 2 held %v and now holds %v", before, after)
	}
	if exists(t, filepath.Join(shelf.path, "north--windmill", "v3")) {
		t.Error("a version was made over one whose manifest is damaged")
	}
	rep, err := rot.Check(context.Background(), verify.Copy{Name: shelf.name, ID: shelf.id, Root: shelf.root}, rot.Options{Allowance: -1})
	must(t, err)
	if len(rep.Damage) == 0 {
		t.Errorf("no damage was found: %+v", rep)
	}
}

func keysBelow(t *testing.T, root store.Root, prefix string) (keys []string) {
	t.Helper()
	for info, err := range root.List(context.Background(), prefix) {
		must(t, err)
		keys = append(keys, info.Key)
	}
	return keys
}
