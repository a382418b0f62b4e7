package daemon_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"linecamp/daemon"
	"linecamp/daemon/config"
	"linecamp/daemon/setup"
)

// An archive is set up once, and opened for each piece of work.
func Example() {
	dir, err := os.MkdirTemp("", "ranch")
	if err != nil {
		panic(err)
	}
	defer os.RemoveAll(dir)
	note := filepath.Join(dir, "monitoring", "Windmill", "Stake 3", "2026-06-21", "notes.txt")
	if err := os.MkdirAll(filepath.Dir(note), 0o755); err != nil {
		panic(err)
	}
	if err := os.WriteFile(note, []byte("blue grama, 4 inches"), 0o644); err != nil {
		panic(err)
	}
	old := time.Date(2026, 6, 21, 12, 0, 0, 0, time.Local) // left alone since
	if err := os.Chtimes(note, old, old); err != nil {
		panic(err)
	}
	ctx, file := context.Background(), filepath.Join(dir, "saltbush-draw.toml")
	if _, err := setup.Run(ctx, setup.Options{
		Archive: "saltbush-draw", Folder: filepath.Join(dir, "monitoring"), Config: file, State: filepath.Join(dir, "state"),
		Drives: []setup.NamedDir{{Name: "shelf", Dir: filepath.Join(dir, "shelf")}}, Log: quiet(),
	}); err != nil {
		panic(err)
	}

	archives, faults := config.Load(file)
	if len(faults) > 0 {
		panic(faults[0])
	}
	a, err := daemon.Open(archives[0], daemon.Options{Log: quiet()})
	if err != nil {
		panic(err)
	}
	defer a.Close()
	report, err := a.Mirror(ctx, daemon.MirrorOptions{}, nil)
	if err != nil {
		panic(err)
	}
	for _, c := range report.Copies {
		fmt.Println(c.Copy, c.State, c.Files)
	}
	// Output: shelf current 1
}
