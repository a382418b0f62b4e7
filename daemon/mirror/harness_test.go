package mirror

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"linecamp/daemon/carried"
	"linecamp/daemon/ledger"
	"linecamp/daemon/mirror/report"
	"linecamp/daemon/reach"
	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/drive"
	"linecamp/manifest/tally"
)

const (
	archiveName = "saltbush-draw"
	archiveID   = "11111111-1111-4111-8111-111111111111"
	authorID    = "22222222-2222-4222-8222-222222222222"
)

// ranch is a working folder, some copies and this machine's state.
type ranch struct {
	t       testing.TB
	folder  string
	state   string
	author  string
	machine string // "" for office
	led     *ledger.Ledger
	cache   *ledger.Inventories
	copies  []*copyOf
	now     time.Time
}

type copyOf struct {
	name, id, kind, path string
	root                 store.Root
	away                 bool
	err                  error
}

func newRanch(t testing.TB, drives ...string) *ranch {
	r := &ranch{t: t, folder: filepath.Join(t.TempDir(), "monitoring"), state: t.TempDir(), author: authorID,
		now: time.Date(2026, 7, 2, 2, 30, 0, 0, time.UTC)}
	must(t, os.MkdirAll(r.folder, 0o777))
	for _, name := range drives {
		r.addDrive(name)
	}
	r.openState()
	t.Cleanup(func() {
		r.led.Close()
		for _, c := range r.copies {
			c.root.Close()
		}
	})
	return r
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func (r *ranch) addDrive(name string) *copyOf {
	path := filepath.Join(r.t.TempDir(), name)
	must(r.t, os.Mkdir(path, 0o777))
	d, err := drive.New(path)
	must(r.t, err)
	return r.addRoot(name, "drive", path, d)
}

func (r *ranch) addRoot(name, kind, path string, root store.Root) *copyOf {
	id := fmt.Sprintf("33333333-3333-4333-8333-%012d", len(r.copies)+1)
	must(r.t, root.Init(context.Background(), store.Identity{ArchiveID: archiveID, Archive: archiveName, CopyID: id, Created: r.now}))
	c := &copyOf{name: name, id: id, kind: kind, path: path, root: root}
	r.copies = append(r.copies, c)
	return c
}

func (r *ranch) openState() {
	var err error
	r.led, err = ledger.Open(r.state)
	must(r.t, err)
	r.cache = ledger.OpenInventories(r.state)
}

// loseState makes this machine forget everything it remembered. A person then says
// that it is the one that records.
func (r *ranch) loseState() {
	for _, c := range r.copies {
		takenOver(r.t, c)
	}
	must(r.t, r.led.Close())
	r.state = r.t.TempDir()
	r.openState()
}

// takenOver takes the name of a round that was not brought to its end from a
// bucket, as a take-over does.
func takenOver(t testing.TB, c *copyOf) {
	t.Helper()
	ctx := context.Background()
	a, info, err := store.ReadAuthor(ctx, c.root)
	if err != nil || !a.Recording {
		return
	}
	a.Recording, a.Round = false, ""
	_, err = store.WriteAuthor(ctx, c.root, a, &info)
	must(t, err)
}

// write puts a file into the working folder, long settled.
func (r *ranch) write(path, content string) {
	r.t.Helper()
	r.writeAt(path, content, r.now.Add(-48*time.Hour))
}

func (r *ranch) writeAt(path, content string, modified time.Time) {
	r.t.Helper()
	name := filepath.Join(r.folder, filepath.FromSlash(path))
	must(r.t, os.MkdirAll(filepath.Dir(name), 0o777))
	must(r.t, os.WriteFile(name, []byte(content), 0o666))
	must(r.t, os.Chtimes(name, modified, modified))
}

func (r *ranch) remove(path string) {
	r.t.Helper()
	must(r.t, os.RemoveAll(filepath.Join(r.folder, filepath.FromSlash(path))))
}

func (r *ranch) rename(from, to string) {
	r.t.Helper()
	must(r.t, os.MkdirAll(filepath.Dir(filepath.Join(r.folder, to)), 0o777))
	must(r.t, os.Rename(filepath.Join(r.folder, from), filepath.Join(r.folder, to)))
}

func (r *ranch) tally() *tally.Result {
	r.t.Helper()
	res, err := tally.Read(context.Background(), tally.Options{Folder: r.folder, Cache: r.led, Now: func() time.Time { return r.now }})
	must(r.t, err)
	return res
}

func (r *ranch) in() In {
	in := In{Archive: archiveName, ArchiveID: archiveID, Author: r.author, Machine: cmp.Or(r.machine, "office"), Tally: r.tally(),
		Settings: []byte("archive = \"" + archiveName + "\"\n"),
		Ledger:   r.led, Cache: r.cache, Now: func() time.Time { return r.now }}
	for _, c := range r.copies {
		m := Copy{Name: c.name, ID: c.id, Root: c.root, Away: c.away, Err: c.err}
		if c.away || c.err != nil {
			m.Root = nil
		}
		in.Copies = append(in.Copies, m)
	}
	return in
}

// mirror runs one round an hour later than the last.
func (r *ranch) mirror(change ...func(*In)) report.Report {
	r.t.Helper()
	rep, err := r.try(context.Background(), change...)
	must(r.t, err)
	return rep
}

func (r *ranch) try(ctx context.Context, change ...func(*In)) (report.Report, error) {
	r.t.Helper()
	r.now = r.now.Add(time.Hour)
	in := r.in()
	for _, f := range change {
		f(&in)
	}
	for i, c := range r.copies {
		if c.kind != "drive" || c.away || c.err != nil {
			continue
		}
		if unlock, err := c.root.Lock(ctx); err == nil {
			defer unlock()
		} else { // as the daemon does it
			in.Copies[i].Root, in.Copies[i].Err = nil, err
		}
	}
	return Run(ctx, in)
}

// wantCurrent asserts that every copy is current and holds, by its own
// inventories and byte for byte, what all others hold.
func (r *ranch) wantCurrent(rep report.Report) {
	r.t.Helper()
	for _, c := range rep.Copies {
		if c.State != reach.Current {
			r.t.Errorf("%s is %s: %s", c.Copy, c.State, c.Error)
		}
	}
	var first map[string]manifest.Digest
	for _, c := range r.copies {
		got := contents(r.t, c.root)
		if first == nil {
			first = got
		}
		diff(r.t, c.name, got, first)
	}
}

func diff(t testing.TB, name string, got, want map[string]manifest.Digest) {
	t.Helper()
	for key, d := range want {
		if got[key] != d {
			t.Errorf("%s: %s has %v, want %v", name, key, got[key], d)
		}
	}
	for key := range got {
		if _, ok := want[key]; !ok {
			t.Errorf("%s: %s is there, and nobody else has it", name, key)
		}
	}
}

// contents reads everything on a root that is the same on all copies, and
// checks each object's content against its own inventory.
func contents(t testing.TB, root store.Root) map[string]manifest.Digest {
	t.Helper()
	ctx := context.Background()
	all := map[string]manifest.Digest{}
	for info, err := range root.List(ctx, "") {
		must(t, err)
		if strings.HasPrefix(info.Key, "extensions/linecamp-root/") || info.Key == carried.ListKey || info.Key == "README.txt" {
			continue
		}
		b, _, err := store.ReadSmall(ctx, root, info.Key, 1<<30)
		must(t, err)
		all[info.Key] = manifest.Sum(b)
	}
	slugs, err := store.Objects(ctx, root)
	must(t, err)
	for _, slug := range slugs {
		inv, err := store.Head(ctx, root, slug)
		if errors.Is(err, store.ErrNoObject) {
			continue // begun, and never committed
		}
		must(t, err)
		for d, paths := range inv.Content {
			for _, p := range paths {
				if got := all[slug+"/"+p]; got != d {
					t.Errorf("%s: %s/%s has %v, its manifest says %v", root.Name(), slug, p, got, d)
				}
			}
		}
	}
	return all
}

// head is the newest version of a site on a copy.
func head(t testing.TB, root store.Root, slug string) *manifest.Inventory {
	t.Helper()
	inv, err := store.Head(context.Background(), root, slug)
	must(t, err)
	return inv
}

// paths lists the people's paths of a state.
func paths(state map[string]manifest.Digest) []string {
	var all []string
	for p := range state {
		if !strings.HasPrefix(p, ".linecamp/") {
			all = append(all, p)
		}
	}
	slices.Sort(all)
	return all
}

func reasons(rep report.Report) map[string][]string {
	m := map[string][]string{}
	for _, w := range rep.Waiting {
		m[w.Reason] = append(m[w.Reason], w.Path)
	}
	return m
}

func exists(t testing.TB, name string) bool {
	_, err := os.Lstat(name)
	if err != nil && !os.IsNotExist(err) {
		t.Fatal(err)
	}
	return err == nil
}

// visit writes a usual visit: two pictures and a note.
func (r *ranch) visit(site, date string) {
	r.t.Helper()
	for _, name := range []string{"plot.jpg", "landscape.jpg"} {
		r.write(site+"/"+date+"/"+name, "picture "+site+date+name)
	}
	r.write(site+"/"+date+"/notes.txt", "grass is fine at "+site+" on "+date)
}
