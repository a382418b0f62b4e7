package daemon_test

import (
	"bytes"
	"context"
	"encoding/json"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"linecamp/daemon"
	"linecamp/daemon/reach"
	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
)

// rewrite changes a site's inventories on a drive and makes the sidecars fit,
// as somebody would who means harm.
func rewrite(t *testing.T, object string, change func([]byte) []byte) {
	t.Helper()
	for _, name := range []string{"inventory.json", "v1/inventory.json"} {
		name = filepath.Join(object, name)
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		b = change(b)
		if err := os.WriteFile(name, b, 0o644); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(name+".sha256", manifest.Sidecar(b), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// rewriteRecord changes the record of a site's first version, and the
// inventories so that they name it.
func rewriteRecord(t *testing.T, object string, change func([]byte) []byte) {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(object, "inventory.json"))
	if err != nil {
		t.Fatal(err)
	}
	inv, err := manifest.DecodeInventory(b)
	if err != nil {
		t.Fatal(err)
	}
	old := inv.State(1)[manifest.RecordPath]
	name := filepath.Join(object, inv.Content[old][0])
	rec, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	changed := change(slices.Clone(rec))
	if bytes.Equal(rec, changed) {
		t.Fatal("nothing was changed")
	}
	if err := os.WriteFile(name, changed, 0o644); err != nil {
		t.Fatal(err)
	}
	rewrite(t, object, func(b []byte) []byte {
		return bytes.ReplaceAll(b, []byte(old.String()), []byte(manifest.Sum(changed).String()))
	})
}

// everything lists all files below a folder, but not below some of it.
func everything(t *testing.T, dir string, but ...string) []string {
	t.Helper()
	var all []string
	err := filepath.WalkDir(dir, func(p string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if slices.Contains(but, p) {
			return fs.SkipDir
		}
		if e.Type().IsRegular() {
			b := []byte("large")
			if st, err := e.Info(); err == nil && st.Size() < 1<<20 {
				if b, err = os.ReadFile(p); err != nil {
					return err
				}
			}
			p += " " + manifest.Sum(b).String()
		}
		all = append(all, p)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// A copy somebody else wrote, to do harm with: restored from, checked, and used
// to fill another copy. Nothing outside is written, nothing wrong is delivered,
// nothing takes memory without bound, and what is said is plain.
func TestHostileCopy(t *testing.T) {
	replace := func(old, new string) func([]byte) []byte {
		return func(b []byte) []byte { return bytes.ReplaceAll(b, []byte(old), []byte(new)) }
	}
	all := func(text string) func([]byte) []byte { return func([]byte) []byte { return []byte(text) } }
	put := func(name, text string) func(*testing.T, string, string) {
		return func(t *testing.T, root, object string) {
			if err := os.WriteFile(filepath.Join(root, name), []byte(text), 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
	inventory := func(change func([]byte) []byte) func(*testing.T, string, string) {
		return func(t *testing.T, root, object string) { rewrite(t, object, change) }
	}
	record := func(change func([]byte) []byte) func(*testing.T, string, string) {
		return func(t *testing.T, root, object string) { rewriteRecord(t, object, change) }
	}
	huge := func(name string) func(*testing.T, string, string) {
		return func(t *testing.T, root, object string) {
			name := strings.Replace(name, "OBJECT", filepath.Base(object), 1)
			if err := os.Truncate(filepath.Join(root, name), 1<<40); err != nil {
				t.Skip(err) // the file system here holds no file of a terabyte
			}
		}
	}
	million := func() string {
		var b strings.Builder
		b.WriteString(`{"digestAlgorithm":"sha256","head":"v1","id":"linecamp:saltbush-draw:windmill--stake-3","manifest":{`)
		n := 1_000_000
		if testing.Short() { // as under the race detector, where a million take minutes
			n = 100_000
		}
		for i := range n {
			if i > 0 {
				b.WriteByte(',')
			}
			b.WriteString(`"` + manifest.Sum([]byte{byte(i), byte(i >> 8), byte(i >> 16)}).String() + `":["v1/content/../../../x"]`)
		}
		return b.String() + `}}`
	}
	nested := strings.Repeat(`{"a":[`, 400_000)
	const base = `Windmill/Stake 3`
	for name, harm := range map[string]func(t *testing.T, root, object string){
		"content paths that climb":   inventory(replace(`"v1/content/`, `"v1/content/../../../../../outside/`)),
		"content paths of the top":   inventory(replace(`"v1/content/`, `"/v1/content/`)),
		"logical paths that climb":   inventory(replace(`"2023-06-21/`, `"../../../outside/`)),
		"logical paths of the top":   inventory(replace(`"2023-06-21/plot.jpg"`, `"/etc/passwd"`)),
		"logical paths with NUL":     inventory(replace(`"2023-06-21/plot.jpg"`, `"2023\u0000/plot.jpg"`)),
		"a million content paths":    inventory(all(million())),
		"a nested inventory":         inventory(all(nested)),
		"an inventory of another":    inventory(replace(`windmill--stake-3`, `north-draw--post-1`)),
		"an inventory of a terabyte": huge("OBJECT/inventory.json"),
		"a base that climbs":         record(replace(base, `../../../outside`)),
		"a base of the top":          record(replace(base, `/etc`)),
		"a base that is ours":        record(replace(base, `.linecamp`)),
		"a name that clears screens": record(replace(`"Stake 3"`, `"\u001b[2J\u001b]0;x\u0007"`)),
		"record paths that climb":    record(replace(`"2023-06-21/plot.jpg"`, `"../../outside/plot.jpg"`)),
		"a nested record":            record(all(nested)),
		"a nested seal":              put(seal.File(0), nested),
		"a seal of other things":     put(seal.File(0), "0000000000 2026-07-02T02:30:00Z version linecamp:../../x:y v1 00\n"),
		"a seal of a terabyte":       huge(seal.File(0)),
		"a nested author":            put(store.AuthorKey, nested[:60000]),
		"an author of a terabyte":    huge(store.AuthorKey),
		"a nested identity":          put(store.IdentityKey, nested[:60000]),
		"an identity of a terabyte":  huge(store.IdentityKey),
		"a link in place of the site": func(t *testing.T, root, object string) {
			if err := os.Rename(object, filepath.Join(root, "..", "elsewhere")); err != nil {
				t.Fatal(err)
			}
			if err := os.Symlink(filepath.Join(root, "..", "elsewhere"), object); err != nil {
				t.Skip(err)
			}
		},
		"a link in place of a photo": func(t *testing.T, root, object string) {
			photo := filepath.Join(object, "v1/content/2023-06-21/plot.jpg")
			if err := os.Remove(photo); err != nil {
				t.Fatal(err)
			}
			if err := os.Symlink("/etc/passwd", photo); err != nil {
				t.Skip(err)
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := newRanch(t, "shelf").setup()
			a := r.open()
			r.mirror(a)
			shelf, into := r.drive("shelf"), filepath.Join(r.dir, "into")
			outside := filepath.Join(r.dir, "outside")
			if err := os.Mkdir(outside, 0o755); err != nil {
				t.Fatal(err)
			}
			harm(t, shelf, filepath.Join(shelf, "windmill--stake-3"))
			barn := filepath.Join(r.dir, "barn")
			r.addCopy("barn", barn)
			ours := []string{into, filepath.Join(r.dir, "state"), barn, filepath.Join(r.dir, "drives")}
			before := everything(t, r.dir, ours...)

			ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
			defer cancel()
			root := reach.RootAccess{Root: shelf}
			var reports []daemon.Report
			var errs []error
			back, err := daemon.RestoreFrom(ctx, root, daemon.RestoreOptions{Everything: true, Into: into}, nil)
			reports, errs = append(reports, back), append(errs, err)
			checked, err := daemon.VerifyFrom(ctx, root, daemon.VerifyOptions{}, nil)
			reports, errs = append(reports, checked), append(errs, err)
			history, err := daemon.HistoryFrom(ctx, root, "Stake 3")
			reports, errs = append(reports, history), append(errs, err)
			if b := r.open(); b != nil {
				if err := os.Rename(filepath.Join(r.folder, "Windmill/Stake 3/2024-06-21"), filepath.Join(r.folder, "Windmill/Stake 3/moved")); err != nil {
					t.Fatal(err)
				}
				before = everything(t, r.dir, ours...)
				m, err := b.Mirror(ctx, daemon.MirrorOptions{}, nil)
				reports, errs = append(reports, m), append(errs, err)
			}
			if ctx.Err() != nil {
				t.Fatal("it did not end")
			}
			for _, err := range errs {
				if err != nil {
					t.Log(err)
					plainText(t, err.Error())
				}
			}
			for _, rep := range reports {
				plainText(t, printed(rep))
				if b, err := json.Marshal(rep); err != nil || !json.Valid(b) {
					t.Error(err)
				}
			}
			if after := everything(t, r.dir, ours...); !slices.Equal(before, after) {
				t.Errorf("outside of what was asked for there is\n%s\nand was\n%s", strings.Join(after, "\n"), strings.Join(before, "\n"))
			}
			// Whatever came back is a file of the ranch.
			filepath.WalkDir(into, func(p string, e fs.DirEntry, err error) error {
				if err != nil || e.IsDir() {
					return nil
				}
				got, err := os.ReadFile(p)
				if err != nil {
					t.Error(err)
				}
				if !bytes.Contains(got, []byte("grass")) && !bytes.HasPrefix(got, []byte{0xff, 0xd8}) {
					t.Errorf("%s was delivered, and is no file of the ranch", p)
				}
				return nil
			})
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			if m.Sys > 3<<30 {
				t.Errorf("%d MiB are in use", m.Sys>>20)
			}
		})
	}
}

// plainText holds a text to what a terminal may show.
func plainText(t *testing.T, s string) {
	t.Helper()
	if strings.ContainsAny(s, "\x1b\x07\x00") || len(s) > 20_000 {
		t.Errorf("not plain text: %.2000q", s)
	}
}
