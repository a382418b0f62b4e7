package store

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"strconv"
	"strings"
	"sync/atomic"

	"golang.org/x/sync/errgroup"

	"linecamp/manifest/seal"
	"linecamp/manifest/store/fault"
)

// Most bytes of one file of the seal, seal.MostLines with room for long reasons, and
// of all files together: three million lines and more.
const (
	maxSealFile = 16 << 20
	maxSeal     = 512 << 20
)

// appender is a root that can add bytes to the end of a file without touching
// those before. It cuts off what stands after the first at bytes, which is a
// line that a crash left unfinished.
type appender interface {
	AppendAt(ctx context.Context, key string, at int64, b []byte) error
}

// Tail is the last file of a root's seal, as it was seen last: it tells whether the
// seal is still the same, and where it goes on.
type Tail struct {
	Lines  int    // of the whole seal
	Before int    // of the files before this one
	File   int    // its number
	ETag   string // where the root has any, else nothing is told
}

// enough lines are in a file that takes no more. So little is sent again with a new
// line where a file is replaced whole, and few files are read.
const enough = 64

// full reports whether the next line begins a new file.
func (t Tail) full() bool { return t.Lines-t.Before >= enough }

// Stands reports whether the seal of a root still ends with this file. A file that takes
// more lines may have one behind it all the same, where a log replaced another one.
func (t Tail) Stands(ctx context.Context, r Root) bool {
	if t.ETag == "" || !r.Can().Tagged {
		return false
	}
	info, err := r.Stat(ctx, seal.File(t.File))
	if err != nil || info.ETag != t.ETag {
		return false
	}
	_, err = r.Stat(ctx, seal.File(t.File+1))
	return errors.Is(err, fs.ErrNotExist)
}

// ReadSeal reads the whole seal of a root; an archive without any version has
// an empty one. A last line that a crash left unfinished was never sealed, and
// is passed over.
func ReadSeal(ctx context.Context, r Root) (*seal.Seal, error) {
	s, _, err := ReadTail(ctx, r)
	return s, err
}

// atOnce is how many files of a seal are read side by side.
const atOnce = 8

// ReadTail is ReadSeal, and tells what its last file is. Files that another machine
// replaced meanwhile by those of another history are read again, so that no log is
// put together of both.
func ReadTail(ctx context.Context, r Root) (*seal.Seal, Tail, error) {
	for range 2 {
		s, t, full, err := readFiles(ctx, r)
		if len(full) == 0 || err != nil && !errors.Is(err, seal.ErrInvalid) {
			return s, t, err
		}
		if same, lerr := unchanged(ctx, r, full); lerr != nil {
			return nil, Tail{}, lerr
		} else if same {
			return s, t, err
		}
	}
	return nil, Tail{}, fault.Say(ErrBusy, "another computer is writing the seal of %s; the next round reads it again", r.Name())
}

// unchanged reports whether files of the seal that take no more lines are as they
// were read.
func unchanged(ctx context.Context, r Root, full []Info) (bool, error) {
	now, err := SealFiles(ctx, r)
	if err != nil || len(now) < len(full) {
		return false, err
	}
	for i, was := range full {
		is := now[i]
		if is.Size != was.Size || is.ETag != was.ETag || !r.Can().Tagged && !is.Modified.Equal(was.Modified) {
			return false, nil
		}
	}
	return true, nil
}

// readFiles reads each file of the seal once, and tells what all but the last were.
func readFiles(ctx context.Context, r Root) (*seal.Seal, Tail, []Info, error) {
	files, err := SealFiles(ctx, r)
	if err != nil {
		return nil, Tail{}, nil, err
	}
	last := max(len(files)-1, 0)
	parts, full := make([][]byte, last), make([]Info, last)
	g, within := errgroup.WithContext(ctx)
	g.SetLimit(atOnce)
	var whole atomic.Int64
	for i := range parts {
		g.Go(func() (err error) {
			parts[i], full[i], err = ReadSmall(within, r, seal.File(i), maxSealFile)
			if whole.Add(int64(len(parts[i]))) > maxSeal { // more than the listing said
				err = tooLong(r)
			}
			return err
		})
	}
	if err := g.Wait(); err != nil {
		return nil, Tail{}, nil, err
	}
	end, infos, err := readEnd(ctx, r, last)
	if err != nil {
		return nil, Tail{}, nil, err
	}
	parts, full = append(parts, end...), append(full, infos...)
	if len(parts) == 0 {
		return &seal.Seal{}, Tail{}, nil, nil
	}
	t := Tail{File: len(parts) - 1, ETag: full[len(parts)-1].ETag}
	full = full[:t.File]
	parts[t.File] = wholeLines(parts[t.File])
	s, err := seal.Decode(parts)
	if err != nil {
		return nil, Tail{}, full, fmt.Errorf("the seal of %s: %w", r.Name(), err)
	}
	t.Lines = s.Len()
	t.Before = s.Len() - bytes.Count(parts[t.File], lineEnd)
	return s, t, full, nil
}

// readEnd reads the files of a seal from the given one on until there is none. A
// listing may be old, and not show a file that was begun since.
func readEnd(ctx context.Context, r Root, from int) (parts [][]byte, infos []Info, err error) {
	whole := 0
	for i := from; ; i++ {
		b, info, err := ReadSmall(ctx, r, seal.File(i), maxSealFile)
		if errors.Is(err, fs.ErrNotExist) {
			return parts, infos, nil
		}
		if whole += len(b); err == nil && whole > maxSeal {
			err = tooLong(r)
		}
		if err != nil {
			return nil, nil, err
		}
		if parts, infos = append(parts, b), append(infos, info); bytes.Count(b, lineEnd) < enough {
			return parts, infos, nil
		}
	}
}

// WriteSeal brings the seal of a root up to s and writes only what is new. What
// is there must be the beginning of s: anything else is ErrConflict, and
// nothing is written. On a drive, hold Lock.
func WriteSeal(ctx context.Context, r Root, s *seal.Seal) error {
	_, err := ExtendSeal(ctx, r, s, Tail{})
	return err
}

// ExtendSeal is WriteSeal where the last file of the root's seal is known, and
// tells what it is then. Where that is right, nothing is read.
func ExtendSeal(ctx context.Context, r Root, s *seal.Seal, t Tail) (Tail, error) {
	if t.ETag != "" && t.Lines < s.Len() && r.Can().Tagged {
		next, err := addLines(ctx, r, s, t, &Info{Key: seal.File(t.File), ETag: t.ETag}, false)
		if !errors.Is(err, ErrConflict) {
			return next, err
		}
	}
	files, err := SealFiles(ctx, r)
	if err != nil {
		return Tail{}, err
	}
	t = Tail{File: max(len(files)-1, 0)}
	before := int64(0)
	for _, f := range files[:t.File] {
		before += f.Size // verify reads their bytes
	}
	end, infos, err := readEnd(ctx, r, t.File)
	if err != nil {
		return Tail{}, err
	}
	if len(end) == 0 {
		return addLines(ctx, r, s, t, nil, false)
	}
	for _, b := range end[:len(end)-1] {
		before += int64(len(b))
		t.File++
	}
	now, last := end[len(end)-1], infos[len(infos)-1]
	kept := wholeLines(now)
	var ok bool
	if t.Before, ok = s.LinesIn(before); !ok {
		return Tail{}, sealConflict(r)
	}
	t.Lines, t.ETag = t.Before+bytes.Count(kept, lineEnd), last.ETag
	if !bytes.Equal(s.Text(t.Before, t.Lines), kept) {
		return Tail{}, sealConflict(r)
	}
	return addLines(ctx, r, s, t, &last, len(kept) < len(now))
}

// addLines writes the lines of s behind those of the last file, which is as was
// says, nil for none. One that ends within a line is gone on with, however many it
// has, so that none but the last ever ends so.
func addLines(ctx context.Context, r Root, s *seal.Seal, t Tail, was *Info, torn bool) (Tail, error) {
	for torn || t.Lines < s.Len() {
		if t.full() && !torn {
			t.File, t.Before, was = t.File+1, t.Lines, nil
		}
		kept := len(s.Text(t.Before, t.Lines))
		t.Lines = min(s.Len(), t.Before+seal.MostLines)
		info, err := writeSealFile(ctx, r, seal.File(t.File), s.Text(t.Before, t.Lines), was, int64(kept))
		if err != nil {
			return Tail{}, err
		}
		t.ETag, torn = info.ETag, false
	}
	return t, nil
}

// writeSealFile makes key hold b, of which the first kept bytes are there.
func writeSealFile(ctx context.Context, r Root, key string, b []byte, was *Info, kept int64) (Info, error) {
	if a, ok := r.(appender); ok {
		return Info{}, a.AppendAt(ctx, key, kept, b[kept:])
	}
	return r.Replace(ctx, key, Bytes(b), was)
}

// SealPart is what file i of a root's seal has to hold, which is damaged or gone,
// where the files before it are as s has them: the lines up to those of the next
// file. more tells that the file may hold lines that s lacks.
func SealPart(ctx context.Context, r Root, s *seal.Seal, i int) (part []byte, more bool, err error) {
	size := int64(0)
	for info, err := range r.List(ctx, SealFolder) {
		if err != nil {
			return nil, false, err
		}
		if info.Key < seal.File(i) {
			size += info.Size
		}
	}
	from, ok := s.LinesIn(size)
	if !ok {
		return nil, false, sealConflict(r)
	}
	next, b, err := firstLine(ctx, r, i+1)
	for j := i + 2; err == nil && len(b) == 0; j++ {
		next, b, err = firstLine(ctx, r, j)
	}
	switch {
	case errors.Is(err, fs.ErrNotExist):
		part = s.Text(from, from+seal.MostLines)
		first, b, err := firstLine(ctx, r, i)
		return part, err == nil && len(b) > len(part) && max(first-1, 0)+bytes.Count(b, lineEnd) > s.Len(), nil
	case err != nil:
		return nil, false, err
	case next == 0 || next > from+seal.MostLines+1:
		return nil, false, fault.Say(seal.ErrInvalid, "the file of the seal behind %s is damaged, too", seal.File(i))
	}
	return s.Text(from, next-1), false, nil
}

// firstLine reads a file of a seal, with the number of its first line, 0 where that
// does not read.
func firstLine(ctx context.Context, r Root, i int) (int, []byte, error) {
	b, _, err := ReadSmall(ctx, r, seal.File(i), maxSealFile)
	n, _ := strconv.Atoi(string(b[:min(len(b), 10)]))
	return max(n, 0), b, err
}

func tooLong(r Root) error {
	return fault.Say(seal.ErrInvalid, "the seal of %s is larger than the %d bytes it may have", r.Name(), maxSeal)
}

func sealConflict(r Root) error {
	return fault.Say(ErrConflict, "the seal on %s is not the beginning of the one to be written there; another computer may have added to it", r.Name())
}

// SealFiles lists the files of the seal, which must be 00000.txt and so on
// without a gap.
func SealFiles(ctx context.Context, r Root) ([]Info, error) {
	var files []Info
	whole := int64(0)
	for info, err := range r.List(ctx, SealFolder) {
		if errors.Is(err, fs.ErrNotExist) {
			break
		}
		if err != nil {
			return nil, err
		}
		if !strings.HasSuffix(info.Key, ".txt") {
			continue
		}
		if info.Key != seal.File(len(files)) && info.Size == 0 {
			continue // a power cut may have taken the file before, which was as empty
		}
		if info.Key != seal.File(len(files)) {
			return nil, fault.Say(seal.ErrInvalid, "the seal of %s lacks %s but has %s", r.Name(), seal.File(len(files)), info.Key)
		}
		if whole += info.Size; whole > maxSeal {
			return nil, tooLong(r)
		}
		files = append(files, info)
	}
	return files, nil
}

// wholeLines cuts off what stands after the last line end.
func wholeLines(b []byte) []byte { return b[:bytes.LastIndexByte(b, '\n')+1] }

var lineEnd = []byte("\n")
