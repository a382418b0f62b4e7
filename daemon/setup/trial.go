package setup

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"time"

	"github.com/google/uuid"

	"linecamp/daemon/config"
	"linecamp/daemon/keys"
	"linecamp/manifest/store"
	"linecamp/manifest/words"
)

// trial is a copy to be that was tried.
type trial struct {
	config.Copy
	root     store.Root
	adopted  bool // a root of ours was there
	identity store.Identity
	notes    []string
}

// CopyReport is what setup has to say of one copy.
type CopyReport struct {
	Copy    string   `json:"copy"`
	Kind    string   `json:"kind"`
	Place   string   `json:"place"`
	ID      string   `json:"id"`
	Adopted bool     `json:"adopted"` // it was a copy of this archive already
	Notes   []string `json:"notes"`
}

// tryTime bounds the trial of one copy.
const tryTime = 2 * time.Minute

// tryAll tries every copy, all at once, and changes none but for a tiny file
// that comes and goes. The error names each that does not work.
func tryAll(ctx context.Context, o Options, copies []config.Copy) ([]*trial, error) {
	ctx, cancel := context.WithTimeout(ctx, tryTime)
	defer cancel()
	tried := make([]*trial, len(copies))
	faults := make([]error, len(copies))
	var trying sync.WaitGroup
	for i, c := range copies {
		trying.Go(func() {
			t := &trial{Copy: c}
			tried[i] = t
			if err := t.try(ctx, o); err != nil {
				faults[i] = fmt.Errorf("%s: %w", c.Name, err)
			}
		})
	}
	trying.Wait()
	return tried, errors.Join(faults...)
}

// found settles whether a root of ours is there already.
func (t *trial) found(ctx context.Context) error {
	id, err := t.root.Identity(ctx)
	if errors.Is(err, store.ErrNoRoot) {
		return nil // Init decides whether the place is free
	}
	if err != nil {
		return err
	}
	t.adopted, t.identity = true, id
	return nil
}

// try opens the place of the copy, settles what is there, and learns what it can do.
func (t *trial) try(ctx context.Context, o Options) (err error) {
	kind := config.Kinds[t.Kind]
	if t.root, err = kind.Place(ctx, &t.Copy); err != nil {
		t.root = nil
		return err
	}
	if err := t.found(ctx); err != nil {
		return err
	}
	var notes []string
	t.root, notes, err = kind.Try(ctx, t.root, &t.Copy, o.OneWriter)
	if t.Tried != nil {
		notes = append(notes, keys.From(*t.Tried).Advice(t.Name)...)
	}
	if t.notes = append(t.notes, notes...); err == nil && t.Can().Local {
		if free, _, ok := Space(t.Copy.Root); ok {
			t.notes = append(t.notes, words.Size(free)+" free")
		}
	}
	return err
}

// settle makes the root, or takes over the one that is there, and completes
// what the config says of the copy. machine is this machine's author id.
func (t *trial) settle(ctx context.Context, archiveID, archive, machine string, now time.Time) (CopyReport, error) {
	if !t.adopted {
		t.identity = store.Identity{ArchiveID: archiveID, Archive: archive, CopyID: uuid.NewString(), Created: now.UTC().Truncate(time.Second)}
		if err := t.root.Init(ctx, t.identity); err != nil {
			return CopyReport{}, fmt.Errorf("%s: %w", t.Name, err)
		}
	} else {
		note := "it already was a copy of this archive and is used as it is"
		if author, _, err := store.ReadAuthor(ctx, t.root); err == nil && author.Author == machine {
			note += "; this computer records there"
		} else if err == nil {
			note += fmt.Sprintf("; the computer %q records there. If this one is to do that from now on, run `linecamp setup --take-over`", author.Machine)
		}
		t.notes = append(t.notes, note)
	}
	t.ID = t.identity.CopyID
	r := CopyReport{Copy: t.Name, Kind: t.Kind, Place: t.Place(), ID: t.ID, Adopted: t.adopted, Notes: t.notes}
	if r.Notes == nil {
		r.Notes = []string{}
	}
	return r, nil
}

// fits compares what there is to keep with what the drives can hold.
func fits(cfg config.Archive, tried []*trial) []string {
	if cfg.Folder == "" {
		return nil
	}
	total, largest, name := measure(cfg.Folder)
	var notes []string
	for _, t := range tried {
		if !t.Can().Local {
			continue
		}
		free, most, ok := Space(t.Copy.Root)
		if !ok {
			continue
		}
		if total > free && !t.adopted {
			notes = append(notes, fmt.Sprintf("%s has %s free, and your folder holds %s: not everything will fit", t.Name, words.Size(free), words.Size(total)))
		}
		if most > 0 && largest > most {
			notes = append(notes, fmt.Sprintf("the file system of %s holds no file above %s; %s has %s and will be missing there", t.Name, words.Size(most), name, words.Size(largest)))
		}
	}
	return notes
}

// measure adds up a folder without opening a file. What cannot be listed is
// left out: this is for a word of warning only.
func measure(folder string) (total, largest int64, name string) {
	filepath.WalkDir(folder, func(path string, d os.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() {
			return nil
		}
		if info, err := d.Info(); err == nil {
			total += info.Size()
			if info.Size() > largest {
				largest, name = info.Size(), path
			}
		}
		return nil
	})
	return total, largest, name
}
