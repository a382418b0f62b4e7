package manifest

import (
	"maps"
	"testing"
	"time"
)

func TestMoves(t *testing.T) {
	for _, c := range []struct {
		why      string
		from, to map[string]string
		want     map[string]string
	}{
		{"nothing", nil, nil, nil},
		{"the first version", nil, map[string]string{"a": "A"}, nil},
		{"a rename", map[string]string{"a": "A"}, map[string]string{"b": "A"}, map[string]string{"a": "b"}},
		{"a copy", map[string]string{"a": "A"}, map[string]string{"a": "A", "b": "A"}, nil},
		{"a change", map[string]string{"a": "A"}, map[string]string{"a": "B"}, nil},
		{"a rename with a change", map[string]string{"a": "A"}, map[string]string{"b": "B"}, nil},
		{"a swap", map[string]string{"a": "A", "b": "B"}, map[string]string{"a": "B", "b": "A"}, nil},
		{"pairs in byte order", map[string]string{"b": "A", "a": "A"}, map[string]string{"z": "A", "é": "A"}, map[string]string{"a": "z", "b": "é"}},
		{"more went", map[string]string{"a": "A", "b": "A"}, map[string]string{"c": "A"}, map[string]string{"a": "c"}},
		{"more came", map[string]string{"c": "A"}, map[string]string{"z": "A", "b": "A"}, map[string]string{"c": "b"}},
		{"onto a name that stays", map[string]string{"a": "A", "b": "B"}, map[string]string{"b": "A", "c": "B"}, nil},
		{"a folder", map[string]string{"2019/a": "A", "2019/b": "B"}, map[string]string{"2019-06/a": "A", "2019-06/b": "B"},
			map[string]string{"2019/a": "2019-06/a", "2019/b": "2019-06/b"}},
		{"reserved", map[string]string{RecordPath: "A", "a": "B"}, map[string]string{"b": "A", FoundPrefix + "x": "B"}, nil},
	} {
		if got := Moves(files(c.from), files(c.to)); !maps.Equal(got, c.want) {
			t.Errorf("%s: got %v, want %v", c.why, got, c.want)
		}
	}
}

func TestFullHistory(t *testing.T) {
	type held struct {
		content string
		version int
	}
	type versions = []map[string]string
	for _, c := range []struct {
		why   string
		given versions
		want  map[string]held
	}{
		{"a year deleted by mistake comes back",
			versions{{"2019/a": "A", "2020/a": "B"}, {"2020/a": "B"}},
			map[string]held{"2019/a": {"A", 1}, "2020/a": {"B", 2}}},
		{"the newest bytes of what was deleted",
			versions{{"a": "A"}, {"a": "A2"}, {}},
			map[string]held{"a": {"A2", 2}}},
		{"a renamed file has its new name only",
			versions{{"a": "A"}, {"b": "A"}},
			map[string]held{"b": {"A", 2}}},
		{"a chain of renames",
			versions{{"a": "A"}, {"b": "A"}, {"c": "A"}},
			map[string]held{"c": {"A", 3}}},
		{"renamed, then deleted",
			versions{{"a": "A"}, {"b": "A"}, {}},
			map[string]held{"b": {"A", 2}}},
		{"renamed there and back",
			versions{{"a": "A"}, {"b": "A"}, {"a": "A"}},
			map[string]held{"a": {"A", 3}}},
		{"another file under the old name later",
			versions{{"a": "A"}, {"b": "A"}, {"a": "X", "b": "A"}},
			map[string]held{"a": {"X", 3}, "b": {"A", 3}}},
		{"another file under the old name at once is a change and a copy",
			versions{{"a": "A"}, {"a": "X", "b": "A"}},
			map[string]held{"a": {"X", 2}, "b": {"A", 2}}},
		{"deleted, and added elsewhere later, are no move",
			versions{{"a": "A"}, {}, {"b": "A"}},
			map[string]held{"a": {"A", 1}, "b": {"A", 3}}},
		{"of two equal files one was renamed, one deleted",
			versions{{"a": "A", "b": "A"}, {"c": "A"}},
			map[string]held{"b": {"A", 1}, "c": {"A", 2}}},
		{"renamed onto a name that was deleted before",
			versions{{"a": "A", "b": "B"}, {"a": "A"}, {"b": "A"}},
			map[string]held{"b": {"A", 3}}},
		{"renamed onto a name that was there",
			versions{{"a": "A", "b": "B"}, {"b": "A"}},
			map[string]held{"a": {"A", 1}, "b": {"A", 2}}},
		{"nothing", versions{{}}, nil},
	} {
		got := history(t, c.given...).FullHistory()
		want := map[string]Held{}
		for p, h := range c.want {
			want[p] = Held{Digest: sum(h.content), Version: h.version, Path: p}
		}
		if !maps.Equal(got, want) {
			t.Errorf("%s: got %v, want %v", c.why, got, want)
		}
	}
}

func TestEveryVersion(t *testing.T) {
	inv := history(t,
		map[string]string{"a": "1", "b": "other"},
		map[string]string{"a": "2"},
		map[string]string{"a": "1"},
		map[string]string{"a": "3"},
		map[string]string{"b": "3"},
		map[string]string{"b": "4"},
	)
	want := []Held{
		{sum("other"), 1, "b"},
		{sum("2"), 2, "a"},
		{sum("1"), 3, "a"},
		{sum("3"), 5, "b"},
		{sum("4"), 6, "b"},
	}
	got := inv.EveryVersion()
	if len(got) != 1 || len(got["b"]) != len(want) {
		t.Fatalf("got %v", got)
	}
	for i, h := range want {
		if got["b"][i] != h {
			t.Errorf("%d: got %v, want %v", i, got["b"][i], h)
		}
	}
}

func TestAsOf(t *testing.T) {
	inv := history(t, map[string]string{"a": "1"}, map[string]string{"a": "2"}, map[string]string{"a": "3"})
	// Two more versions of the third one's round.
	for _, c := range []string{"4", "5"} {
		n := next(3, map[string]string{"a": c})
		draft, err := inv.Add(n)
		if err != nil {
			t.Fatal(err)
		}
		inv = draft.Inventory
	}
	at := func(n int) time.Time { return testTime.Add(time.Duration(n) * time.Hour) }
	for _, c := range []struct {
		at   time.Time
		want int
	}{
		{testTime, 0}, {time.Time{}, 0}, {at(1).Add(-time.Nanosecond), 0},
		{at(1), 1}, {at(1).Add(time.Minute), 1}, {at(2), 2},
		{at(3).Add(-time.Second), 2}, {at(3), 5}, {at(100), 5},
		{at(2).In(time.FixedZone("", -7*3600)), 2},
	} {
		if got := inv.AsOf(c.at); got != c.want {
			t.Errorf("AsOf(%v) = %d, want %d", c.at, got, c.want)
		}
	}
}
