package setup

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/google/uuid"

	"linecamp/daemon/config"
	"linecamp/daemon/reach"
	"linecamp/manifest/store"
	"linecamp/manifest/store/drive"
	"linecamp/manifest/store/fault"
	"linecamp/manifest/store/s3"
)

// trial is a copy to be that was tried.
type trial struct {
	config.Copy
	root     store.Root
	adopted  bool // a root of ours was there
	identity store.Identity
	notes    []string
	able     s3.Tried
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
			var err error
			if c.Kind == config.KindDrive {
				err = t.tryDrive(ctx)
			} else {
				err = t.tryBucket(ctx, o)
			}
			if err != nil {
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

func (t *trial) tryDrive(ctx context.Context) error {
	root, err := drive.New(t.Copy.Root)
	if err != nil {
		return err
	}
	t.root = root
	if err := t.found(ctx); err != nil {
		return err
	}
	// Whether it can be written is learned by writing.
	f, err := os.CreateTemp(t.Copy.Root, ".linecamp-trial-*")
	if err != nil {
		return fmt.Errorf("nothing can be written to %s (%w); see who owns the folder, or whether the drive is mounted read-only", t.Copy.Root, plainly(err))
	}
	name := f.Name()
	_, err = f.WriteString("linecamp tries whether this drive can be written\n")
	if err = errors.Join(err, f.Sync(), f.Close(), os.Remove(name)); err != nil {
		return fmt.Errorf("%s cannot be written to: %w", t.Copy.Root, err)
	}
	if free, _, ok := Space(t.Copy.Root); ok {
		t.notes = append(t.notes, size(free)+" free")
	}
	return nil
}

// plainly takes the temporary file's name out of an error.
func plainly(err error) error {
	var p *os.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	return err
}

func (t *trial) tryBucket(ctx context.Context, o Options) error {
	if u, err := url.Parse(t.URL); err == nil && strings.Trim(u.Path, "/") == "" {
		t.Addressing = "host"
	}
	// The trial itself needs no fence: it finds out whether there is one.
	root, err := reach.OpenBucket(ctx, t.Copy)
	if err != nil {
		return err
	}
	t.root = root
	if err := t.found(ctx); err != nil {
		return err
	}
	if t.able, err = root.Probe(ctx); err != nil {
		return err
	}
	if !t.able.CreateOnly || !t.able.IfMatch {
		if !o.OneWriter {
			return fault.Say(ErrNoFence, "%s ignores conditional writes, so it cannot keep two machines from writing over one another. Choose another service; or, if this machine is the only one that will ever write there, say so with --one-writer", root.Name())
		}
		t.Fence = "none"
		t.notes = append(t.notes, "no fence: the service ignores conditional writes, and nothing but your word keeps a second machine from writing there. Never let one")
	}
	if !t.able.Checksum {
		t.ReadBack = true
		t.notes = append(t.notes, "the service does not check what it is sent, so linecamp reads every upload back. That costs a download for each")
	}
	switch {
	case !t.able.VersioningKnown:
		t.notes = append(t.notes, "these keys may not ask whether the bucket keeps overwritten versions. "+keepAdvice)
	case !t.able.Versioning:
		t.notes = append(t.notes, "the bucket does not keep overwritten versions, so whoever has the keys could overwrite photos for good. "+keepAdvice)
	}
	// From here on the copy is used as the config will say.
	if t.Fence == "" && !t.ReadBack {
		return nil
	}
	again, err := reach.OpenBucket(ctx, t.Copy)
	if err != nil {
		return err
	}
	root.Close()
	t.root = again
	return nil
}

const keepAdvice = "Switch on bucket versioning (or object lock) at the provider, and give linecamp keys that may not delete versions"

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
			note += "; this machine records there"
		} else if err == nil {
			note += fmt.Sprintf("; the machine %q records there. If this one is to do that from now on, run `linecamp setup --take-over`", author.Machine)
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
			notes = append(notes, fmt.Sprintf("%s has %s free, and the working folder holds %s: not everything will fit", t.Name, size(free), size(total)))
		}
		if most > 0 && largest > most {
			notes = append(notes, fmt.Sprintf("the file system of %s holds no file above %s; %s has %s and will be missing there", t.Name, size(most), name, size(largest)))
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

func size(n int64) string {
	for _, u := range []struct {
		of   int64
		name string
	}{{1e12, "TB"}, {1e9, "GB"}, {1e6, "MB"}, {1e3, "kB"}} {
		if n >= u.of {
			return fmt.Sprintf("%.1f %s", float64(n)/float64(u.of), u.name)
		}
	}
	return fmt.Sprintf("%d bytes", n)
}
