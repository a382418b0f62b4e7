package small

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"golang.org/x/sync/singleflight"
)

// version counts the ways in which small pictures are made: what was made in an
// earlier one is made again.
const version = 1

// longest is how long one picture may take.
const longest = 2 * time.Minute

// Shelf keeps small pictures in a folder.
type Shelf struct {
	dir   string
	limit int64
	one   singleflight.Group

	mu    sync.Mutex
	used  map[string]time.Time // when each was last looked at
	sizes map[string]int64
	total int64
}

// Open opens a shelf in a folder, which is made where it is not there, for so many
// bytes.
func Open(dir string, limit int64) (*Shelf, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, err
	}
	s := &Shelf{dir: dir, limit: limit, used: map[string]time.Time{}, sizes: map[string]int64{}}
	list, err := os.ReadDir(dir)
	if err != nil {
		return nil, err
	}
	for _, e := range list {
		info, err := e.Info()
		if err != nil || !info.Mode().IsRegular() {
			continue
		}
		if !strings.HasSuffix(e.Name(), ending) { // left half-written by a crash, or made in an earlier way
			os.Remove(filepath.Join(dir, e.Name()))
			continue
		}
		s.used[e.Name()], s.sizes[e.Name()] = info.ModTime(), info.Size()
		s.total += info.Size()
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.clear()
	return s, nil
}

var ending = fmt.Sprintf(".v%d.jpg", version)

func (p Photo) name(s Size) string { return fmt.Sprintf("%s-%d-%d%s", p.Digest, s, p.Turn, ending) }

// Get opens a photo's small picture, which is made where there is none yet. It
// goes on being made for others who wait for it, and for later, where ctx ends.
func (s *Shelf) Get(ctx context.Context, p Photo, size Size) (*os.File, error) {
	name := p.name(size)
	if f, err := s.open(name); err == nil || !errors.Is(err, fs.ErrNotExist) {
		return f, err
	}
	// Whoever sees it along the years will soon see it large: of one decoding, both.
	sizes := []Size{Strip, Large}
	if size == Fine {
		sizes = []Size{Fine}
	}
	made := s.one.DoChan(p.name(sizes[0]), func() (any, error) {
		if f, err := s.open(name); err == nil { // another made it just now
			return nil, f.Close()
		}
		ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), longest)
		defer cancel()
		all, err := p.make(ctx, sizes...)
		for i := range all {
			if err == nil {
				err = s.put(p.name(sizes[i]), all[i])
			}
		}
		return nil, err
	})
	select {
	case r := <-made:
		if r.Err != nil {
			return nil, r.Err
		}
		return s.open(name)
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

func (s *Shelf) open(name string) (*os.File, error) {
	f, err := os.Open(filepath.Join(s.dir, name))
	if err != nil {
		return nil, err
	}
	now := time.Now()
	s.mu.Lock()
	was := s.used[name]
	s.used[name] = now
	s.mu.Unlock()
	if now.Sub(was) > time.Hour { // so that the next start knows it too
		os.Chtimes(f.Name(), now, now)
	}
	return f, nil
}

func (s *Shelf) put(name string, b []byte) error {
	f, err := os.CreateTemp(s.dir, "making-*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	_, err = f.Write(b)
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	if err == nil {
		err = os.Rename(f.Name(), filepath.Join(s.dir, name))
	}
	if err != nil {
		return err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.total += int64(len(b)) - s.sizes[name]
	s.used[name], s.sizes[name] = time.Now(), int64(len(b))
	s.clear()
	return nil
}

// clear takes away what nobody looked at longest, down to nine tenths of the limit.
func (s *Shelf) clear() {
	if s.total <= s.limit {
		return
	}
	names := make([]string, 0, len(s.used))
	for n := range s.sizes {
		names = append(names, n)
	}
	slices.SortFunc(names, func(a, b string) int { return s.used[a].Compare(s.used[b]) })
	for _, n := range names {
		if s.total <= s.limit*9/10 {
			return
		}
		if err := os.Remove(filepath.Join(s.dir, n)); err != nil && !errors.Is(err, fs.ErrNotExist) {
			continue
		}
		s.total -= s.sizes[n]
		delete(s.sizes, n)
		delete(s.used, n)
	}
}
