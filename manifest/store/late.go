package store

import (
	"context"
	"errors"
	"fmt"
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

// LateKey is the key of the log with that SHA-256.
func LateKey(d manifest.Digest) string { return LateFolder + "/" + d.String() + lateEnd }

// PutLate keeps a log of another history beside the seal of a root. It appears in one
// step and is synced when PutLate returns: a crash before leaves nothing of it, and
// whoever meets that history puts it again. On a drive, hold Lock.
func PutLate(ctx context.Context, r Root, log *seal.Seal) error {
	if log.Len() == 0 {
		return nil
	}
	return PutLateFile(ctx, r, log.Text(0, log.Len()))
}

// PutLateFile is PutLate for bytes that may be no log as a whole, since some of them
// rotted. Bytes there that do not match their name rotted, and are replaced.
func PutLateFile(ctx context.Context, r Root, b []byte) error {
	c := Bytes(b)
	key := LateKey(c.SHA256)
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

// LateFile reads the file of that digest. One that does not match it is ErrDamaged.
func LateFile(ctx context.Context, r Root, d manifest.Digest) ([]byte, error) {
	key := LateKey(d)
	b, _, err := ReadSmall(ctx, r, key, maxSeal)
	if err != nil {
		return nil, err
	}
	if manifest.Sum(b) != d {
		return nil, fmt.Errorf("%w: %s does not match its name", ErrDamaged, key)
	}
	return b, nil
}

// LateLogs yields the logs of other histories that a root keeps, as LateFiles does. A
// file that is no log is passed over.
func LateLogs(ctx context.Context, r Root) iter.Seq2[*seal.Seal, error] {
	return func(yield func(*seal.Seal, error) bool) {
		for b, err := range LateFiles(ctx, r) {
			var log *seal.Seal
			if err == nil {
				if log, err = seal.Decode([][]byte{b}); err != nil {
					continue
				}
			}
			if !yield(log, err) {
				return
			}
		}
	}
}

// LateFiles yields what a root keeps of other histories, one file at a time: logs, and
// what there was of one that did not read. A file that does not match its name is passed
// over. An error may be about one file only, and the next may still be read.
func LateFiles(ctx context.Context, r Root) iter.Seq2[[]byte, error] {
	return func(yield func([]byte, error) bool) {
		for info, err := range r.List(ctx, LateFolder) {
			d, ours := LateDigest(info.Key)
			if err == nil && !ours {
				continue
			}
			var b []byte
			if err == nil {
				b, err = LateFile(ctx, r, d)
			}
			if errors.Is(err, fs.ErrNotExist) || errors.Is(err, ErrDamaged) {
				continue
			}
			if !yield(b, err) {
				return
			}
		}
	}
}
