package manifest

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"

	"linecamp/manifest/names"
)

// Digest is the SHA-256 (FIPS 180-4) of some bytes; it is what counts wherever
// linecamp compares content.
type Digest [sha256.Size]byte

// ErrDigest marks text that is not a digest in the one form linecamp accepts.
var ErrDigest = errors.New("not a SHA-256 digest of 64 lower-case hex digits")

// Sum returns the digest of b.
func Sum(b []byte) Digest { return sha256.Sum256(b) }

// ParseDigest reads 64 lower-case hex digits. OCFL compares digests without
// regard to case (section 3.5.1); linecamp writes and accepts lower case only,
// so that one digest has one spelling. Anything else is ErrDigest.
func ParseDigest(s string) (Digest, error) {
	d, ok := parseDigest(s)
	if !ok {
		return Digest{}, fmt.Errorf("%q: %w", names.Clip(s), ErrDigest)
	}
	return d, nil
}

// parseDigest is ParseDigest for the many digests of an inventory.
func parseDigest[T string | []byte](s T) (d Digest, ok bool) {
	if len(s) != hex.EncodedLen(len(d)) {
		return Digest{}, false
	}
	for i := range d {
		high, low := nibble(s[2*i]), nibble(s[2*i+1])
		if high|low > 15 {
			return Digest{}, false
		}
		d[i] = high<<4 | low
	}
	return d, true
}

// nibble returns what one lower-case hex digit stands for, 255 for none.
func nibble(c byte) byte {
	switch {
	case c >= '0' && c <= '9':
		return c - '0'
	case c >= 'a' && c <= 'f':
		return c - 'a' + 10
	}
	return 255
}

// String returns the 64 lower-case hex digits that sha256sum prints.
func (d Digest) String() string { return hex.EncodeToString(d[:]) }

// IsZero reports whether d was never set; no content is known that has it.
func (d Digest) IsZero() bool { return d == Digest{} }

// MarshalText writes the hex form, so that digests can be JSON keys and values.
func (d Digest) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// UnmarshalText reads the hex form.
func (d *Digest) UnmarshalText(b []byte) error {
	p, err := ParseDigest(string(b))
	if err != nil {
		return err
	}
	*d = p
	return nil
}
