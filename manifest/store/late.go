package store

import (
	"context"
	"errors"
	"io/fs"
	"iter"
	"strings"

	"linecamp/manifest"
	"linecamp/manifest/seal"
)

// LateFolder holds the logs of other histories, each whole, from its first line on, in
// one file named by the SHA-256 of its bytes. The name proves the file, and a printed
// seal of that history is checked as with the copy's own log.
const LateFolder = "extensions/linecamp-seal/late"

const lateEnd = ".txt"

// LateDigest is the SHA-256 that a key in LateFolder promises.
func LateDigest(key string) (d manifest.Digest, ok bool) {
	name, in := strings.CutPrefix(key, LateFolder+"/")
	digits, text := strings.CutSuffix(name, lateEnd)
	d, err := manifest.ParseDigest(digits)
	return d, in && text && err == nil
}

// PutLate keeps a log of another history beside the seal of a root. It appears in one
// step and is synced when PutLate returns: a crash before leaves nothing of it, and
// whoever meets that history puts it again. On a drive, hold Lock.
func PutLate(ctx context.Context, r Root, log *seal.Seal) error {
	if log.Len() == 0 {
		return nil
	}
	return keepBytes(ctx, r, log.Text(0, log.Len()))
}

// keepBytes stores b in LateFolder. Bytes there that do not match their name rotted,
// and are replaced.
func keepBytes(ctx context.Context, r Root, b []byte) error {
	c := Bytes(b)
	key := LateFolder + "/" + c.SHA256.String() + lateEnd
	_, err := r.Create(ctx, key, c)
	if !errors.Is(err, ErrConflict) {
		return err
	}
	was, err := r.Stat(ctx, key)
	if err == nil {
		_, err = r.Replace(ctx, key, c, &was)
	}
	return err
}

// LateLogs yields the logs of other histories that a root keeps, one at a time. A file
// that does not match its name, and one that is no log, is passed over. An error may be
// about one file only, and the next may still be read.
func LateLogs(ctx context.Context, r Root) iter.Seq2[*seal.Seal, error] {
	return func(yield func(*seal.Seal, error) bool) {
		for info, err := range r.List(ctx, LateFolder) {
			d, ours := LateDigest(info.Key)
			if err == nil && !ours {
				continue
			}
			var b []byte
			if err == nil {
				b, _, err = ReadSmall(ctx, r, info.Key, maxSeal)
			}
			if errors.Is(err, fs.ErrNotExist) {
				continue
			}
			if err != nil {
				if !yield(nil, err) {
					return
				}
				continue
			}
			if manifest.Sum(b) != d {
				continue
			}
			if s, err := seal.Decode([][]byte{b}); err == nil && !yield(s, nil) {
				return
			}
		}
	}
}
