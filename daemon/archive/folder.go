package archive

import (
	"context"
	"errors"
	"fmt"
	"os/user"

	"linecamp/manifest/tally"
)

// ErrNoFolder: the archive has no working folder on this machine.
var ErrNoFolder = errors.New("this computer only keeps the archive, and does not have its folder")

// Progress tells how far a task has come, in bytes; total 0 is unknown. It may
// be called from several goroutines. Task names what is worked on: a copy's
// name, "working", or "tally".
type Progress func(task string, done, total int64)

// tally reads the working folder, with the ledger as its memory.
func (a *Archive) Folder(ctx context.Context, p Progress) (*tally.Result, error) {
	if a.Config.Folder == "" {
		return nil, fmt.Errorf("%s: %w", a.Config.Name, ErrNoFolder)
	}
	t, err := tally.Read(ctx, tally.Options{
		Folder: a.Config.Folder, Layout: a.Config.Layout, Views: a.Config.Views, Dates: a.Config.Dates,
		Cache: a.Ledger, Now: a.Now,
		Progress: func(_ int, bytes int64) { p.Tell("tally", bytes, 0) },
	})
	if ferr := a.Ledger.Flush(); err == nil && ferr != nil {
		return nil, fmt.Errorf("writing the ledger: %w", ferr)
	}
	return t, err
}

// Tell is safe on a nil Progress.
func (p Progress) Tell(task string, done, total int64) {
	if p != nil {
		p(task, done, total)
	}
}

// Person names who runs this, for what goes on file.
func Person() string {
	u, err := user.Current()
	if err != nil {
		return "unknown"
	}
	if u.Name != "" {
		return u.Name
	}
	return u.Username
}
