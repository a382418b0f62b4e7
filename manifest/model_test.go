package manifest

import (
	"bytes"
	"maps"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// drawNext draws a state near the one before: some paths go, some come, some
// change, some move.
func drawNext(t *rapid.T, n int, before map[string]string) (map[string]string, map[string]Digest) {
	// Not among them: a file called by nothing but a line break. OCFL allows it,
	// but its schema's ".+" does not.
	names := []string{"a", "A", "a/b", "b/c", "B/c", "_", "2019/plot.jpg", "2019/Plot.JPG", "é.jpg", "con", "x.", "a\n"}
	contents := []string{"", "1", "2", "3", "4", "5"}
	content := maps.Clone(before)
	for range rapid.IntRange(0, 6).Draw(t, "changes") {
		p := rapid.SampledFrom(names).Draw(t, "path")
		switch rapid.SampledFrom([]string{"set", "set", "delete", "move"}).Draw(t, "change") {
		case "set":
			content[p] = rapid.SampledFrom(contents).Draw(t, "content")
		case "delete":
			delete(content, p)
		case "move":
			if c, ok := content[p]; ok {
				delete(content, p)
				content[rapid.SampledFrom(names).Draw(t, "to")] = c
			}
		}
	}
	for _, p := range slices.Sorted(maps.Keys(content)) {
		for q := range content {
			if strings.HasPrefix(q, p+"/") {
				delete(content, q) // a file and a folder cannot have one name
			}
		}
	}
	found := map[string]Digest{}
	keys := append([]string{".linecamp/record.json", "q", "a/b/c", "_/x"}, names...)
	for _, c := range rapid.SliceOfN(rapid.SampledFrom(append(contents, "x", "y")), 0, 3).Draw(t, "found") {
		found[VersionName(n)+"/content/"+rapid.SampledFrom(keys).Draw(t, "key")] = sum(c)
	}
	return content, found
}

// Random histories, each version authored from the one before as a round does.
func TestAnyHistory(t *testing.T) {
	s := schema(t)
	rapid.Check(t, func(t *rapid.T) {
		inv := New(testID)
		var written [][]byte
		var states []map[string]Digest
		content := map[string]string{}
		for i := range rapid.IntRange(1, 6).Draw(t, "versions") {
			var found map[string]Digest
			content, found = drawNext(t, i+1, content)
			n := next(i+1, content)
			n.Found = found
			draft, err := inv.Add(n)
			if err != nil {
				t.Fatal(err)
			}
			inv = draft.Inventory
			written = append(written, draft.Encoded)
			states = append(states, n.State)
			checkDraft(t, draft, n)
			if err := validate(s, draft.Encoded); err != nil {
				t.Fatal(err)
			}
		}
		for i, b := range written {
			n := i + 1
			if got := inv.Until(n).Encode(); !bytes.Equal(got, b) {
				t.Fatalf("Until(%d) says\n%s\nwritten was\n%s", n, got, b)
			}
			got, err := DecodeInventory(b)
			if err != nil {
				t.Fatalf("%v\n%s", err, b)
			}
			if !sameInventory(got, inv.Until(n)) {
				t.Fatalf("decoded otherwise:\n%s", b)
			}
			if !SameState(inv.State(n), states[i]) {
				t.Fatalf("v%d has %v", n, inv.State(n))
			}
		}
		checkHistory(t, inv, states)
	})
}

// checkDraft holds a draft to what Add promises.
func checkDraft(t *rapid.T, draft *Draft, n Next) {
	inv := draft.Inventory
	head := inv.Head()
	stored := inv.Paths(head)
	for p, d := range draft.New {
		if stored[p] != d {
			t.Fatalf("New has %s, the inventory does not", p)
		}
		if _, was := n.Found[p]; was {
			t.Fatalf("%s is found and to be stored", p)
		}
		if !contentForm.MatchString(p) {
			t.Fatalf("%s is not a content path", p)
		}
		delete(stored, p)
	}
	for p, d := range n.Found {
		if slices.Contains(draft.Strays, p) {
			continue
		}
		if stored[p] != d {
			t.Fatalf("%s was found and is not in the inventory", p)
		}
		delete(stored, p)
	}
	if len(stored) > 0 {
		t.Fatalf("%v is in the inventory and nowhere else", stored)
	}
	for d, paths := range inv.Content {
		for _, p := range paths[1:] {
			if _, was := n.Found[p]; !was && strings.HasPrefix(p, VersionName(head)+"/") {
				t.Fatalf("%s is stored twice: %v", d, paths)
			}
		}
	}
}

// checkHistory holds the histories against a plainer telling of the rule.
func checkHistory(t *rapid.T, inv *Inventory, states []map[string]Digest) {
	want := map[string]Held{}
	for _, state := range states {
		for p := range state {
			for n := len(states); n > 0; n-- { // the newest version that has it
				d, ok := states[n-1][p]
				if !ok {
					continue
				}
				if n == len(states) || !movedAway(states[n-1], states[n], p) {
					want[p] = Held{Digest: d, Version: n, Path: p}
				}
				break
			}
		}
	}
	full := inv.FullHistory()
	if !maps.Equal(full, want) {
		t.Fatalf("FullHistory is %v, want %v", full, want)
	}
	every := inv.EveryVersion()
	if len(every) != len(full) {
		t.Fatalf("EveryVersion has %d paths, FullHistory %d", len(every), len(full))
	}
	kept := map[Digest]bool{}
	for p, list := range every {
		if last := list[len(list)-1]; last != full[p] {
			t.Fatalf("%q ends with %v, FullHistory has %v", p, last, full[p])
		}
		for i, h := range list {
			kept[h.Digest] = true
			if states[h.Version-1][h.Path] != h.Digest {
				t.Fatalf("%q: v%d does not have %v", p, h.Version, h)
			}
			if i > 0 && h.Version < list[i-1].Version {
				t.Fatalf("%q is out of order: %v", p, list)
			}
		}
	}
	for _, state := range states {
		for p, d := range state {
			if !kept[d] {
				t.Fatalf("the bytes of %q are in no history", p)
			}
		}
	}
}

// movedAway reports whether p, there before and not after, was renamed: sort
// what went and what came, and give each its first partner.
func movedAway(before, after map[string]Digest, p string) bool {
	came := slices.Sorted(maps.Keys(after))
	for _, old := range slices.Sorted(maps.Keys(before)) {
		if _, stays := after[old]; stays {
			continue
		}
		i := slices.IndexFunc(came, func(new string) bool {
			_, was := before[new]
			return !was && after[new] == before[old]
		})
		if i >= 0 {
			came = slices.Delete(came, i, i+1)
		}
		if old == p {
			return i >= 0
		}
	}
	return false
}

func sameInventory(a, b *Inventory) bool {
	return a.ID == b.ID && maps.EqualFunc(a.Content, b.Content, slices.Equal[[]string]) &&
		slices.EqualFunc(a.Versions, b.Versions, func(v, w Version) bool {
			return v.Created.Equal(w.Created) && v.Message == w.Message && v.User == w.User && maps.Equal(v.State, w.State)
		})
}
