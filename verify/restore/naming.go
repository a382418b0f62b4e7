package restore

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"

	"linecamp/manifest/wholefile"
)

// A batch of files is made durable with one call before any of them is named.
const (
	batchFiles = 512
	batchBytes = 256 << 20
)

// nameAll gives the written files their names, batch by batch, while the next
// are being written. It goes on until in is closed; once ctx has ended, what is
// left is removed instead.
func (d *delivery) nameAll(ctx context.Context, last bool, in <-chan written) error {
	var batch []written
	var size int64
	flush := func() {
		if len(batch) == 0 {
			return
		}
		if ctx.Err() == nil && !d.mustSync {
			if err := syncAll(d.target.dir); err != nil {
				d.stop(fmt.Errorf("%s: what was restored could not be made durable: %w", d.target.name, err))
			}
		}
		for _, w := range batch {
			d.name(ctx, w)
			d.release(w.folder)
		}
		batch, size = batch[:0], 0
	}
	for w := range in {
		batch = append(batch, w)
		size += w.size
		if len(batch) >= batchFiles || size >= batchBytes {
			flush()
		}
	}
	flush()
	if ctx.Err() != nil || !last {
		return nil
	}
	// The names themselves.
	sync := func() error { return syncAll(d.target.dir) }
	if d.mustSync {
		sync = d.syncFolders
	}
	if err := sync(); err != nil {
		return fmt.Errorf("%s: what was restored could not be made durable: %w", d.target.name, err)
	}
	return nil
}

// syncFolders makes the names in every folder that was written to, and those of
// the folders up to where the target was made, durable one by one.
func (d *delivery) syncFolders() error {
	sync := func(f *os.File, err error) error {
		if err != nil {
			return err
		}
		return errors.Join(wholefile.SyncOpen(f), f.Close())
	}
	synced := map[string]bool{}
	for at := range d.used {
		for ; !synced[at]; at = path.Dir(at) { // the target itself is "."
			synced[at] = true
			if err := sync(d.target.root.Open(at)); err != nil {
				return err
			}
		}
	}
	for _, at := range d.target.grown {
		if err := sync(os.Open(at)); err != nil {
			return err
		}
	}
	return nil
}

// name gives one file its name, if nothing has it.
func (d *delivery) name(ctx context.Context, w written) {
	if ctx.Err() != nil {
		_ = w.folder.root.Remove(w.temp)
		return
	}
	name := path.Base(w.item.dest)
	err := rename(w.folder, w.temp, name)
	if err == nil {
		d.delivered(w.item, w.size, false)
		return
	}
	_ = w.folder.root.Remove(w.temp)
	if errors.Is(err, fs.ErrExist) {
		// Since it was looked for; or two names that are one on this file system.
		d.occupied(ctx, w.folder, name, w.item)
		return
	}
	d.targetFault(w.item, "it cannot be given its name", err)
}
