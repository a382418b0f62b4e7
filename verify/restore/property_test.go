package restore

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"linecamp/manifest"
	"linecamp/verify/verifytest"
)

// names are paths that a site may have: odd ones, nested ones, look-alikes.
var names = []string{
	"2019/plot.jpg", "2019/Plot.jpg", "2019/plot (v1).jpg", "2020-06-21/plot.jpg", "2020-06-21/a/b/c/d.txt",
	"plot", "2020-06-21/aux", "2020-06-21/x.", " lead", "tab\there", "new\nline", "ünïcode.jpg", "u\u0308nicode.jpg",
	"🐄/🐄.jpg", strings.Repeat("n", 255), "a,b;c'd\"e", "-rf", "%2e%2e", "2019/.hidden", "..data",
}

var contents = [][]byte{nil, []byte("a"), []byte("b"), []byte("c"), bytes.Repeat([]byte("long"), 300_000)}

// model is what the full history of a site should be, kept by the rules
// that Inventory.FullHistory states, with no code of ours: newest bytes of each path, and of a move
// within one step, one-to-one in byte order, only the new name.
type model struct {
	now, full map[string]verifytest.File
}

func (m *model) step(next map[string]verifytest.File) {
	for from := range movesByHand(m.now, next) {
		delete(m.full, from)
	}
	for p, f := range next {
		m.full[p] = f
	}
	m.now = next
}

func movesByHand(from, to map[string]verifytest.File) map[string]string {
	moves := map[string]string{}
	used := map[string]bool{}
	for {
		best := ""
		for p := range from {
			_, stays := to[p]
			if !stays && moves[p] == "" && (best == "" || p < best) && firstNew(from[p], from, to, used) != "" {
				best = p
			}
		}
		if best == "" {
			return moves
		}
		n := firstNew(from[best], from, to, used)
		moves[best], used[n] = n, true
	}
}

func firstNew(f verifytest.File, from, to map[string]verifytest.File, used map[string]bool) string {
	best := ""
	for p, g := range to {
		if _, was := from[p]; !was && !used[p] && string(g.Bytes) == string(f.Bytes) && (best == "" || p < best) {
			best = p
		}
	}
	return best
}

// Whatever a site went through, its full history comes back byte for byte and
// with its times, also from copies that are each damaged in another place.
func TestRestoredIsIdentical(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		r := verifytest.New(t, 2)
		m := model{map[string]verifytest.File{}, map[string]verifytest.File{}}
		versions := 0
		for v := range rapid.IntRange(1, 4).Draw(rt, "versions") {
			state := map[string]verifytest.File{}
			for p, f := range m.now {
				state[p] = f
			}
			for range rapid.IntRange(1, 6).Draw(rt, "changes") {
				p := rapid.SampledFrom(names).Draw(rt, "path")
				switch rapid.IntRange(0, 3).Draw(rt, "what") {
				case 0:
					delete(state, p)
				case 1: // a move, or a copy
					for _, q := range slices.Sorted(maps.Keys(state)) {
						f := state[q]
						if rapid.Bool().Draw(rt, "from") {
							delete(state, q)
						}
						state[p] = f
						break
					}
				default:
					f := verifytest.Photo(p, time.Unix(rapid.Int64Range(1, 2e9).Draw(rt, "s"), rapid.Int64Range(0, 999999999).Draw(rt, "ns")).UTC())
					f.Bytes = contents[rapid.IntRange(0, len(contents)-1).Draw(rt, "bytes")]
					if was, ok := state[p]; !ok || string(was.Bytes) != string(f.Bytes) {
						state[p] = f
					}
				}
			}
			if conflict(state) {
				continue
			}
			if v == 0 && len(state) == 0 {
				state["plot"] = verifytest.Photo("plot", verifytest.Day(2019, 1, 1))
			}
			if sameBytes(state, m.now) {
				continue
			}
			r.Version(verifytest.Stake, verifytest.Day(2019+versions, 7, 1), state)
			m.step(state)
			versions++
		}
		if versions == 0 {
			return
		}
		// Each file's bytes are damaged on at most one of the copies.
		inv := r.Heads[verifytest.Stake.Slug]
		for _, d := range slices.SortedFunc(maps.Keys(inv.Content), func(a, b manifest.Digest) int { return bytes.Compare(a[:], b[:]) }) {
			paths := inv.Content[d]
			which := rapid.IntRange(0, 2).Draw(rt, "damaged on")
			if which == 2 {
				continue
			}
			at := r.Path(which, inv.Slug()+"/"+paths[0])
			if len(r.Bytes[d]) == 0 || rapid.Bool().Draw(rt, "gone") {
				verifytest.Remove(t, at)
			} else {
				verifytest.Flip(t, at)
			}
		}
		into := t.TempDir()
		rep, err := Run(context.Background(), from(r), Options{Sites: stake(r), Into: into})
		if err != nil {
			rt.Fatal(err)
		}
		if rep.Wants() {
			rt.Fatalf("%+v", rep)
		}
		got := map[string]string{}
		for p, c := range tree(t, into) {
			got[strings.TrimPrefix(p, base+"/")] = c
		}
		if len(got) != len(m.full) {
			rt.Errorf("%d files, want %d", len(got), len(m.full))
		}
		for p, f := range m.full {
			if w := fmt.Sprintf("%s @%s", f.Bytes, f.Modified.UTC().Format(time.RFC3339Nano)); got[p] != w {
				rt.Errorf("%q is %.60q, want %.60q", p, got[p], w)
			}
		}
	})
}

// conflict reports whether one path is a folder of another, which no file
// system can have.
func conflict(s map[string]verifytest.File) bool {
	for p := range s {
		for q := range s {
			if strings.HasPrefix(q, p+"/") {
				return true
			}
		}
	}
	return false
}

func sameBytes(a, b map[string]verifytest.File) bool {
	x, y := map[string]manifest.Digest{}, map[string]manifest.Digest{}
	for p, f := range a {
		x[p] = manifest.Sum(f.Bytes)
	}
	for p, f := range b {
		y[p] = manifest.Sum(f.Bytes)
	}
	return manifest.SameState(x, y)
}

// TestMain keeps the number of histories small, since each is written to a real
// file system with its syncs; -rapid.checks asks for more.
func TestMain(m *testing.M) {
	if err := flag.Set("rapid.checks", "25"); err != nil {
		panic(err)
	}
	flag.Parse()
	os.Exit(m.Run())
}
