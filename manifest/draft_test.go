package manifest

import (
	"bytes"
	"errors"
	"maps"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"
)

func TestAdd(t *testing.T) {
	inv := New(testID)
	first, err := inv.Add(next(1, map[string]string{
		"2019/plot.jpg": "plot 2019", "2019/same.jpg": "plot 2019", "2019/é.jpg": "landscape",
	}))
	if err != nil {
		t.Fatal(err)
	}
	if inv.Head() != 0 || len(inv.Content) != 0 {
		t.Error("Add changed what it was called on")
	}
	want := map[string]Digest{
		"v1/content/2019/plot.jpg":                           sum("plot 2019"),
		"v1/content/_/" + sum("landscape").String() + ".jpg": sum("landscape"),
		"v1/content/.linecamp/record.json":                   Sum(first.Record),
	}
	if !maps.Equal(first.New, want) {
		t.Errorf("New is %v", first.New)
	}
	if !bytes.Equal(first.Encoded, first.Inventory.Encode()) {
		t.Error("Encoded is not what Encode says")
	}

	// A renamed file and a deleted one: nothing to store but the record.
	second, err := first.Inventory.Add(next(2, map[string]string{"2019/plot a.jpg": "plot 2019"}))
	if err != nil {
		t.Fatal(err)
	}
	if want := map[string]Digest{"v2/content/.linecamp/record.json": Sum(second.Record)}; !maps.Equal(second.New, want) {
		t.Errorf("New is %v", second.New)
	}
	if got := second.Inventory.State(2); len(got) != 2 || got["2019/plot a.jpg"] != sum("plot 2019") {
		t.Errorf("v2 has %v", got)
	}
	if first.Inventory.Head() != 1 || !bytes.Equal(first.Inventory.Encode(), first.Encoded) {
		t.Error("the second version changed the first inventory")
	}
	if got := second.Inventory.Until(1).Encode(); !bytes.Equal(got, first.Encoded) {
		t.Error("Until(1) is not what was written then")
	}

	// The same files again, in all but time: even the record is stored already.
	third, err := second.Inventory.Add(next(3, map[string]string{"2019/plot a.jpg": "plot 2019"}))
	if err != nil {
		t.Fatal(err)
	}
	if len(third.New) != 0 {
		t.Errorf("New is %v", third.New)
	}
}

// Two versions tried from one inventory know nothing of each other.
func TestAddTwice(t *testing.T) {
	inv := New(testID)
	for i := range 9 {
		n := i + 1
		one, err := inv.Add(next(n, map[string]string{"a": "one"}))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := inv.Add(next(n, map[string]string{"a": "two", "b": "b"})); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(one.Inventory.Encode(), one.Encoded) {
			t.Fatalf("the second try of v%d changed the first", n)
		}
		inv = one.Inventory
	}
}

// Content paths of one digest are in order of their versions, v9 before v10.
func TestContentOrder(t *testing.T) {
	inv := New(testID)
	for n := 1; n <= 11; n++ {
		nx := next(n, map[string]string{"a": "A", "b": VersionName(n)})
		if n >= 9 {
			nx.Found = map[string]Digest{VersionName(n) + "/content/left": sum("A")}
		}
		draft, err := inv.Add(nx)
		if err != nil {
			t.Fatal(err)
		}
		inv = draft.Inventory
	}
	want := []string{"v1/content/a", "v9/content/left", "v10/content/left", "v11/content/left"}
	if got := inv.Content[sum("A")]; !slices.Equal(got, want) {
		t.Errorf("Add gives %v", got)
	}
	decoded, err := DecodeInventory(inv.Encode())
	if err != nil {
		t.Fatal(err)
	}
	if got := decoded.Content[sum("A")]; !slices.Equal(got, want) {
		t.Errorf("decoding gives %v", got)
	}
	if line := `": ["` + strings.Join(want, `", "`) + `"]`; !strings.Contains(string(inv.Encode()), line) {
		t.Errorf("encoding does not give %s", line)
	}
}

func TestAddIsDeterministic(t *testing.T) {
	content := map[string]string{}
	for c := 'a'; c <= 'z'; c++ {
		content[string(c)+"/É.jpg"] = string(c)
		content[strings.ToUpper(string(c))+"/x"] = string(c) + "x"
	}
	found := map[string]Digest{"v1/content/q": sum("q"), "v1/content/p": sum("q"), "v1/content/z": sum("none")}
	var before *Draft
	for range 20 {
		n := next(1, content)
		n.Found = found
		draft, err := New(testID).Add(n)
		if err != nil {
			t.Fatal(err)
		}
		if before != nil && (!reflect.DeepEqual(before, draft)) {
			t.Fatal("two drafts of one Next differ")
		}
		before = draft
	}
}

func TestAddFound(t *testing.T) {
	base := history(t, map[string]string{"a": "A"}).Add
	n := next(2, map[string]string{"a": "A", "b": "B", "c": "C", "d/e": "E"})
	record := n.Record.Encode()
	hashB := "v2/content/_/" + sum("B").String()
	for _, c := range []struct {
		why    string
		found  map[string]Digest
		new    map[string]string   // content path → content; the record apart
		stored map[string][]string // content → all its paths
		placed []string            // contents below FoundPrefix
		record string              // where the record goes; "" if it was found
		strays []string
	}{
		{
			why:    "nothing",
			new:    map[string]string{"v2/content/b": "B", "v2/content/c": "C", "v2/content/d/e": "E"},
			record: "v2/content/.linecamp/record.json",
		},
		{
			why:    "what a broken-off try of the same version left",
			found:  map[string]Digest{"v2/content/b": sum("B"), "v2/content/.linecamp/record.json": Sum(record)},
			new:    map[string]string{"v2/content/c": "C", "v2/content/d/e": "E"},
			stored: map[string][]string{"B": {"v2/content/b"}},
		},
		{
			why:    "content under another name",
			found:  map[string]Digest{"v2/content/old": sum("B")},
			new:    map[string]string{"v2/content/c": "C", "v2/content/d/e": "E"},
			stored: map[string][]string{"B": {"v2/content/old"}},
			record: "v2/content/.linecamp/record.json",
		},
		{
			why:    "content that no file has",
			found:  map[string]Digest{"v2/content/x": sum("X")},
			new:    map[string]string{"v2/content/b": "B", "v2/content/c": "C", "v2/content/d/e": "E"},
			stored: map[string][]string{"X": {"v2/content/x"}},
			placed: []string{"X"},
			record: "v2/content/.linecamp/record.json",
		},
		{
			why:    "content that an earlier version stored",
			found:  map[string]Digest{"v2/content/a": sum("A")},
			new:    map[string]string{"v2/content/b": "B", "v2/content/c": "C", "v2/content/d/e": "E"},
			stored: map[string][]string{"A": {"v1/content/a", "v2/content/a"}},
			placed: []string{"A"},
			record: "v2/content/.linecamp/record.json",
		},
		{
			why:    "content twice",
			found:  map[string]Digest{"v2/content/y": sum("B"), "v2/content/x": sum("B")},
			new:    map[string]string{"v2/content/c": "C", "v2/content/d/e": "E"},
			stored: map[string][]string{"B": {"v2/content/x", "v2/content/y"}},
			placed: []string{"B"},
			record: "v2/content/.linecamp/record.json",
		},
		{
			why:    "other bytes where a file would go",
			found:  map[string]Digest{"v2/content/b": sum("rot")},
			new:    map[string]string{hashB: "B", "v2/content/c": "C", "v2/content/d/e": "E"},
			placed: []string{"rot"},
			record: "v2/content/.linecamp/record.json",
		},
		{
			why:    "other bytes at both places",
			found:  map[string]Digest{"v2/content/B": sum("rot"), hashB: sum("rot 2")},
			new:    map[string]string{hashB + ".2": "B", "v2/content/c": "C", "v2/content/d/e": "E"},
			placed: []string{"rot", "rot 2"},
			record: "v2/content/.linecamp/record.json",
		},
		{
			why:   "a file where a folder would go, and the other way round",
			found: map[string]Digest{"v2/content/d": sum("D"), "v2/content/c/1": sum("1")},
			new: map[string]string{"v2/content/b": "B", "v2/content/_/" + sum("C").String(): "C",
				"v2/content/_/" + sum("E").String(): "E"},
			placed: []string{"D", "1"},
			record: "v2/content/.linecamp/record.json",
		},
		{
			why:    "other bytes at the record's place",
			found:  map[string]Digest{"v2/content/.linecamp/record.json": sum("older record")},
			new:    map[string]string{"v2/content/b": "B", "v2/content/c": "C", "v2/content/d/e": "E"},
			placed: []string{"older record"},
			record: "v2/content/_/" + Sum(record).String() + ".json",
		},
		{
			why: "names that nobody would choose",
			found: map[string]Digest{"v2/content/é\"\n": sum("1"), "v2/content/CON": sum("2"), "v2/content/con": sum("3"),
				"v2/content/ ": sum("4")},
			new:    map[string]string{"v2/content/b": "B", "v2/content/c": "C", "v2/content/d/e": "E"},
			placed: []string{"1", "2", "3", "4"},
			record: "v2/content/.linecamp/record.json",
		},
		{
			why: "names that cannot be",
			found: map[string]Digest{"v2/content/x/": sum("1"), "v2/content/x//y": sum("2"), "v2/content/../z": sum("3"),
				"v2/content/": sum("4"), "v2/content/\xff": sum("5"), "v2/content/_": sum("6"),
				"v2/content/f": sum("7"), "v2/content/f/g": sum("8")},
			new:    map[string]string{"v2/content/b": "B", "v2/content/c": "C", "v2/content/d/e": "E"},
			placed: []string{"7"},
			record: "v2/content/.linecamp/record.json",
			strays: []string{"v2/content/", "v2/content/../z", "v2/content/_", "v2/content/f/g", "v2/content/x/", "v2/content/x//y", "v2/content/\xff"},
		},
	} {
		n.Found = c.found
		draft, err := base(n)
		if err != nil {
			t.Errorf("%s: %v", c.why, err)
			continue
		}
		want := files(c.new)
		if c.record != "" {
			want[c.record] = Sum(record)
		}
		if !maps.Equal(draft.New, want) {
			t.Errorf("%s: New is %v, want %v", c.why, draft.New, want)
		}
		for content, paths := range c.stored {
			if got := draft.Inventory.Content[sum(content)]; !slices.Equal(got, paths) {
				t.Errorf("%s: %s is at %v, want %v", c.why, content, got, paths)
			}
		}
		state := maps.Clone(draft.Inventory.State(2))
		for _, content := range c.placed {
			p := FoundPrefix + sum(content).String()
			if state[p] != sum(content) {
				t.Errorf("%s: %s is not placed", c.why, content)
			}
			delete(state, p)
		}
		delete(state, RecordPath)
		if !maps.Equal(state, n.State) {
			t.Errorf("%s: the state is %v", c.why, state)
		}
		if !slices.Equal(draft.Strays, c.strays) {
			t.Errorf("%s: strays %q", c.why, draft.Strays)
		}
		lies := draft.Inventory.Paths(2)
		for p, d := range c.found {
			if !slices.Contains(c.strays, p) && lies[p] != d {
				t.Errorf("%s: %q is not in the inventory", c.why, p)
			}
		}
		if _, err := DecodeInventory(draft.Encoded); err != nil {
			t.Errorf("%s: %v", c.why, err)
		}
	}
}

// What was taken in once stays, whether the next state lists it or not.
func TestAddKeepsWhatWasTakenIn(t *testing.T) {
	n := next(1, map[string]string{"a": "A"})
	n.Found = map[string]Digest{"v1/content/x": sum("X")}
	draft, err := New(testID).Add(n)
	if err != nil {
		t.Fatal(err)
	}
	kept := FoundPrefix + sum("X").String()
	for _, listed := range []bool{false, true} {
		n := next(2, map[string]string{"a": "A2"})
		if listed {
			n.State[kept] = sum("X")
		}
		second, err := draft.Inventory.Add(n)
		if err != nil {
			t.Fatal(err)
		}
		if second.Inventory.State(2)[kept] != sum("X") {
			t.Errorf("listed %v: it is gone", listed)
		}
		if !SameState(second.Inventory.State(2), n.State) {
			t.Errorf("listed %v: taken-in content counts as a change", listed)
		}
	}
}

// What is to be kept beside the files is stored once, named after its digest, and stays.
func TestAddKeeps(t *testing.T) {
	first := history(t, map[string]string{"a": "A"})
	n := next(2, map[string]string{"a": "A", "b": "B"})
	n.Keep = []Digest{sum("K"), sum("A")}
	draft, err := first.Add(n)
	if err != nil {
		t.Fatal(err)
	}
	for _, text := range []string{"K", "A"} {
		if kept := FoundPrefix + sum(text).String(); draft.Inventory.State(2)[kept] != sum(text) {
			t.Errorf("%s is not kept: %v", text, draft.Inventory.State(2))
		}
	}
	if path := "v2/content/" + FoundPrefix + sum("K").String(); draft.New[path] != sum("K") || len(draft.New) != 3 {
		t.Errorf("stores %v, want b, the record and %s", draft.New, path)
	}
	if got, err := DecodeInventory(draft.Encoded); err != nil || !SameState(got.State(2), n.State) {
		t.Errorf("reads back as %v (%v)", got, err)
	}
	n = next(2, map[string]string{"a": "A"})
	n.Keep, n.Found = []Digest{sum("K")}, map[string]Digest{"v2/content/x": sum("K")}
	if draft, err = first.Add(n); err != nil || len(draft.New) != 0 {
		t.Errorf("stores again what was found: %v (%v)", draft.New, err)
	}
}

func TestAddRefuses(t *testing.T) {
	inv := history(t, map[string]string{"a": "A"})
	for _, c := range []struct {
		why  string
		bend func(n *Next)
		want error
	}{
		{"no time", func(n *Next) { n.Created = time.Time{} }, ErrInventory},
		{"a year that has no four digits", func(n *Next) { n.Created = time.Date(10000, 1, 1, 0, 0, 0, 0, time.UTC) }, ErrInventory},
		{"a clock that stands behind", func(n *Next) { n.Created = testTime }, ErrCreated},
		{"no machine", func(n *Next) { n.User = User{} }, ErrInventory},
		{"a message that is not UTF-8", func(n *Next) { n.Message = "\xff" }, ErrInventory},
		{"the record in the state", func(n *Next) { n.State[RecordPath] = sum("r") }, ErrPath},
		{"a reserved path", func(n *Next) { n.State[".linecamp"] = sum("r") }, ErrPath},
		{"taken-in content that was not", func(n *Next) { n.State[FoundPrefix+sum("r").String()] = sum("r") }, ErrPath},
		{"a path that climbs", func(n *Next) { n.State["../a"] = sum("r"); n.Record.Paths["../a"] = n.Record.Paths["b"] }, ErrPath},
		{"a file and a folder of one name", func(n *Next) { n.State["b/c"] = sum("r"); n.Record.Paths["b/c"] = n.Record.Paths["b"] }, ErrPath},
		{"a path without entry", func(n *Next) { delete(n.Record.Paths, "b") }, ErrRecord},
		{"an entry without path", func(n *Next) { delete(n.State, "b") }, ErrRecord},
		{"a bad entry", func(n *Next) { n.Record.Paths["b"] = Entry{} }, ErrRecord},
		{"found elsewhere", func(n *Next) { n.Found = map[string]Digest{"v1/content/x": sum("x")} }, ErrPath},
		{"found in no version", func(n *Next) { n.Found = map[string]Digest{"x": sum("x")} }, ErrPath},
	} {
		n := next(2, map[string]string{"b": "B"})
		c.bend(&n)
		if draft, err := inv.Add(n); !errors.Is(err, c.want) || draft != nil {
			t.Errorf("%s: got %v, want %v", c.why, err, c.want)
		}
	}
	if _, err := New("linecamp:a:..").Add(next(1, nil)); !errors.Is(err, ErrID) {
		t.Errorf("a bad id: %v", err)
	}
	// The clock may stand still: versions of one round share their time.
	if _, err := inv.Add(next(1, map[string]string{"b": "B"})); err != nil {
		t.Errorf("the same second: %v", err)
	}
}

func TestSameState(t *testing.T) {
	a := files(map[string]string{"a": "A", "b": "B", RecordPath: "1"})
	for _, c := range []struct {
		b    map[string]string
		want bool
	}{
		{map[string]string{"a": "A", "b": "B"}, true},
		{map[string]string{"a": "A", "b": "B", RecordPath: "2", FoundPrefix + "x": "X"}, true},
		{map[string]string{"a": "A"}, false},
		{map[string]string{"a": "A", "b": "C"}, false},
		{map[string]string{"a": "A", "c": "B"}, false},
		{map[string]string{"a": "A", "b": "B", "c": "C"}, false},
		{nil, false},
	} {
		if got := SameState(a, files(c.b)); got != c.want || SameState(files(c.b), a) != c.want {
			t.Errorf("%v: %v", c.b, got)
		}
	}
}
