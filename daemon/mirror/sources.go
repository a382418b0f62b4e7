package mirror

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"sync"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
)

// source is one place that may hold the bytes of a digest. It is only ever
// believed after the bytes were hashed on their way.
type source struct {
	name string
	size func(context.Context) (int64, error)
	open func(context.Context) (io.ReadCloser, int64, error)
	link bool // it lies behind a link, which may change bytes on the way
}

// known is the size of a source that needs no asking.
func known(n int64) func(context.Context) (int64, error) {
	return func(context.Context) (int64, error) { return n, nil }
}

// errNobody: no source in reach has bytes with the digest.
var errNobody = errors.New("no copy in reach has good bytes")

// errNotNow: a source that may have the bytes could not be asked to the end.
var errNotNow = errors.New("it cannot be read in this round")

// putter stores bytes in one place of a copy.
type putter func(context.Context, store.Content) (store.Info, error)

// putInto stores at one path of a version that is being built.
func putInto(b store.Build, path string) putter {
	return func(ctx context.Context, c store.Content) (store.Info, error) { return b.Put(ctx, path, c) }
}

// bring stores the bytes of d on c from the first source whose bytes match. A
// source that fails is passed over; an error of the destination ends it. Wrong
// bytes from behind a link are asked for once more. errNobody is said only when
// every source gave a final answer.
func (c *copyRun) bring(ctx context.Context, put putter, d manifest.Digest, from []source) (store.Info, error) {
	verdict := errNobody
	var last error
	for _, s := range from {
		info, its, err := c.bringFrom(ctx, put, d, s)
		if s.link && its && errors.Is(err, store.ErrDigest) {
			info, its, err = c.bringFrom(ctx, put, d, s)
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
			verdict = errNotNow
		}
	}
	if last != nil {
		return store.Info{}, fmt.Errorf("%w (%w)", verdict, last)
	}
	return store.Info{}, verdict
}

// bringFrom tries one source; its tells that it was the source that failed.
func (c *copyRun) bringFrom(ctx context.Context, put putter, d manifest.Digest, s source) (_ store.Info, its bool, err error) {
	n, err := s.size(ctx)
	if err != nil {
		return store.Info{}, true, err
	}
	w := &watched{c: c}
	info, err := put(ctx, store.Content{Size: n, SHA256: d, Open: func(ctx context.Context) (io.ReadCloser, error) {
		r, size, err := s.open(ctx)
		if err == nil && size != n {
			r.Close()
			err = fmt.Errorf("is %d bytes long instead of %d: %w", size, n, store.ErrDigest)
		}
		w.start(err)
		if err != nil {
			return nil, err
		}
		return &reading{r, io.LimitReader(r, n+1), w}, nil
	}})
	read, broken := w.end()
	if err != nil {
		c.advance(-read)
		// Bytes that the destination's link changed are no fault of the source.
		return info, broken != nil || errors.Is(err, store.ErrDigest) && !fault.Of(err).OfCopy(), err
	}
	c.advance(n - read) // what was there already was not read
	return info, false, nil
}

// watched shows how far the reading of a source has come, and keeps the error
// it ended with, so that a source's fault is not taken for the destination's.
// A transport may still be reading when the write it served has failed.
type watched struct {
	c      *copyRun
	mu     sync.Mutex
	read   int64
	broken error
	over   bool
}

// start begins anew: what an earlier try read does not count.
func (w *watched) start(err error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.c.advance(-w.read)
	w.read, w.broken = 0, err
}

func (w *watched) note(n int, err error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.over {
		return
	}
	w.read += int64(n)
	w.c.advance(int64(n))
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

// workingFile is the file at raw, a slash-separated path below the working
// folder. Only a regular file is opened.
func (r *round) workingFile(raw string, size int64) source {
	return source{name: "the working folder", size: known(size), open: func(context.Context) (io.ReadCloser, int64, error) {
		return openWorking(r.Tally.Folder, raw)
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

// held is the content at key on another copy. What is longer than the record
// says is not read; -1 is for a size that no record tells.
func held(c *copyRun, key string, size int64) source {
	return source{
		name: c.Name,
		link: c.Kind == "s3",
		size: func(ctx context.Context) (int64, error) {
			info, err := c.Root.Stat(ctx, key)
			if err == nil && size >= 0 && info.Size > size {
				err = fmt.Errorf("%s is %d bytes long instead of %d: %w", key, info.Size, size, store.ErrDigest)
			}
			return info.Size, err
		},
		open: func(ctx context.Context) (io.ReadCloser, int64, error) {
			r, info, err := c.Root.Open(ctx, key)
			return r, info.Size, err
		},
	}
}

// bytesSource serves bytes that are at hand.
func bytesSource(name string, b []byte) source {
	c := store.Bytes(b)
	return source{name: name, size: known(c.Size), open: func(ctx context.Context) (io.ReadCloser, int64, error) {
		r, err := c.Open(ctx)
		return r, c.Size, err
	}}
}

// sourcesFor lists, for every digest wanted, where its bytes may be: the
// working folder first, then drives, then buckets, leaving out the copy that
// asks. Copies that are not known to have version n come last: a ledger that lost
// its newest lines in a power cut knows less than there is.
func (r *round) sourcesFor(o *object, n int, wanted map[string]manifest.Digest, not *copyRun) map[manifest.Digest][]source {
	from := make(map[manifest.Digest][]source, len(wanted))
	for _, d := range wanted {
		from[d] = nil
	}
	if r.Tally != nil {
		for logical, d := range o.inv.State(o.head()) {
			if _, ok := from[d]; !ok {
				continue
			}
			if e, ok := o.rec.Paths[logical]; ok {
				from[d] = append(from[d], r.workingFile(rawPath(o.rec.Base, logical, e), e.Bytes))
			}
		}
	}
	if d := manifest.Sum(o.raw); o.raw != nil && hasKey(from, d) {
		from[d] = append(from[d], bytesSource("the state folder", o.raw))
	}
	if d, ok := o.inv.State(n)[manifest.RecordPath]; ok && hasKey(from, d) && n < o.head() {
		if raw, err := r.Cache.OldRecord(o.slug, d); err == nil {
			from[d] = append(from[d], bytesSource("the state folder", raw))
		} else if raw := o.rec.Earlier(o.inv.State(n)); raw != nil {
			from[d] = append(from[d], bytesSource("the newest record", raw))
		}
	}
	others := slices.DeleteFunc(slices.Clone(r.copies), func(c *copyRun) bool {
		return c == not || !c.usable()
	})
	lacks := func(c *copyRun) int {
		if c.has(o.slug) < n {
			return 2
		}
		return 0
	}
	slices.SortStableFunc(others, func(a, b *copyRun) int { return rank(a) + lacks(a) - rank(b) - lacks(b) })
	sizes := manifest.Sizes(o.inv.State(o.head()), o.rec)
	for d := range from {
		size, ok := sizes[d]
		if !ok {
			size = -1
		}
		for _, c := range others {
			for _, p := range o.inv.Content[d] {
				from[d] = append(from[d], held(c, o.slug+"/"+p, size))
			}
		}
	}
	return from
}

// rank puts copies that cost nothing to read before those behind a link.
func rank(c *copyRun) int {
	if c.Kind == "drive" {
		return 0
	}
	return 1
}

func hasKey[K comparable, V any](m map[K]V, k K) bool { _, ok := m[k]; return ok }

// rawPath is where logical lies below the working folder.
func rawPath(base, logical string, e manifest.Entry) string {
	name := logical
	if len(e.Raw) > 0 {
		name = string(e.Raw)
	}
	if base == "" {
		return name
	}
	return base + "/" + name
}

// tooLarge reports whether a copy's file system cannot hold a file of that size.
func tooLarge(err error) bool { return errors.Is(err, store.ErrTooLarge) }
