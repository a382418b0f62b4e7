package manifest_test

import (
	"fmt"
	"maps"
	"slices"
	"time"

	"linecamp/manifest"
)

// A site gets its first two versions. A photo that was moved is stored once.
func Example() {
	plot := manifest.Sum([]byte("the bytes of a photo"))
	site := manifest.New(manifest.ObjectID("saltbush-draw", manifest.Slug("Windmill", "Stake 3", nil)))
	day := time.Date(2026, 7, 2, 2, 30, 0, 0, time.UTC)
	for _, path := range []string{"2026/plot.jpg", "2026-06-21/plot.jpg"} {
		draft, err := site.Add(manifest.Next{
			Created: day,
			User:    manifest.User{Name: "office"},
			State:   map[string]manifest.Digest{path: plot},
			Record: manifest.Record{Site: "Stake 3", Pasture: "Windmill", Paths: map[string]manifest.Entry{
				path: {Bytes: 20, Modified: day, Kind: manifest.KindPhoto, View: "plot"},
			}},
		})
		if err != nil {
			fmt.Println(err)
			return
		}
		site = draft.Inventory
	}

	// What a copy holds is read back from the inventory's bytes.
	read, err := manifest.DecodeInventory(site.Encode())
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(read.ID, "has", read.Head(), "versions")
	fmt.Println("stored at", read.Content[plot])
	for _, path := range slices.Sorted(maps.Keys(read.FullHistory())) {
		fmt.Println("brought back as", path)
	}
	// Output:
	// linecamp:saltbush-draw:windmill--stake-3 has 2 versions
	// stored at [v1/content/2026/plot.jpg]
	// brought back as 2026-06-21/plot.jpg
}
