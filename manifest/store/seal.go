package store

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"strings"

	"linecamp/manifest/seal"
	"linecamp/manifest/store/fault"
)

// Most bytes of one file of the seal, 4,096 lines with room for long reasons, and
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

// ReadSeal reads the whole seal of a root; an archive without any version has
// an empty one. A last line that a crash left unfinished was never sealed, and
// is passed over.
func ReadSeal(ctx context.Context, r Root) (*seal.Seal, error) {
	files, err := SealFiles(ctx, r)
	if err != nil {
		return nil, err
	}
	parts := make([][]byte, len(files))
	for i := range files {
		if parts[i], _, err = ReadSmall(ctx, r, seal.File(i), maxSealFile); err != nil {
			return nil, err
		}
	}
	if n := len(parts); n > 0 {
		parts[n-1] = wholeLines(parts[n-1])
		if len(parts[n-1]) == 0 {
			parts = parts[:n-1]
		}
	}
	s, err := seal.Decode(parts)
	if err != nil {
		return nil, fmt.Errorf("the seal of %s: %w", r.Name(), err)
	}
	return s, nil
}

// WriteSeal brings the seal of a root up to s and writes only what is new. What
// is there must be the beginning of s: anything else is ErrConflict, and
// nothing is written. On a drive, hold Lock.
func WriteSeal(ctx context.Context, r Root, s *seal.Seal) error {
	files, err := SealFiles(ctx, r)
	if err != nil {
		return err
	}
	if len(files) > s.Files() {
		return sealConflict(r)
	}
	// Full files never change, so their sizes are enough here; verify reads
	// their bytes.
	last := len(files) - 1
	for i := range last {
		if files[i].Size != int64(len(s.File(i))) {
			return sealConflict(r)
		}
	}
	for i := max(last, 0); i < s.Files(); i++ {
		want := s.File(i)
		key := seal.File(i)
		if i > last {
			if err := writeSealFile(ctx, r, key, want, nil, 0); err != nil {
				return err
			}
			continue
		}
		now, was, err := ReadSmall(ctx, r, key, maxSealFile)
		if err != nil {
			return err
		}
		if bytes.Equal(now, want) {
			continue
		}
		kept := wholeLines(now)
		if !bytes.HasPrefix(want, kept) {
			return sealConflict(r)
		}
		if err := writeSealFile(ctx, r, key, want, &was, int64(len(kept))); err != nil {
			return err
		}
	}
	return nil
}

// ExtendSeal is WriteSeal where it is known that the root has the first n lines of s,
// and that the file with the last of them has an ETag: nothing is read. It returns what
// is known of the last file. ErrConflict: another file is there, and WriteSeal looks.
func ExtendSeal(ctx context.Context, r Root, s *seal.Seal, n int, etag string) (info Info, err error) {
	was := &Info{Key: seal.File((n - 1) / seal.PerFile), ETag: etag}
	for i := (n - 1) / seal.PerFile; i < s.Files(); i++ {
		if info, err = r.Replace(ctx, seal.File(i), Bytes(s.File(i)), was); err != nil {
			return Info{}, err
		}
		was = nil
	}
	return info, nil
}

// writeSealFile makes key hold b, of which the first kept bytes are there.
func writeSealFile(ctx context.Context, r Root, key string, b []byte, was *Info, kept int64) error {
	if a, ok := r.(appender); ok {
		return a.AppendAt(ctx, key, kept, b[kept:])
	}
	_, err := r.Replace(ctx, key, Bytes(b), was)
	return err
}

func sealConflict(r Root) error {
	return fault.Say(ErrConflict, "the seal on %s is not the beginning of the one to be written there; another machine may have added to it", r.Name())
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
		if info.Key != seal.File(len(files)) {
			return nil, fault.Say(seal.ErrInvalid, "the seal of %s lacks %s but has %s", r.Name(), seal.File(len(files)), info.Key)
		}
		if whole += info.Size; whole > maxSeal {
			return nil, fault.Say(seal.ErrInvalid, "the seal of %s is larger than the %d bytes it may have", r.Name(), maxSeal)
		}
		files = append(files, info)
	}
	return files, nil
}

// wholeLines cuts off what stands after the last line end.
func wholeLines(b []byte) []byte { return b[:bytes.LastIndexByte(b, '\n')+1] }
