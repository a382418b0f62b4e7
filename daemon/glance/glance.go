// Package glance tells what of a working folder no version has, without opening a
// file: from what the manifests and records say, and what a walk sees. Call [Look],
// or [Tallied] where the folder was just read.
//
// A file counts as recorded where its path has the digest that was last read of
// it, or, where it was never read here or looks otherwise since, where the
// record of its path has its size and its time. What a walk cannot see, bytes
// that changed while size and time did not, a round finds.
package glance

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/cespare/xxhash/v2"

	"linecamp/manifest"
	"linecamp/manifest/walk"
)

// Seen is what a walk came to.
type Seen struct {
	Files int
	Print uint64 // the sum of their marks; see [walk.Glimpse]

	// What no version has: Late stood there before the time asked for, New came or
	// changed since, and Moving changed within the last minute and may still be
	// being written.
	Late, New, Moving Share
}

// Unrecorded is all of that.
func (s Seen) Unrecorded() (files int, bytes int64) {
	return s.Late.Files + s.New.Files + s.Moving.Files, s.Late.Bytes + s.New.Bytes + s.Moving.Bytes
}

// Share is some of the files.
type Share struct {
	Files  int
	Bytes  int64
	Path   string    // the first of them, in byte order
	Oldest time.Time // when the one changed that has stood there longest
}

func (s *Share) add(g walk.Glimpse) {
	if s.Files == 0 || g.Path < s.Path {
		s.Path = g.Path
	}
	if s.Files == 0 || g.Changed.Before(s.Oldest) {
		s.Oldest = g.Changed
	}
	s.Files++
	s.Bytes += g.Size
}

// ErrFolder: the folder cannot be walked.
var ErrFolder = errors.New("your folder cannot be looked through")

func look(ctx context.Context, folder string, known Known, see func(walk.Glimpse)) error {
	err := walk.Glance(ctx, folder, known, see)
	if err != nil && ctx.Err() == nil {
		return fmt.Errorf("%w: %w", ErrFolder, err)
	}
	return err
}

// Known is what a cache says of the files of one folder.
type Known func(dir string) ([]walk.Known, error)

// Print walks a folder and says only how many files there are and what they
// come to.
func Print(ctx context.Context, folder string) (files int, print uint64, err error) {
	err = look(ctx, folder, nil, func(g walk.Glimpse) {
		files++
		print += g.Mark
	})
	return files, print, err
}

// Look walks a folder and compares it with what is recorded. Files that changed
// before since are late.
func Look(ctx context.Context, folder string, known Known, recorded *Recorded, since, now time.Time) (Seen, error) {
	var s Seen
	err := look(ctx, folder, known, func(g walk.Glimpse) {
		s.Files++
		s.Print += g.Mark
		if !recorded.has(g) {
			s.lacks(g, since, now)
		}
	})
	return s, err
}

// lacks counts a file that no version has.
func (s *Seen) lacks(g walk.Glimpse, since, now time.Time) {
	switch {
	case walk.Fresh(g.Modified, now):
		s.Moving.add(g)
	case g.Changed.Before(since):
		s.Late.add(g)
	default:
		s.New.add(g)
	}
}

// Recorded is what the newest versions hold, two numbers for each file: a million
// files take sixteen megabytes. Add all sites before the first look.
type Recorded struct {
	exact, rough []uint64
	Sites        int // added
	sorted       bool
}

// Add adds the newest manifest and record of a site.
func (r *Recorded) Add(inv *manifest.Inventory, rec *manifest.Record) {
	r.Sites++
	for logical, d := range inv.State(inv.Head()) {
		e, ok := rec.Paths[logical]
		if !ok {
			continue
		}
		path := manifest.RawPath(rec.Base, logical, e)
		r.exact = append(r.exact, walk.BytesMark("", path, d))
		r.rough = append(r.rough, rough(path, e.Bytes, e.Modified))
	}
}

func (r *Recorded) has(g walk.Glimpse) bool {
	if !r.sorted {
		slices.Sort(r.exact)
		slices.Sort(r.rough)
		r.sorted = true
	}
	if g.Known != (manifest.Digest{}) {
		_, ok := slices.BinarySearch(r.exact, walk.BytesMark("", g.Path, g.Known))
		return ok
	}
	_, ok := slices.BinarySearch(r.rough, rough(g.Path, g.Size, g.Modified))
	return ok
}

func rough(path string, size int64, modified time.Time) uint64 {
	var room [512]byte
	b := append(append(room[:0], path...), 0)
	b = binary.LittleEndian.AppendUint64(b, uint64(size))
	return xxhash.Sum64(binary.LittleEndian.AppendUint64(b, uint64(modified.UnixNano())))
}
