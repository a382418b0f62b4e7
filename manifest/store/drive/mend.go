package drive

import (
	"context"
	"errors"
	"io/fs"
	"path"

	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
)

// Mend replaces what stands under key by good bytes. The bad ones are given a
// second name in quarantine first, then the good ones take the place in one
// rename, so that at no moment less is there than before.
func (d *Drive) Mend(ctx context.Context, key string, good store.Content, aside string) error {
	if err := errors.Join(ctx.Err(), store.CheckKey(key)); err != nil {
		return err
	}
	_, is, err := store.DigestUpTo(ctx, d, key, true, good.Size)
	switch {
	case ctx.Err() != nil:
		return err
	case err == nil && is.SHA256 == good.SHA256:
		return nil
	}
	temp, _, err := d.stage(ctx, key, good)
	if err != nil {
		return err
	}
	defer d.unstage(temp)
	there, err := d.exists(key)
	if err != nil {
		return err
	}
	if there {
		if _, err := d.quarantineBy(now(), key, d.linkOrMove); err != nil {
			return err
		}
	}
	err = d.within(path.Dir(key), durable, func() error { return d.disk.Rename(temp, key) })
	if err != nil {
		return d.fail("mending", key, err)
	}
	if err := d.syncFolder(path.Dir(key)); err != nil {
		return err
	}
	_, is, err = store.DigestUpTo(ctx, d, key, true, good.Size)
	if err != nil {
		return err
	}
	if is.SHA256 != good.SHA256 {
		return fault.Say(store.ErrDigest, "%s: %s was written again and still reads back wrong; the drive may be failing", d.Name(), key)
	}
	return nil
}

// linkOrMove gives a file a second name, or where that cannot be (FAT, a folder
// in a file's place), moves it.
func (d *Drive) linkOrMove(from, to string) error {
	err := d.disk.Link(from, to)
	if err == nil || errors.Is(err, fs.ErrExist) || errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return d.disk.Rename(from, to)
}
