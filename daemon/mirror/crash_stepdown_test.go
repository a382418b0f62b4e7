package mirror

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"linecamp/daemon/authority"
	"linecamp/daemon/ledger"
	"linecamp/daemon/mirror/adopt"
	"linecamp/manifest/seal"
)

// What a crash leaves of a machine that steps down: adopt.History cuts back what the ledger
// knows, keeps the old seal, sets it aside and writes the new one. The states between are put
// together here in that order, which nothing checks. In each the machine records nothing, also
// while the copy that told it is away; it ends stepped down, with its own seal kept, and one
// that takes over goes on.
func TestSteppingDownHalfDone(t *testing.T) {
	type folders struct{ before, after, is string }
	take := func(from, to, name string) {
		must(t, os.RemoveAll(filepath.Join(to, name)))
		if info, err := os.Stat(filepath.Join(from, name)); err == nil && info.IsDir() {
			must(t, copyTree(filepath.Join(from, name), filepath.Join(to, name)))
		} else if err == nil {
			b, err := os.ReadFile(filepath.Join(from, name))
			must(t, errors.Join(err, os.WriteFile(filepath.Join(to, name), b, 0o600)))
		}
	}
	noted := func(f folders, _ *seal.Seal) {
		entries, err := os.ReadDir(f.after)
		must(t, err)
		for _, e := range entries {
			if strings.HasPrefix(e.Name(), "ledger") {
				take(f.after, f.is, e.Name())
			}
		}
	}
	kept := func(f folders, _ *seal.Seal) {
		noted(f, nil)
		take(f.after, f.is, "late")
	}
	steps := []struct {
		name string
		till func(folders, *seal.Seal)
	}{
		{"nothing", func(folders, *seal.Seal) {}},
		{"one copy is to be read anew", func(f folders, _ *seal.Seal) {
			l, err := ledger.Open(f.is)
			must(t, err)
			must(t, errors.Join(authority.Unread(l, "33333333-3333-4333-8333-000000000001"), l.Close()))
		}},
		{"the ledger", noted},
		{"the old seal is kept", kept},
		{"it is set aside", func(f folders, _ *seal.Seal) {
			kept(f, nil)
			must(t, os.Rename(filepath.Join(f.is, "seal"), filepath.Join(f.is, "seal.old")))
		}},
		{"it is gone", func(f folders, _ *seal.Seal) {
			kept(f, nil)
			must(t, os.RemoveAll(filepath.Join(f.is, "seal")))
		}},
		{"the new one begins", func(f folders, governs *seal.Seal) {
			kept(f, nil)
			must(t, os.RemoveAll(filepath.Join(f.is, "seal")))
			begins, err := seal.Decode([][]byte{governs.Text(0, 1)})
			must(t, errors.Join(err, ledger.OpenInventories(f.is).PutSeal(begins)))
		}},
		{"all", func(f folders, _ *seal.Seal) {
			kept(f, nil)
			take(f.after, f.is, "seal")
		}},
	}
	for _, step := range steps {
		t.Run(step.name, func(t *testing.T) {
			office, _ := parted(t, false)
			shelf, loft := office.copies[0], office.copies[1]
			was, governs := logOf(t, shelf.root), logOf(t, loft.root)
			f := folders{t.TempDir(), t.TempDir(), office.state}
			must(t, office.led.Close())
			must(t, copyTree(f.is, f.before))
			office.openState()
			var copies []authority.Copy
			for _, c := range office.copies {
				copies = append(copies, authority.Copy{ID: c.id, Name: c.name, Root: c.root})
			}
			must(t, adopt.History(office.led, office.cache, archiveName, copies, was, governs))
			must(t, office.led.Close())
			must(t, copyTree(f.is, f.after))
			must(t, os.RemoveAll(f.is))
			must(t, copyTree(f.before, f.is))
			step.till(f, governs)
			office.openState()

			office.write("North/Elder/2021-06-20/1.jpg", "of a site of its own")
			if step.name != "nothing" && step.name != "one copy is to be read anew" { // else it does not know
				loft.away = true
				if rep := office.mirror(); rep.Made != 0 {
					t.Errorf("with the other copy away: %+v", rep)
				}
				loft.away = false
			}
			for range 2 {
				if rep := office.mirror(); rep.Made != 0 || len(rep.Copies[1].Gone) > 0 {
					t.Errorf("%+v", rep)
				}
			}
			if s, err := office.cache.Seal(); err != nil || s.Digest() != governs.Digest() {
				t.Errorf("the state folder has not the seal that governs: %v", err)
			}
			if all, err := office.cache.LateSeals(); err != nil || len(all) != 1 || all[0].Digest() != was.Digest() {
				t.Errorf("of its own it keeps %v, %v", all, err)
			}
			if logOf(t, shelf.root).Digest() != was.Digest() {
				t.Error("shelf's seal was changed")
			}
			if taken := office.takeOver("office"); taken.Epoch != 3 {
				t.Errorf("%+v", taken)
			}
			ever := everCommitted(t, office.copies)
			if rep := office.mirror(); rep.Made == 0 {
				t.Errorf("after taking over: %+v", rep)
			}
			office.wantMet(office.settles(), ever)
		})
	}
}
