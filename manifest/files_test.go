package manifest

import (
	"maps"
	"testing"
)

func TestFilesCountsWhatPeopleHave(t *testing.T) {
	a, b, r := Sum([]byte("a")), Sum([]byte("b")), Sum([]byte("record"))
	inv := &Inventory{Versions: []Version{
		{State: map[string]Digest{RecordPath: r, "plot.jpg": a, "notes.txt": b}},
		{State: map[string]Digest{RecordPath: r, "moved.jpg": a, "copy.jpg": a, "again.jpg": a}},
		{State: map[string]Digest{RecordPath: r, "moved.jpg": a}},
	}}
	if got, want := inv.Files(), (map[Digest]int{a: 3, b: 1}); !maps.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}
