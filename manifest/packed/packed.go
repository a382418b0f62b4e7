// Package packed is the one binary form of what is kept packed: rows of the ledger,
// and the long lists of files and paths that a round holds in memory. Call [New]
// and the Writer's methods, then [Writer.Sealed]; read it back with [Unseal] and the
// same methods of the Reader in the same order, and ask [Reader.Err] at the end.
//
// What is sealed is a format byte, the values one after another, and the XXH64 of
// all that in eight bytes, so that a row that rotted counts as unknown. What never
// leaves memory needs no seal: a zero Writer, and [Of] to read it.
//
// Numbers are varints as encoding/binary writes them; texts are their length and
// their bytes; a path is told against another one that it begins like. A Reader
// reads zeros after its first fault, and allocates nothing on the word of a length
// that it read: texts share memory with what they are read from.
package packed

import (
	"encoding/binary"
	"errors"
	"math"
	"strings"
	"time"

	"github.com/cespare/xxhash/v2"
)

// Err marks what cannot be unpacked.
var Err = errors.New("a damaged row")

// Writer packs values.
type Writer struct{ B []byte }

// New begins a row in a format, of about size bytes.
func New(format byte, size int) *Writer {
	return &Writer{append(make([]byte, 0, size), format)}
}

func (w *Writer) Byte(b ...byte)    { w.B = append(w.B, b...) }
func (w *Writer) Number(n uint64)   { w.B = binary.AppendUvarint(w.B, n) }
func (w *Writer) Fixed(n uint64)    { w.B = binary.LittleEndian.AppendUint64(w.B, n) }
func (w *Writer) Float(f float64)   { w.Fixed(math.Float64bits(f)) }
func (w *Writer) Digest(d [32]byte) { w.B = append(w.B, d[:]...) }
func (w *Writer) Text(s string)     { w.Number(uint64(len(s))); w.B = append(w.B, s...) }
func (w *Writer) Sealed() (row []byte) {
	return binary.LittleEndian.AppendUint64(w.B, xxhash.Sum64(w.B))
}

// Flag packs a yes or a no.
func (w *Writer) Flag(yes bool) {
	if yes {
		w.Byte(1)
	} else {
		w.Byte(0)
	}
}

// Time packs any time there can be; the zero time has to be told apart by a flag.
func (w *Writer) Time(t time.Time) {
	w.B = binary.AppendVarint(w.B, t.Unix())
	w.Number(uint64(t.Nanosecond()))
}

// Path packs how much of a path is that of another, and the rest.
func (w *Writer) Path(like, path string) {
	n := 0
	for n < len(like) && n < len(path) && like[n] == path[n] {
		n++
	}
	w.Number(uint64(n))
	w.Text(path[n:])
}

// Reader unpacks values.
type Reader struct {
	s   string
	bad bool
}

// Of reads what was not sealed.
func Of(s string) Reader { return Reader{s: s} }

// Unseal reads a row, which has to be in that format.
func Unseal(format byte, row []byte) (*Reader, error) {
	end := len(row) - 8
	if end < 1 || binary.LittleEndian.Uint64(row[end:]) != xxhash.Sum64(row[:end]) || row[0] != format {
		return nil, Err
	}
	return &Reader{s: string(row[1:end])}, nil
}

// Left is how many bytes are still to be read.
func (r *Reader) Left() int { return len(r.s) }

// Err is the verdict at the end: all was read, and nothing more is there.
func (r *Reader) Err() error {
	if r.bad || r.s != "" {
		return Err
	}
	return nil
}

// Fail is for a value that cannot be.
func (r *Reader) Fail() { r.bad = true }

func (r *Reader) bytes(n uint64) string {
	if r.bad || n > uint64(len(r.s)) {
		r.bad = true
		return ""
	}
	b := r.s[:n]
	r.s = r.s[n:]
	return b
}

func (r *Reader) Byte() byte {
	if b := r.bytes(1); b != "" {
		return b[0]
	}
	return 0
}

func (r *Reader) Flag() bool { return r.Byte() != 0 }

func (r *Reader) Number() uint64 {
	var n uint64
	for shift := 0; shift < 70; shift += 7 {
		b := r.Byte()
		if shift == 63 && b > 1 {
			break
		}
		n |= uint64(b&0x7f) << shift
		if b < 0x80 {
			return n
		}
	}
	r.bad = true
	return 0
}

func (r *Reader) Fixed() uint64 {
	var n uint64
	for i, b := range []byte(r.bytes(8)) {
		n |= uint64(b) << (8 * i)
	}
	return n
}

func (r *Reader) Float() float64 { return math.Float64frombits(r.Fixed()) }

func (r *Reader) Digest() (d [32]byte) {
	copy(d[:], r.bytes(uint64(len(d))))
	return d
}

func (r *Reader) Text() string { return r.bytes(r.Number()) }

func (r *Reader) Time() time.Time {
	n := r.Number()
	seconds := int64(n>>1) ^ -int64(n&1) // as encoding/binary's Varint
	nanos := r.Number()
	if nanos > 999_999_999 {
		r.bad = true
		return time.Time{}
	}
	return time.Unix(seconds, int64(nanos)).UTC()
}

func (r *Reader) Path(like string) string {
	n := r.Number()
	rest := r.Text()
	switch {
	case n == 0:
		return strings.Clone(rest) // so that one path does not hold the whole row
	case n > uint64(len(like)):
		r.bad = true
		return ""
	}
	return like[:n] + rest
}
