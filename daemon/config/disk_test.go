package config

import (
	"fmt"
	"path/filepath"
	"testing"
)

// What the settings of many archives ask of the system grows with their number,
// not with its square.
func TestManyArchivesAreComparedWithoutLookingAtEachPair(t *testing.T) {
	dir := t.TempDir()
	looked := func(n int) int {
		var all []loaded
		for i := range n {
			a := Archive{Name: fmt.Sprintf("ranch-%d", i), File: fmt.Sprintf("%d.toml", i), Folder: filepath.Join(dir, fmt.Sprint(i), "monitoring")}
			for c := range 2 {
				a.Copies = append(a.Copies, Copy{Name: fmt.Sprint(c), ID: fmt.Sprintf("%d-%d", i, c), Kind: KindDrive, Root: filepath.Join(dir, "drives", fmt.Sprint(i), fmt.Sprint(c))})
			}
			all = append(all, loaded{Archive: a, at: []int{0, 1}})
		}
		on := &disk{}
		if good, faults := apartOn(on, all); len(good) != n || len(faults) > 0 {
			t.Fatalf("%d of %d are good: %v", len(good), n, faults)
		}
		return on.looked
	}
	few, many := looked(20), looked(200)
	if few == 0 || many > 11*few {
		t.Errorf("%d calls for 20 archives, %d for 200", few, many)
	}
}
