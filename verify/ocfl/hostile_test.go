package ocfl

import "linecamp/verify/ocfl/inventory"

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// watched fails on any name that could lead somewhere else.
type watched struct {
	tree
	t     testing.TB
	opens func(name string)
}

func (w watched) look(name string) {
	for e := range strings.SplitSeq(name, "/") {
		if e == "" && name != "" || e == "." || e == ".." {
			w.t.Errorf("%q was asked for", name)
		}
	}
}

func (w watched) List(ctx context.Context, folder string) ([]Entry, error) {
	w.look(folder)
	return w.tree.List(ctx, folder)
}

func (w watched) Open(ctx context.Context, name string) (io.ReadCloser, error) {
	w.look(name)
	if w.opens != nil {
		w.opens(name)
	}
	return w.tree.Open(ctx, name)
}

// An inventory of a MiB cannot take more than a small multiple of that, and
// what is refused says why.
func TestHostileInventories(t *testing.T) {
	const size = 1 << 20
	fill := func(before, one, between, after string) []byte {
		var b strings.Builder
		b.WriteString(before)
		head, tail, numbered := strings.Cut(one, "#")
		if !numbered {
			b.WriteString(strings.Repeat(one+between, size/len(one+between)) + one)
		}
		for i := 0; b.Len() < size; i++ {
			if i > 0 {
				b.WriteString(between)
			}
			b.WriteString(head + strconv.Itoa(i) + tail)
		}
		b.WriteString(after)
		return []byte(b.String())
	}
	for name, b := range map[string][]byte{
		"open arrays":      fill("", "[", "", ""),
		"open objects":     fill("", `{"":`, "", ""),
		"nested unknown":   fill(`{"a":`, "[", "", ""),
		"digests":          fill(`{"manifest":{`, `"#":[]`, ",", "}}"),
		"paths":            fill(`{"manifest":{"":[`, `""`, ",", "]}}"),
		"logical paths":    fill(`{"versions":{"v1":{"state":{"":[`, `"#"`, ",", "]}}}}"),
		"versions":         fill(`{"versions":{`, `"v#":{}`, ",", "}}"),
		"users":            fill(`{"versions":{`, `"v#":{"user":{}}`, ",", "}}"),
		"fixity":           fill(`{"fixity":{`, `"#":{}`, ",", "}}"),
		"keys":             fill(`{`, `"#":0`, ",", "}"),
		"the same key":     fill(`{`, `"id":""`, ",", "}"),
		"one long string":  fill(`{"id":"`, "x", "", `"}`),
		"escapes":          fill(`{"id":"`, `\u0041`, "", `"}`),
		"no end":           fill(`{"id":"`, "x", "", ""),
		"one deep path":    fill(`{"manifest":{"":["v1/content`, "/a", "", `"]},"versions":{"v1":{}}}`),
		"one number":       fill(`{"head":`, "1", "", "}"),
		"spaces":           fill("", " ", "", ""),
		"a version number": fill(`{"head":"v`, "1", "", `","versions":{"v`+strings.Repeat("1", 100000)+`":{}}}`),
	} {
		t.Run(name, func(t *testing.T) {
			files := watched{tree: one().tree(), t: t}
			files.pack("", b, "sha512")
			files.pack("v1", b, "sha512")
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			r, err := Validate(t.Context(), files, Options{Workers: 1})
			must(t, err)
			runtime.ReadMemStats(&after)
			// Everything that was ever allocated, the two readings of the
			// files among it, not what was held at one time.
			if used := after.TotalAlloc - before.TotalAlloc; used > 100*size {
				t.Errorf("%d bytes for %d", used, size)
			} else {
				t.Logf("%d bytes for each byte", used/size)
			}
			if r.Valid {
				t.Error("valid")
			}
			if n := len(shown(r)); n > size {
				t.Errorf("the report has %d bytes", n)
			}
		})
	}
}

func TestLimits(t *testing.T) {
	var got []string
	note := func(code, format string, args ...any) { got = append(got, code) }
	inv := inventory.Parse("inventory.json", []byte(`{"manifest":{"a":["1","2"],"b":["3"]}}`), 4, note)
	if !inv.Bad || !slices.Equal(got, []string{Unreadable}) {
		t.Errorf("%v, %v", inv.Bad, got)
	}
	got = nil
	if inv = inventory.Parse("inventory.json", []byte(`{"manifest":{"a":["1","2"],"b":["3"]}}`), 5, note); inv.Bad || got != nil {
		t.Errorf("%v, %v", inv.Bad, got)
	}

	files := one().tree()
	for i := range MaxFindings + 234 {
		files.file(fmt.Sprintf("stray-%d", i), "")
	}
	r, err := Validate(t.Context(), files, Options{})
	must(t, err)
	if o := r.Objects[0]; len(o.Errors) != MaxFindings || o.Omitted != 234 || o.Valid {
		t.Errorf("%d errors, %d omitted", len(o.Errors), o.Omitted)
	}
}

// A link never leads to bytes outside, however right they are.
func TestLinksOut(t *testing.T) {
	outside := filepath.Join(t.TempDir(), "outside.txt")
	must(t, os.WriteFile(outside, []byte(aText), 0o600))
	for _, absolute := range []bool{true, false} {
		l, ok := one().tree().onDisk(t)
		if !ok {
			t.Fatal("not on disk")
		}
		name := filepath.Join(l.Name(), filepath.FromSlash(aPath))
		target := outside
		if !absolute {
			var err error
			target, err = filepath.Rel(filepath.Dir(name), outside)
			must(t, err)
		}
		must(t, os.Remove(name))
		must(t, os.Symlink(target, name))
		r, err := Validate(t.Context(), l, Options{})
		must(t, err)
		if codes(r) != "E090" {
			t.Error(shown(r))
		}
		// Even asked for by name it is not opened.
		if f, err := l.Open(t.Context(), aPath); err == nil {
			f.Close()
			t.Error("a link was opened")
		}
		if f, err := l.Open(t.Context(), "../outside.txt"); err == nil {
			f.Close()
			t.Error("a file outside was opened")
		}
	}
}

// unlisted is a place that cannot be listed at all.
type unlisted struct{ tree }

func (unlisted) List(context.Context, string) ([]Entry, error) { return nil, errIO }

var errIO = errors.New("input/output error")

func TestUnreadable(t *testing.T) {
	for _, name := range []string{aPath, "inventory.json", "v1/inventory.json", "inventory.json.sha512", "0=ocfl_object_1.1", "v1", "v1/content", "v1/content/sub"} {
		files := one().tree()
		n := files[name]
		if n.data == nil {
			n.kind = Folder
		}
		n.err = errIO
		files[name] = n
		r, err := Validate(t.Context(), files, Options{})
		must(t, err)
		if codes(r) != Unreadable || r.Valid || !strings.Contains(shown(r), errIO.Error()) {
			t.Errorf("%s: %s", name, shown(r))
		}
	}
	root := root("1.1")
	for _, name := range []string{"0=ocfl_1.1", "stake-3"} {
		n := root[name]
		n.err = errIO
		if n.data == nil {
			n.kind = Folder
		}
		root[name] = n
	}
	r, err := Validate(t.Context(), root, Options{})
	must(t, err)
	if codes(r) != Unreadable || len(r.Errors) != 2 || len(r.Objects) != 1 {
		t.Error(shown(r))
	}
	if _, err := Validate(t.Context(), unlisted{}, Options{}); !errors.Is(err, errIO) {
		t.Errorf("%v", err)
	}
	if _, err := OpenFolder(filepath.Join(t.TempDir(), "absent")); err == nil {
		t.Error("a folder that is not there was opened")
	}
}
