package s3

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"
	"time"

	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
	"linecamp/manifest/wholefile"
)

// Mend replaces bad bytes in the bucket. They are read twice, so that a broken
// link is not taken for damage; saved into the local folder aside; and replaced
// only if they still are what was read.
func (s *Bucket) Mend(ctx context.Context, key string, good store.Content, aside string) error {
	if err := store.CheckKey(key); err != nil {
		return err
	}
	_, first, err := store.DigestUpTo(ctx, s, key, true, good.Size)
	longer := err == nil && first.Size > good.Size
	switch {
	case errors.Is(err, fs.ErrNotExist):
		if _, err := s.put(ctx, key, good, condition{absent: true}); err != nil {
			return err
		}
		return s.readsBack(ctx, key, good)
	case err != nil:
		return err
	case first.SHA256 == good.SHA256:
		return nil
	}
	second, err := s.saveAside(ctx, key, aside, good.Size+mostAside)
	if err != nil {
		return err
	}
	if second.SHA256 != first.SHA256 && !longer || second.ETag != first.ETag {
		return fault.Say(store.ErrDigest, "%s: %s read differently twice, so the connection may be at fault; nothing was replaced", s.Name(), key)
	}
	if _, err := s.put(ctx, key, good, condition{etag: second.ETag}); err != nil {
		return err
	}
	return s.readsBack(ctx, key, good)
}

// mostAside is how much longer than the good bytes bad ones may be to be kept in
// the state folder.
const mostAside = 256 << 20

// saveAside keeps the bad bytes in a new local file named by time and key.
func (s *Bucket) saveAside(ctx context.Context, key, aside string, most int64) (store.Info, error) {
	if aside == "" {
		return store.Info{}, errors.New("no folder was given to keep the bad bytes in, so nothing was replaced")
	}
	if err := os.MkdirAll(aside, 0o700); err != nil {
		return store.Info{}, err
	}
	stamp := time.Now().UTC().Format("20060102T150405.000000000Z")
	f, err := os.CreateTemp(aside, stamp+"-*-"+clipEnd(strings.ReplaceAll(key, "/", "_"))) // 0600
	if err != nil {
		return store.Info{}, err
	}
	name := f.Name()
	defer f.Close()
	src, info, err := s.Open(ctx, key)
	if err != nil {
		os.Remove(name)
		return store.Info{}, err
	}
	defer src.Close()
	if info.Size > most {
		os.Remove(name)
		return store.Info{}, fmt.Errorf("%s: %s has %d bytes, more than are kept aside on this computer, so nothing was replaced. Move it to another key first", s.Name(), key, info.Size)
	}
	sum, err := store.CopySums(ctx, f, src)
	if err == nil {
		err = f.Sync()
	}
	if err != nil {
		os.Remove(name)
		return store.Info{}, fmt.Errorf("saving the bad bytes of %s: %w", key, err)
	}
	info.SHA256 = sum.SHA256
	return info, errors.Join(f.Close(), syncName(aside))
}

// syncName makes the name of a new file in a local folder last.
func syncName(folder string) error {
	dir, err := os.Open(folder)
	if err != nil {
		return err
	}
	defer dir.Close()
	return wholefile.SyncOpen(dir)
}

// clipEnd keeps the end of a long name, where the file's own name is.
func clipEnd(s string) string {
	const most = 180
	if len(s) > most {
		s = s[len(s)-most:]
	}
	return s
}

func (s *Bucket) readsBack(ctx context.Context, key string, good store.Content) error {
	_, now, err := store.DigestOf(ctx, s, key, true)
	if err != nil {
		return err
	}
	if now.SHA256 != good.SHA256 {
		return fault.Say(store.ErrDigest, "%s: %s was stored again and still reads back wrong", s.Name(), key)
	}
	return nil
}
