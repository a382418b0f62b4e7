package ocfl

import "linecamp/verify/ocfl/inventory"

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// tree is Files in memory, by path. Folders are there by what is in them; an
// empty one has an entry of its own.
type tree map[string]node

type node struct {
	kind Kind
	data []byte
	same string
	err  error // what opening it gives
}

func (t tree) Name() string { return "a folder in memory" }

func (t tree) List(ctx context.Context, folder string) ([]Entry, error) {
	seen := map[string]Entry{}
	found := folder == ""
	for path, n := range t {
		rest := path
		if folder != "" {
			var ok bool
			if path == folder && n.err != nil {
				return nil, n.err
			}
			if rest, ok = strings.CutPrefix(path, folder+"/"); !ok {
				found = found || path == folder
				continue
			}
		}
		found = true
		name, _, deeper := strings.Cut(rest, "/")
		if deeper {
			seen[name] = Entry{Name: name, Kind: Folder}
		} else if _, ok := seen[name]; !ok {
			seen[name] = Entry{Name: name, Kind: n.kind, Size: int64(len(n.data)), Same: n.same}
		}
	}
	if !found {
		return nil, fs.ErrNotExist
	}
	return slices.Collect(maps.Values(seen)), ctx.Err()
}

func (t tree) Open(ctx context.Context, name string) (io.ReadCloser, error) {
	n, ok := t[name]
	switch {
	case !ok || n.kind != File:
		return nil, fs.ErrNotExist
	case n.err != nil:
		return nil, n.err
	}
	return io.NopCloser(bytes.NewReader(n.data)), nil
}

func (t tree) file(path, data string) { t[path] = node{data: []byte(data)} }
func (t tree) folder(path string)     { t[path] = node{kind: Folder} }

// move renames a file or a folder with all that is in it.
func (t tree) move(from, to string) {
	for path, n := range maps.Clone(t) {
		if rest, ok := strings.CutPrefix(path, from); ok && (rest == "" || rest[0] == '/') {
			delete(t, path)
			t[to+rest] = n
		}
	}
}

func (t tree) remove(name string) {
	before := len(t)
	t.move(name, "\x00")
	maps.DeleteFunc(t, func(p string, _ node) bool { return strings.HasPrefix(p, "\x00") })
	if len(t) == before {
		panic("nothing to remove: " + name)
	}
}

// under puts all of o below a folder.
func (t tree) under(folder string, o tree) {
	for path, n := range o {
		t[folder+"/"+path] = n
	}
}

// pack writes an inventory and its sidecar into a folder of an object.
func (t tree) pack(folder string, inv []byte, alg string) {
	t[join(folder, "inventory.json")] = node{data: inv}
	t.file(join(folder, "inventory.json."+alg), digestOf(alg, string(inv))+"  inventory.json\n")
}

// rewrite edits an inventory that is there already, and its sidecar.
func (t tree) rewrite(folder string, edit func(m)) {
	var inv m
	if err := json.Unmarshal(t[join(folder, "inventory.json")].data, &inv); err != nil {
		panic(err)
	}
	edit(inv)
	t.pack(folder, encode(inv), inv["digestAlgorithm"].(string))
}

// onDisk writes the tree into a new folder; false if a real folder cannot hold it.
func (t tree) onDisk(tb testing.TB) (*LocalFolder, bool) {
	dir := tb.TempDir()
	first := map[string]string{}
	for _, path := range slices.Sorted(maps.Keys(t)) {
		n := t[path]
		name := filepath.Join(dir, filepath.FromSlash(path))
		if n.kind == Special || n.err != nil {
			return nil, false
		}
		must(tb, os.MkdirAll(filepath.Dir(name), 0o777))
		switch {
		case n.kind == Folder:
			must(tb, os.MkdirAll(name, 0o777))
		case n.kind == Link:
			must(tb, os.Symlink("somewhere", name))
		case n.same != "" && first[n.same] != "":
			must(tb, os.Link(first[n.same], name))
		default:
			must(tb, os.WriteFile(name, n.data, 0o666))
			first[n.same] = name
		}
	}
	l, err := OpenFolder(dir)
	must(tb, err)
	tb.Cleanup(func() { l.Close() })
	return l, true
}

type m = map[string]any

func encode(inv m) []byte {
	b, err := json.MarshalIndent(inv, "", "  ")
	if err != nil {
		panic(err)
	}
	return b
}

func digestOf(alg, data string) string {
	a := inventory.Algorithms[alg]
	if a == nil {
		return "0"
	}
	d := a.New()
	d.Write([]byte(data))
	return d.Digest()
}

// build makes an object that keeps every rule, unless edit or raw break one.
type build struct {
	id       string
	spec     string         // of the declaration and, but for specs, the inventories
	specs    map[int]string // of the inventory of one version
	alg      string         // for all versions but those in algs
	algs     map[int]string
	dirs     map[int]string      // contentDirectory by version; 0 is for all others
	names    []string            // of the version folders
	versions []map[string]string // logical path → content
	edit     func(n int, inv m)
	raw      func(n int, inv []byte) []byte
}

const (
	aText = "first photo\n"
	bText = "a note\n"
)

var created = time.Date(2019, 6, 21, 10, 0, 0, 0, time.UTC)

// one is an object with one version, two one with two: a.txt changes.
func one() *build {
	return &build{id: "urn:example:stake-3", spec: "1.1", alg: "sha512", versions: []map[string]string{{"a.txt": aText, "sub/b.txt": bText}}}
}

func two() *build {
	b := one()
	b.versions = append(b.versions, map[string]string{"a.txt": "second photo\n", "sub/b.txt": bText})
	return b
}

func (b *build) name(n int) string {
	if b.names != nil {
		return b.names[n-1]
	}
	return fmt.Sprintf("v%d", n)
}

func (b *build) tree() tree {
	t := tree{}
	t.file("0=ocfl_object_"+b.spec, "ocfl_object_"+b.spec+"\n")
	type stored struct{ path, data string }
	var files []stored
	has := map[string]bool{}
	for n := 1; n <= len(b.versions); n++ {
		pick := func(by map[int]string, other string) string {
			if s, ok := by[n]; ok {
				return s
			}
			return other
		}
		alg, dir := pick(b.algs, b.alg), pick(b.dirs, b.dirs[0])
		folder := "content"
		if dir != "" {
			folder = dir
		}
		for _, p := range slices.Sorted(maps.Keys(b.versions[n-1])) {
			if data := b.versions[n-1][p]; !has[data] {
				has[data] = true
				f := stored{b.name(n) + "/" + folder + "/" + p, data}
				files = append(files, f)
				t.file(f.path, data)
			}
		}
		manifest := m{}
		for _, f := range files {
			manifest[digestOf(alg, f.data)] = []any{f.path}
		}
		versions := m{}
		for k := 1; k <= n; k++ {
			state := m{}
			for _, p := range slices.Sorted(maps.Keys(b.versions[k-1])) {
				d := digestOf(alg, b.versions[k-1][p])
				list, _ := state[d].([]any)
				state[d] = append(list, p)
			}
			versions[b.name(k)] = m{
				"created": created.AddDate(k, 0, 0).Format(time.RFC3339), "message": "round",
				"user": m{"name": "office", "address": "mailto:office@example.org"}, "state": state,
			}
		}
		inv := m{
			"id": b.id, "type": "https://ocfl.io/" + pick(b.specs, b.spec) + "/spec/#inventory", "digestAlgorithm": alg,
			"head": b.name(n), "manifest": manifest, "versions": versions,
		}
		if dir != "" {
			inv["contentDirectory"] = dir
		}
		if b.edit != nil {
			b.edit(n, inv)
		}
		raw := encode(inv)
		if b.raw != nil {
			raw = b.raw(n, raw)
		}
		if given, ok := inv["digestAlgorithm"].(string); ok {
			alg = given
		}
		t.pack(b.name(n), raw, alg)
		if n == len(b.versions) {
			t.pack("", raw, alg)
		}
	}
	return t
}

// root is a storage root with two objects directly in it.
func root(spec string) tree {
	t := tree{}
	t.file("0=ocfl_"+spec, "ocfl_"+spec+"\n")
	for _, name := range []string{"stake-3", "stake-4"} {
		b := two()
		b.id, b.spec = "urn:example:"+name, spec
		t.under(name, b.tree())
	}
	return t
}

func codes(r Report) string {
	set := map[string]bool{}
	add := func(lists ...[]Finding) {
		for _, l := range lists {
			for _, f := range l {
				set[f.Code] = true
			}
		}
	}
	add(r.Errors, r.Warnings)
	for _, o := range r.Objects {
		add(o.Errors, o.Warnings)
	}
	return strings.Join(slices.Sorted(maps.Keys(set)), " ")
}

func shown(r Report) string {
	b, _ := json.MarshalIndent(r, "", "  ")
	return string(b)
}

func must(tb testing.TB, err error) {
	tb.Helper()
	if err != nil {
		tb.Fatal(err)
	}
}
