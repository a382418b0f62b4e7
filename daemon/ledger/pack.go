package ledger

import (
	"encoding/binary"
	"errors"
	"time"

	"github.com/cespare/xxhash/v2"

	"linecamp/manifest"
)

// Packed rows are a format byte, the entries one after another, and the XXH64
// of all that in eight bytes, so that a row that rotted counts as unknown.

// errPacked marks a row that cannot be unpacked. It never leaves the package.
var errPacked = errors.New("a damaged row")

// Formats of packed rows. Only the layout of the kind of row counts: a row in
// another format is unknown, and a file that is unknown is read again.
const (
	heldFormat  = 1
	knownFormat = 3 // with all of facts.Facts; a row of an older format is unknown, so its files are read once more
)

type packer struct{ b []byte }

func newPacker(format byte, size int) *packer {
	return &packer{b: append(make([]byte, 0, size), format)}
}

func (p *packer) number(n uint64)          { p.b = binary.AppendUvarint(p.b, n) }
func (p *packer) fixed(n uint64)           { p.b = binary.LittleEndian.AppendUint64(p.b, n) }
func (p *packer) digest(d manifest.Digest) { p.b = append(p.b, d[:]...) }

func (p *packer) text(s string) {
	p.number(uint64(len(s)))
	p.b = append(p.b, s...)
}

// moment packs any time there can be; the zero time is told apart by flags.
func (p *packer) moment(t time.Time) {
	p.b = binary.AppendVarint(p.b, t.Unix())
	p.number(uint64(t.Nanosecond()))
}

func (p *packer) seal() []byte { return binary.LittleEndian.AppendUint64(p.b, xxhash.Sum64(p.b)) }

// unpacker reads what packer wrote. After the first fault it reads zeros and
// bad stays set. Texts share memory with the row.
type unpacker struct {
	s   string
	bad bool
}

func unseal(format byte, row []byte) (*unpacker, error) {
	end := len(row) - 8
	if end < 1 || binary.LittleEndian.Uint64(row[end:]) != xxhash.Sum64(row[:end]) || row[0] != format {
		return nil, errPacked
	}
	return &unpacker{s: string(row[1:end])}, nil
}

func (u *unpacker) bytes(n uint64) string {
	if u.bad || n > uint64(len(u.s)) {
		u.bad = true
		return ""
	}
	b := u.s[:n]
	u.s = u.s[n:]
	return b
}

func (u *unpacker) byte() byte {
	if b := u.bytes(1); b != "" {
		return b[0]
	}
	return 0
}

func (u *unpacker) number() uint64 {
	var n uint64
	for shift := 0; shift < 70; shift += 7 {
		b := u.byte()
		if shift == 63 && b > 1 {
			break
		}
		n |= uint64(b&0x7f) << shift
		if b < 0x80 {
			return n
		}
	}
	u.bad = true
	return 0
}

func (u *unpacker) fixed() uint64 {
	var n uint64
	for i, b := range []byte(u.bytes(8)) {
		n |= uint64(b) << (8 * i)
	}
	return n
}

func (u *unpacker) digest() (d manifest.Digest) {
	copy(d[:], u.bytes(uint64(len(d))))
	return d
}

func (u *unpacker) text() string { return u.bytes(u.number()) }

func (u *unpacker) moment() time.Time {
	n := u.number()
	seconds := int64(n>>1) ^ -int64(n&1) // as encoding/binary's Varint
	nanos := u.number()
	if nanos > 999_999_999 {
		u.bad = true
		return time.Time{}
	}
	return time.Unix(seconds, int64(nanos)).UTC()
}

// err is the verdict at the end of a row.
func (u *unpacker) err() error {
	if u.bad || u.s != "" {
		return errPacked
	}
	return nil
}
