package ledger

import (
	"reflect"
	"testing"

	"linecamp/manifest"
)

func TestWhatWasSaidOutlivesTheProcess(t *testing.T) {
	dir := t.TempDir()
	l := open(t, dir)
	one := Said{"one", manifest.Decision{What: manifest.Explained, Who: "M. Reed", When: day(1), Why: "road washed out", Years: []string{"2013-2015"}}}
	two := Said{"two", manifest.Decision{What: manifest.Explained, Who: "M. Reed", When: day(2), Why: "\u2028 odd", Path: "a/b.jpg"}}
	ok(t, l.AddSaid(one))
	ok(t, l.AddSaid(two, one))
	shut(t, l)
	l = open(t, dir)
	got, err := l.Said()
	ok(t, err)
	if want := []Said{one, two, one}; !reflect.DeepEqual(got, want) {
		t.Fatalf("got %+v\nwant %+v", got, want)
	}
	ok(t, l.DropSaid(func(s Said) bool { return s.Object == "one" }))
	got, err = l.Said()
	ok(t, err)
	if !reflect.DeepEqual(got, []Said{two}) {
		t.Fatalf("got %+v", got)
	}
	// Damaged, it is nothing, and can be written again.
	ok(t, l.SetValue(saidKey, "{"))
	if got, err = l.Said(); err != nil || got != nil {
		t.Fatalf("got %+v, %v", got, err)
	}
	ok(t, l.AddSaid(one))
}
