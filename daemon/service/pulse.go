package service

import (
	"context"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"syscall"
	"time"

	"linecamp/daemon/config"
	"linecamp/manifest/words"
)

// The service leaves a sign of life for each archive in its state folder, so
// that status can say whether one runs.
const (
	pulseFile  = "service.json"
	pulseEvery = 30 * time.Second
	pulseGone  = 4 * pulseEvery // after this long without a sign, none runs
)

// pulse is that sign: who serves the archive, and since when. The file's time is
// when it last did.
type pulse struct {
	Process int       `json:"process"` // 0 once it has stopped
	Began   time.Time `json:"began"`
}

// beat leaves the sign until ctx ends. What cannot be written is no reason to
// stop keeping photos.
func beat(ctx context.Context, cfg config.Archive, now func() time.Time) {
	dir, err := cfg.StateDir()
	if err != nil {
		return
	}
	file := filepath.Join(dir, pulseFile)
	p := pulse{Process: os.Getpid(), Began: now().UTC()}
	write := func() {
		b, err := json.Marshal(p)
		if err == nil && os.MkdirAll(dir, 0o700) == nil && os.WriteFile(file, b, 0o600) == nil {
			os.Chtimes(file, now(), now())
		}
	}
	write()
	tick := time.NewTicker(pulseEvery)
	defer tick.Stop()
	for {
		select {
		case <-tick.C:
			if os.Chtimes(file, now(), now()) != nil { // the state was taken away under it
				write()
			}
		case <-ctx.Done():
			p.Process = 0
			write()
			return
		}
	}
}

// State is whether a service runs the rounds of an archive here, and
// since when it does, or does not; null for never.
type State struct {
	Running bool       `json:"running"`
	Since   *time.Time `json:"since"`
}

// StateOf looks for a sign of life in an archive's state folder.
func StateOf(dir string, now time.Time) State {
	file := filepath.Join(dir, pulseFile)
	b, err := os.ReadFile(file)
	info, serr := os.Stat(file)
	var p pulse
	if err != nil || serr != nil || json.Unmarshal(b, &p) != nil {
		return State{}
	}
	if age := now.Sub(info.ModTime()); p.Process != 0 && age < pulseGone && lives(p.Process) {
		return State{Running: true, Since: moment(p.Began)}
	}
	return State{Since: moment(info.ModTime())}
}

func moment(t time.Time) *time.Time {
	t = t.UTC().Truncate(time.Second)
	return &t
}

// lives reports whether a process of that number runs, as far as can be known.
func lives(process int) bool {
	p, err := os.FindProcess(process)
	if err != nil {
		return false
	}
	defer p.Release()
	return runtime.GOOS == "windows" || !errors.Is(p.Signal(syscall.Signal(0)), os.ErrProcessDone)
}

// String says it as a sentence.
func (s State) String() string {
	switch {
	case s.Running:
		return "The service has been running since " + words.When(*s.Since) + "."
	case s.Since != nil:
		return "No service has run here since " + words.When(*s.Since) + "."
	}
	return "No service has ever run here."
}
