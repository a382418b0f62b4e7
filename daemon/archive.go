package daemon

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

	"linecamp/daemon/config"
	"linecamp/daemon/event"
	"linecamp/daemon/identity"
	"linecamp/daemon/ledger"
	"linecamp/daemon/mirror"
	"linecamp/daemon/reach"
	"linecamp/manifest/words"
	"linecamp/verify"
)

// Archive is one archive as this machine works on it: its config, its state
// folder with the ledger and the cached inventories. Copies are opened anew for each piece of work, since drives come and go.
// Its methods may be called at once; turns keeps them apart.
type Archive struct {
	cfg     config.Archive
	dir     string // state folder
	ledger  *ledger.Ledger
	cache   *ledger.Inventories
	turns   turns
	events  *event.Out
	line    words.Line
	log     *slog.Logger
	now     func() time.Time
	told    atomic.Bool // that the ledger was set aside
	glances sync.Map    // the ids of drives that the service is looking for just now
	among   int         // Options.Among
	// searched is when each of them was last looked for at other places.
	searched sync.Map
	closed   sync.Once
	closing  error
}

// Open opens an archive's state. It touches no copy.
func Open(cfg config.Archive, o Options) (*Archive, error) {
	o = o.filled()
	dir, err := cfg.StateDir()
	if err != nil {
		return nil, err
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("the state folder of %s cannot be made; choose another with state = \"…\" in %s: %w", cfg.Name, cfg.File, err)
	}
	a := &Archive{cfg: cfg, dir: dir, among: o.Among, line: o.Line, log: o.Log, now: o.Now, turns: turns{dir: dir, log: o.Log.With("archive", cfg.Name), patience: usualPatience}}
	if a.ledger, err = ledger.Open(dir); err != nil {
		return nil, fmt.Errorf("the ledger in %s cannot be opened: %w", dir, err)
	}
	a.cache = ledger.OpenInventories(dir)
	a.events = event.NewOut(cfg.Name, o.Now, o.Log, append(slices.Clone(o.Sinks), event.File(dir))...)
	if err = errors.Join(a.ledger.KeyByID(a.ids()), a.useAgain()); err == nil {
		_, err = a.identity()
	}
	if err != nil {
		a.ledger.Close()
		return nil, err
	}
	a.tellSetAside()
	return a, nil
}

// identity is who the state folder is. It is asked for each time, since another
// process may have given it another id.
func (a *Archive) identity() (identity.State, error) {
	base, err := a.cfg.MachineDir()
	if err != nil {
		return identity.State{}, err
	}
	return identity.Open(a.dir, base, func() (string, error) {
		id, _, err := a.ledger.Value(reach.KeyID)
		if err != nil {
			return "", fmt.Errorf("the ledger: %w", err)
		}
		last, err := mirror.LastAuthor(a.ledger, id)
		if err == nil && last.Author == "" {
			if seal, serr := a.cache.Seal(); serr == nil && seal.Len() > 0 {
				return identity.Earlier, nil
			}
		}
		return last.Author, err
	})
}

// tellSetAside says, once, that the ledger was damaged and begun anew.
func (a *Archive) tellSetAside() {
	if aside := a.ledger.SetAside(); aside != "" && !a.told.Swap(true) {
		a.log.Warn("what this machine remembered was damaged, so it was set aside and begun anew; no photo is lost by that, and every copy counts as not read back until it is verified again", "archive", a.cfg.Name, "set aside", aside)
	}
}

// Close writes down what is still in memory. A second Close does nothing.
func (a *Archive) Close() error {
	a.closed.Do(func() {
		a.tellSetAside()
		a.events.Close()
		a.closing = a.ledger.Close()
	})
	return a.closing
}

// Name is the archive's name in its config.
func (a *Archive) Name() string { return a.cfg.Name }

func (o Options) filled() Options {
	if o.Log == nil {
		o.Log = slog.Default()
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	return o
}

func (a *Archive) opener() reach.Opener {
	return reach.Opener{Archive: a.cfg, Ledger: a.ledger, Now: a.now}
}

// reach opens copies, each within limit.
func (a *Archive) reach(ctx context.Context, copies []config.Copy, limit time.Duration) (*reach.Copies, error) {
	return a.opener().Open(ctx, copies, limit)
}

func forVerify(h *reach.Copy) verify.Copy { return verify.Copy{Name: h.Name, ID: h.ID, Root: h.Root} }

func forMirror(h *reach.Copy) mirror.Copy {
	return mirror.Copy{Name: h.Name, ID: h.ID, Kind: h.Kind, Root: h.Root, Err: h.Err, Away: h.Away}
}
