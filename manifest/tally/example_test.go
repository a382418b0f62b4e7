package tally_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"linecamp/manifest/tally"
)

// A working folder of two visits is read. What waits, and what has no site, is told too.
func ExampleRead() {
	folder, err := os.MkdirTemp("", "working-folder-")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer os.RemoveAll(folder)
	for _, path := range []string{
		"Windmill/Stake 3/2025-06-20/plot.jpg", "Windmill/Stake 3/2026-06-21/plot.jpg",
		"Windmill/Stake 3/2026-06-21/landscape.jpg", "Windmill/2026 notes.txt", "budget.xls",
	} {
		name := filepath.Join(folder, filepath.FromSlash(path))
		os.MkdirAll(filepath.Dir(name), 0o777)
		if err := os.WriteFile(name, []byte(path), 0o666); err != nil {
			fmt.Println(err)
			return
		}
	}

	// A file that changed a moment ago would wait, so the clock stands a day ahead.
	later := func() time.Time { return time.Now().Add(48 * time.Hour) }
	result, err := tally.Read(context.Background(), tally.Options{Folder: folder, Now: later})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, site := range result.Sites {
		for _, visit := range site.Visits {
			fmt.Println(site.Pasture, site.Site, visit.Date)
			for photo := range visit.Photos.All() {
				fmt.Println("  photo", photo.View)
			}
			for note := range visit.Shared.All() {
				fmt.Println("  note", note.Path)
			}
		}
	}
	fmt.Println(result.Unfiled.Len(), "files have no site;", len(result.Waiting), "wait")
	// Output:
	// Windmill Stake 3 2025-06-20
	//   photo plot
	// Windmill Stake 3 2026-06-21
	//   photo landscape
	//   photo plot
	//   note Windmill/2026 notes.txt
	// 2 files have no site; 0 wait
}
