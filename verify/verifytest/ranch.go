// Package verifytest builds small archives on real drive roots for tests. Begin with
// [SiteWith], for the items of a site, or [New], for roots.
package verifytest

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/manifest/store/drive"
	"linecamp/verify"
	"linecamp/verify/rot"
)

// Archive is the name of every archive built here.
const Archive = "saltbush-draw"

// File is one file of a state.
type File struct {
	Bytes    []byte
	Modified time.Time
	Entry    manifest.Entry // Bytes and Modified are filled in
}

// State is what a site holds, by logical path.
type State map[string]File

// Ranch is an archive with copies on drives. Its versions go to every copy that
// is named when they are made.
type Ranch struct {
	T      testing.TB
	Copies []verify.Copy
	Dirs   []string
	Seal   *seal.Seal
	Heads  map[string]*manifest.Inventory
	Bytes  map[manifest.Digest][]byte
	Lose   map[manifest.Digest]bool // bytes that nobody has when a version is made
}

// New makes an archive with n empty copies.
func New(t testing.TB, n int) *Ranch {
	t.Helper()
	log, err := seal.Decode(nil)
	if err != nil {
		t.Fatal(err)
	}
	r := &Ranch{T: t, Seal: log, Heads: map[string]*manifest.Inventory{}, Bytes: map[manifest.Digest][]byte{}}
	base := TempDir(t)
	for i := range n {
		dir := filepath.Join(base, fmt.Sprintf("drive%d", i+1))
		d, err := drive.New(dir)
		if err != nil {
			t.Fatal(err)
		}
		id := fmt.Sprintf("00000000-0000-4000-8000-%012d", i+1)
		err = d.Init(context.Background(), store.Identity{ArchiveID: "11111111-1111-4111-8111-111111111111", Archive: Archive, CopyID: id, Created: Day(2009, 1, 1)})
		if err != nil {
			t.Fatal(err)
		}
		r.Copies = append(r.Copies, verify.Copy{Name: fmt.Sprintf("drive%d", i+1), ID: id, Root: d})
		r.Dirs = append(r.Dirs, dir)
	}
	t.Cleanup(func() {
		for _, c := range r.Copies {
			c.Root.Close()
		}
	})
	return r
}

// TempDir is a temporary folder, in a place named by LINECAMP_TEST_DIR if that
// is set: benchmarks want a real drive.
func TempDir(t testing.TB) string {
	if at := os.Getenv("LINECAMP_TEST_DIR"); at != "" {
		dir, err := os.MkdirTemp(at, "linecamp-test-")
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { os.RemoveAll(dir) })
		return dir
	}
	return t.TempDir()
}

// Day is noon UTC of a day.
func Day(y, m, d int) time.Time { return time.Date(y, time.Month(m), d, 12, 0, 0, 0, time.UTC) }

// Photo is a file of a visit with made-up bytes.
func Photo(path string, modified time.Time) File {
	f := File{Bytes: []byte("picture " + path + " " + modified.String()), Modified: modified}
	f.Entry.Kind = manifest.KindPhoto
	f.Entry.Visit = verify.DateIn(path)
	f.Entry.View = "untold"
	for _, v := range []string{"plot", "landscape"} {
		if strings.Contains(path, v) {
			f.Entry.View = v
		}
	}
	if strings.HasSuffix(path, ".txt") {
		f.Entry.Kind, f.Entry.View = manifest.KindNote, ""
	}
	return f
}

// Site says which object a version belongs to.
type Site struct {
	Slug, Site, Pasture, Base string
	Joins                     string // another object, which its record joins to it
}

// Stake is the usual site.
var Stake = Site{Slug: "windmill--stake-3", Site: "Stake 3", Pasture: "Windmill", Base: "Windmill/Stake 3"}

// Visits is a state with a visit in each year.
func Visits(years ...int) State {
	s := State{}
	for _, y := range years {
		day := Day(y, 6, 21)
		for _, name := range []string{"plot.jpg", "landscape.jpg", "notes.txt"} {
			p := fmt.Sprintf("%d-06-21/%s", y, name)
			s[p] = Photo(p, day)
		}
	}
	return s
}

// Version makes the next version of a site on the given copies (none: all), and
// seals it on all.
func (r *Ranch) Version(s Site, created time.Time, state State, copies ...int) *manifest.Inventory {
	r.T.Helper()
	inv, err := r.version(s, created, state, copies...)
	if err != nil {
		r.T.Fatal(err)
	}
	return inv
}

func (r *Ranch) version(s Site, created time.Time, state State, copies ...int) (*manifest.Inventory, error) {
	ctx := context.Background()
	inv := r.Heads[s.Slug]
	if inv == nil {
		inv = manifest.New(manifest.ObjectID(Archive, s.Slug))
	}
	next := manifest.Next{Created: created, User: manifest.User{Name: "office", Address: "urn:uuid:22222222-2222-4222-8222-222222222222"}, Message: "a round",
		State:  map[string]manifest.Digest{},
		Record: manifest.Record{Site: s.Site, Pasture: s.Pasture, Base: s.Base, Paths: map[string]manifest.Entry{}}}
	for p, f := range state {
		d := manifest.Sum(f.Bytes)
		r.Bytes[d] = f.Bytes
		next.State[p] = d
		e := f.Entry
		e.Bytes, e.Modified = int64(len(f.Bytes)), f.Modified.UTC()
		if e.Kind == "" {
			e.Kind = manifest.KindOther
		}
		next.Record.Paths[p] = e
	}
	if s.Joins != "" {
		next.Record.Decisions = []manifest.Decision{{What: manifest.Joined, Who: "linecamp", When: created, Path: s.Joins}}
	}
	draft, err := inv.Add(next)
	if err != nil {
		return nil, err
	}
	inv = draft.Inventory
	r.Heads[s.Slug] = inv
	r.Bytes[manifest.Sum(draft.Record)] = draft.Record
	if err := r.Seal.Append(seal.Line{N: r.Seal.Len() + 1, At: created, What: "version", Object: inv.ID, Version: inv.Head(), Inventory: manifest.Sum(draft.Encoded)}); err != nil {
		return nil, err
	}
	for i, c := range r.Copies {
		if len(copies) > 0 && !contains(copies, i) {
			continue
		}
		if err := r.commit(ctx, c.Root, s.Slug, draft.Inventory, draft.New, draft.Encoded); err != nil {
			return nil, err
		}
	}
	for _, c := range r.Copies {
		if err := store.WriteSeal(ctx, c.Root, r.Seal); err != nil {
			return nil, err
		}
	}
	return inv, nil
}

func (r *Ranch) commit(ctx context.Context, root store.Root, slug string, inv *manifest.Inventory, stored map[string]manifest.Digest, encoded []byte) error {
	unlock, err := root.Lock(ctx)
	if err != nil {
		return err
	}
	defer unlock()
	b, err := root.Begin(ctx, slug, inv.Head())
	if err != nil {
		return err
	}
	defer b.Close()
	for p, d := range stored {
		if bytes, ok := r.Bytes[d]; ok && !r.Lose[d] {
			if _, err := b.Put(ctx, p, store.Bytes(bytes)); err != nil {
				return err
			}
		}
	}
	return b.Commit(ctx, encoded)
}

func contains(list []int, i int) bool {
	for _, v := range list {
		if v == i {
			return true
		}
	}
	return false
}

// Expected is rot.Options.Expected for this archive.
func (r *Ranch) Expected(object string) (*manifest.Inventory, error) {
	if inv := r.Heads[object]; inv != nil {
		return inv, nil
	}
	return nil, os.ErrNotExist
}

// Objects are the objects every copy should have.
func (r *Ranch) Objects() []string {
	var out []string
	for o := range r.Heads {
		out = append(out, o)
	}
	return out
}

// Options are those of a full check that knows what to expect.
func (r *Ranch) Options() rot.Options {
	return rot.Options{Allowance: -1, Expected: r.Expected, ExpectedObjects: r.Objects(), Seal: r.Seal, Seconded: r.seconded}
}

func (r *Ranch) seconded(ctx context.Context, copyID string, lines int) bool {
	return rot.Seconded(ctx, r.Copies, copyID, r.Seal, lines)
}

// BendSeal changes the digest in the first line of a copy's seal, in its first so
// many digits; the line still reads as one.
func (r *Ranch) BendSeal(copy, digits int) {
	r.T.Helper()
	file := r.Path(copy, seal.File(0))
	b, err := os.ReadFile(file)
	if err != nil {
		r.T.Fatal(err)
	}
	from := bytes.IndexByte(b, '\n') - 64
	for i := from; i < from+digits; i++ {
		if b[i] == '9' || b[i] == 'f' {
			b[i]--
		} else {
			b[i]++
		}
	}
	Write(r.T, file, b, time.Now())
}

// Key is where a copy keeps the file that has a logical path in the newest version.
func (r *Ranch) Key(slug, logical string) string {
	r.T.Helper()
	inv := r.Heads[slug]
	d, ok := inv.State(inv.Head())[logical]
	if !ok || len(inv.Content[d]) == 0 {
		r.T.Fatalf("%s has no %s", slug, logical)
	}
	return slug + "/" + inv.Content[d][0]
}

// Path is a key's file on a copy.
func (r *Ranch) Path(copy int, key string) string {
	return filepath.Join(r.Dirs[copy], filepath.FromSlash(key))
}

// Flip changes one bit in the middle of a file and keeps its size and time.
func Flip(t testing.TB, path string) {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	st, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	b[len(b)/2] ^= 0x10
	Write(t, path, b, st.ModTime())
}

// Write writes a file with its time, making its folders.
func Write(t testing.TB, path string, b []byte, modified time.Time) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, b, 0o666); err != nil {
		t.Fatal(err)
	}
	if err := os.Chtimes(path, modified, modified); err != nil {
		t.Fatal(err)
	}
}

// Remove removes a file or a folder.
func Remove(t testing.TB, path string) {
	t.Helper()
	if _, err := os.Lstat(path); err != nil {
		t.Fatal(err)
	}
	if err := os.RemoveAll(path); err != nil {
		t.Fatal(err)
	}
}

// Memory is a verify.Memory in memory.
type Memory struct {
	mu   sync.Mutex
	held map[[2]string]map[string]verify.Held
}

// Held is verify.Memory's.
func (m *Memory) Held(copy, object string) (map[string]verify.Held, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	out := map[string]verify.Held{}
	for p, h := range m.held[[2]string{copy, object}] {
		out[p] = h
	}
	return out, nil
}

// Remember is verify.Memory's.
func (m *Memory) Remember(copy, object string, held []verify.Held) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.held == nil {
		m.held = map[[2]string]map[string]verify.Held{}
	}
	k := [2]string{copy, object}
	if m.held[k] == nil {
		m.held[k] = map[string]verify.Held{}
	}
	for _, h := range held {
		was, ok := m.held[k][h.Path]
		if ok && was.SHA256 == h.SHA256 && was.Size == h.Size {
			if h.XXH64 == 0 {
				h.XXH64 = was.XXH64
			}
			if h.ETag == "" {
				h.ETag = was.ETag
			}
			if h.ReadBack.IsZero() {
				h.ReadBack = was.ReadBack
			}
			if h.Confirmed.IsZero() {
				h.Confirmed = was.Confirmed
			}
		}
		m.held[k][h.Path] = h
	}
	return nil
}
