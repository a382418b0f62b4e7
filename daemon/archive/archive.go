// Package archive is one archive on this machine, on which every round stands. Begin
// with [Open], which gives an [Archive]: its settings, its state folder with the ledger
// and the cached manifests, and the copies as they are opened for one piece of work
// ([Archive.Reach]). [Archive.Known] tells what should exist.
package archive

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"linecamp/daemon/authority"
	"linecamp/daemon/carried"
	"linecamp/daemon/config"
	"linecamp/daemon/config/claims"
	"linecamp/daemon/event"
	"linecamp/daemon/identity"
	"linecamp/daemon/ledger"
	"linecamp/daemon/reach"
	"linecamp/daemon/turns"
	"linecamp/manifest/words"
	"linecamp/verify"
)

// Options are what an archive needs beside its config.
type Options struct {
	Log *slog.Logger     // nil for slog.Default
	Now func() time.Time // nil for time.Now
	// Sinks take what happens in the rounds.
	Sinks []event.Sink
	// Line is what the command lines in reports need to come back to this
	// archive.
	Line words.Line
	// Among is how many archives this machine's settings describe, over whose
	// rounds the night is spread; 0 is one.
	Among int
	// Program is the program that drives are to hold beside the photos; the zero value
	// is none.
	Program carried.Program
}

// ErrLeftOut stands for a copy that was not asked for.
var ErrLeftOut = errors.New("left out of this run")

// Archive is one archive as this machine works on it: its config, its state
// folder with the ledger and the cached inventories. Copies are opened anew for each piece of work, since drives come and go.
// Its methods may be called at once; turns keeps them apart.
type Archive struct {
	Config config.Archive
	Dir    string // the state folder
	Ledger *ledger.Ledger
	Cache  *ledger.Inventories
	Turns  turns.Turns
	Events *event.Out
	Line   words.Line
	Log    *slog.Logger
	Now    func() time.Time
	Among  int // Options.Among

	Program carried.Program // Options.Program

	told    atomic.Bool // that the ledger was set aside
	closed  sync.Once
	closing error
}

// Open opens an archive's state. It touches no copy.
func Open(cfg config.Archive, o Options) (*Archive, error) {
	o = o.Filled()
	dir, err := cfg.StateDir()
	if err != nil {
		return nil, err
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("the state folder of %s cannot be made; choose another with state = \"…\" in %s: %w", cfg.Name, cfg.File, err)
	}
	a := &Archive{Config: cfg, Dir: dir, Among: o.Among, Program: o.Program, Line: o.Line, Log: o.Log, Now: o.Now, Turns: turns.In(dir, o.Log.With("archive", cfg.Name))}
	if a.Ledger, err = ledger.Open(dir); err != nil {
		return nil, fmt.Errorf("the ledger in %s cannot be opened: %w", dir, err)
	}
	a.Cache = ledger.OpenInventories(dir)
	a.Events = event.NewOut(cfg.Name, o.Now, o.Log, append(slices.Clone(o.Sinks), event.File(dir))...)
	if err = errors.Join(a.Ledger.KeyByID(a.IDs()), a.UseAgain()); err == nil {
		_, err = a.Self()
	}
	if err != nil {
		a.Ledger.Close()
		return nil, err
	}
	if err := claims.Note(dir, cfg.Claims(), o.Now()); err != nil {
		o.Log.Warn("the places of the settings cannot be noted: "+err.Error(), "archive", cfg.Name)
	}
	a.tellSetAside()
	return a, nil
}

// identity is who the state folder is. It is asked for each time, since another
// process may have given it another id.
func (a *Archive) Self() (identity.State, error) {
	base, err := a.Config.MachineDir()
	if err != nil {
		return identity.State{}, err
	}
	return identity.Open(a.Dir, base, func() (string, error) {
		id, _, err := a.Ledger.Value(reach.KeyID)
		if err != nil {
			return "", fmt.Errorf("the ledger: %w", err)
		}
		last, err := authority.LastAuthor(a.Ledger, id)
		if err == nil && last.Author == "" {
			if seal, serr := a.Cache.Seal(); serr == nil && seal.Len() > 0 {
				return identity.Earlier, nil
			}
		}
		return last.Author, err
	})
}

// tellSetAside says, once, that the ledger was damaged and begun anew.
func (a *Archive) tellSetAside() {
	if aside := a.Ledger.SetAside(); aside != "" && !a.told.Swap(true) {
		a.Log.Warn("what this computer remembered was damaged, so it was set aside and begun anew; no photo is lost by that, and every copy counts as not read back until it is verified again", "archive", a.Config.Name, "set aside", aside)
	}
}

// Close writes down what is still in memory. A second Close does nothing.
func (a *Archive) Close() error {
	a.closed.Do(func() {
		a.tellSetAside()
		a.Events.Close()
		a.closing = a.Ledger.Close()
	})
	return a.closing
}

// Name is the archive's name in its config.
func (a *Archive) Name() string { return a.Config.Name }

// Filled has what was left out.
func (o Options) Filled() Options {
	if o.Log == nil {
		o.Log = slog.Default()
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	return o
}

func (a *Archive) Opener() reach.Opener {
	return reach.Opener{Archive: a.Config, Ledger: a.Ledger, Now: a.Now}
}

// Reach opens copies, each within limit.
func (a *Archive) Reach(ctx context.Context, copies []config.Copy, limit time.Duration) (*reach.Copies, error) {
	return a.Opener().Open(ctx, copies, limit)
}

// ForVerify is a copy as verify takes it.
func ForVerify(h *reach.Copy) verify.Copy { return verify.Copy{Name: h.Name, ID: h.ID, Root: h.Root} }

// UseAgain makes a copy that the settings name, and once did not, one that this
// machine has yet to read.
func (a *Archive) UseAgain() error {
	for _, c := range a.Config.Copies {
		day, _, err := a.Ledger.Value(reach.NotUsed(c.ID))
		if err != nil {
			return err
		}
		if day == "" {
			continue
		}
		if err := errors.Join(authority.ReadAnew(a.Ledger, c.ID), a.Ledger.SetValue(reach.NotUsed(c.ID), "")); err != nil {
			return err
		}
	}
	return nil
}
