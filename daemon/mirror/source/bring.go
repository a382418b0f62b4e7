// Package source brings bytes from whichever place has good ones. Call [Bring] with
// a digest and the places that may have it: [Working] for a file of the working
// folder, [Held] for content of a copy, [Bytes] for what is at hand. No place is
// believed: the bytes are hashed on their way, and the next place is asked where
// they are not those of the digest.
package source

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sync"

	"linecamp/daemon/authority"
	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
)

// Source is one place that may hold the bytes of a digest. It is only ever
// believed after the bytes were hashed on their way.
type Source struct {
	name string
	size func(context.Context) (int64, error)
	open func(context.Context) (io.ReadCloser, int64, error)
	link bool // it lies behind a link, which may change bytes on the way
}

// known is the size of a source that needs no asking.
func known(n int64) func(context.Context) (int64, error) {
	return func(context.Context) (int64, error) { return n, nil }
}

// ErrNobody: no source in reach has bytes with the digest.
var ErrNobody = errors.New("no copy in reach has good bytes")

// ErrNotNow: a source that may have the bytes could not be asked to the end.
var ErrNotNow = errors.New("it cannot be read in this round")

// Putter stores bytes in one place of a copy.
type Putter func(context.Context, store.Content) (store.Info, error)

// Into stores at one path of a version that is being built.
func Into(b store.Build, path string) Putter {
	return func(ctx context.Context, c store.Content) (store.Info, error) { return b.Put(ctx, path, c) }
}

// Bring stores the bytes of d with put, from the first source whose bytes match. A
// source that fails is passed over; an error of the destination ends it. Wrong
// bytes from behind a link are asked for once more. ErrNobody is said only when
// every source gave a final answer.
func Bring(ctx context.Context, put Putter, d manifest.Digest, from []Source, advance func(int64)) (store.Info, error) {
	verdict := ErrNobody
	var last error
	for _, s := range from {
		info, its, err := bringFrom(ctx, put, d, s, advance)
		if s.link && its && errors.Is(err, store.ErrDigest) {
			info, its, err = bringFrom(ctx, put, d, s, advance)
		}
		if err == nil {
			return info, nil
		}
		if ctx.Err() != nil {
			return store.Info{}, ctx.Err()
		}
		if !its {
			return store.Info{}, err
		}
		last = fmt.Errorf("%s: %w", s.name, err)
		if fault.Of(err).OfCopy() { // nothing is known of the file
			verdict = ErrNotNow
		}
	}
	if last != nil {
		return store.Info{}, fmt.Errorf("%w (%w)", verdict, last)
	}
	return store.Info{}, verdict
}

// bringFrom tries one source; its tells that it was the source that failed.
func bringFrom(ctx context.Context, put Putter, d manifest.Digest, s Source, advance func(int64)) (_ store.Info, its bool, err error) {
	n, err := s.size(ctx)
	if err != nil {
		return store.Info{}, true, err
	}
	w := &watched{advance: advance}
	info, err := put(ctx, store.Content{Size: n, SHA256: d, Open: func(ctx context.Context) (io.ReadCloser, error) {
		r, size, err := s.open(ctx)
		if err == nil && size != n {
			r.Close()
			err = fault.Say(store.ErrDigest, "is %d bytes long instead of %d", size, n)
		}
		w.start(err)
		if err != nil {
			return nil, err
		}
		return &reading{r, io.LimitReader(r, n+1), w}, nil
	}})
	read, broken := w.end()
	if err != nil {
		advance(-read)
		// Bytes that the destination's link changed are no fault of the source.
		return info, broken != nil || errors.Is(err, store.ErrDigest) && !fault.Of(err).OfCopy(), err
	}
	advance(n - read) // what was there already was not read
	return info, false, nil
}

// watched shows how far the reading of a source has come, and keeps the error
// it ended with, so that a source's fault is not taken for the destination's.
// A transport may still be reading when the write it served has failed.
type watched struct {
	advance func(int64)
	mu      sync.Mutex
	read    int64
	broken  error
	over    bool
}

// start begins anew: what an earlier try read does not count.
func (w *watched) start(err error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.advance(-w.read)
	w.read, w.broken = 0, err
}

func (w *watched) note(n int, err error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.over {
		return
	}
	w.read += int64(n)
	w.advance(int64(n))
	if err != nil && err != io.EOF {
		w.broken = err
	}
}

func (w *watched) end() (read int64, broken error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.over = true
	return w.read, w.broken
}

// reading is one try at reading the source.
type reading struct {
	io.Closer
	from io.Reader // no more than one byte beyond what was said
	w    *watched
}

func (r *reading) Read(p []byte) (int, error) {
	n, err := r.from.Read(p)
	r.w.note(n, err)
	return n, err
}

// Working is the file at raw, a slash-separated path below the working
// folder. Only a regular file is opened.
func Working(folder, raw string, size int64) Source {
	return Source{name: "your folder", size: known(size), open: func(context.Context) (io.ReadCloser, int64, error) {
		return openWorking(folder, raw)
	}}
}

func openWorking(folder, raw string) (io.ReadCloser, int64, error) {
	name := filepath.Join(folder, filepath.FromSlash(raw))
	before, err := os.Lstat(name)
	if err != nil {
		return nil, 0, err
	}
	if !before.Mode().IsRegular() {
		return nil, 0, &fs.PathError{Op: "open", Path: name, Err: errors.New("is no longer a regular file")}
	}
	f, err := os.OpenFile(name, os.O_RDONLY|nonblock, 0)
	if err != nil {
		return nil, 0, err
	}
	st, err := f.Stat()
	if err != nil || !os.SameFile(st, before) {
		f.Close()
		return nil, 0, &fs.PathError{Op: "open", Path: name, Err: errors.New("was replaced while being opened")}
	}
	return f, st.Size(), nil
}

// Held is the content at key on another copy. What is longer than the record
// says is not read; -1 is for a size that no record tells.
func Held(c authority.Copy, key string, size int64) Source {
	return Source{
		name: c.Name,
		link: !c.Can().Local,
		size: func(ctx context.Context) (int64, error) {
			info, err := c.Root.Stat(ctx, key)
			if err == nil && size >= 0 && info.Size > size {
				err = fault.Say(store.ErrDigest, "%s is %d bytes long instead of %d", key, info.Size, size)
			}
			return info.Size, err
		},
		open: func(ctx context.Context) (io.ReadCloser, int64, error) {
			r, info, err := c.Root.Open(ctx, key)
			return r, info.Size, err
		},
	}
}

// Bytes serves bytes that are at hand.
func Bytes(name string, b []byte) Source {
	c := store.Bytes(b)
	return Source{name: name, size: known(c.Size), open: func(ctx context.Context) (io.ReadCloser, int64, error) {
		r, err := c.Open(ctx)
		return r, c.Size, err
	}}
}
