package seal

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/names"
)

// Printed is the seal as it is written on paper or read over a telephone: how
// many lines the log had, the day of the last of them, and the first half of
// the SHA-256 of those lines, as
//
//	cat log/* | head -n N | sha256sum
//
// prints it. 128 bits are beyond anyone's reach to forge: to find another log
// for a given line would take 2^128 tries.
type Printed struct {
	Lines int
	Day   string // UTC, "2026-07-02"; "" for a seal without lines
	Half  [16]byte
}

// Why a log does not bear a printed seal out. Decide with errors.Is; the
// messages say more.
var (
	ErrPrinted = errors.New("not a printed seal")
	ErrShort   = errors.New("the log is shorter than the printed seal")
	ErrDiffers = errors.New("the log is not the one that was sealed")
	// ErrSlip is a fault of the paper, or of whoever copied it: it agrees with the log
	// in more than anybody could forge.
	ErrSlip = errors.New("the printed seal looks like a slip of the pen")
)

const (
	groups      = 8 // of the digits, on paper
	groupDigits = 4
)

// Printed is the seal of all lines there are now.
func (s *Seal) Printed() Printed { return s.printed(s.lines) }

func (s *Seal) printed(n int) Printed {
	p := Printed{Lines: n, Day: s.day(n)}
	d := s.DigestOf(n)
	copy(p.Half[:], d[:])
	return p
}

// day is the day of line n, "" for line 0.
func (s *Seal) day(n int) string {
	i := 0
	for l := range s.All() {
		if i++; i == n {
			return l.At.UTC().Format(time.DateOnly)
		}
	}
	return ""
}

// String is one line: "47 2026-07-02 9f3a-11c2-…", eight groups of four digits.
func (p Printed) String() string {
	digits := hex.EncodeToString(p.Half[:])
	parts := make([]string, groups)
	for i := range parts {
		parts[i] = digits[i*groupDigits : (i+1)*groupDigits]
	}
	day := p.Day
	if day == "" {
		day = "-"
	}
	return strconv.Itoa(p.Lines) + " " + day + " " + strings.Join(parts, "-")
}

// ParsePrinted reads what String wrote, as a person may have copied it: in
// capitals, with spaces for hyphens, or with all 64 digits of the digest. What
// cannot be read is ErrPrinted.
func ParsePrinted(text string) (Printed, error) {
	bad := func(why string) (Printed, error) {
		return Printed{}, fmt.Errorf("%w: %q %s; it is a count, a day and eight groups of four digits, such as 47 2026-07-02 9f3a-11c2-…", ErrPrinted, names.Clip(text), why)
	}
	f := strings.Fields(strings.ToLower(text))
	if len(f) < 3 {
		return bad("has too few parts")
	}
	var p Printed
	n, err := strconv.Atoi(f[0])
	if err != nil || n < 0 || strconv.Itoa(n) != f[0] {
		return bad("does not begin with a count")
	}
	p.Lines = n
	if f[1] != "-" {
		if _, err := time.Parse(time.DateOnly, f[1]); err != nil {
			return bad("has no day such as 2026-07-02 in the second place")
		}
		p.Day = f[1]
	}
	if (p.Day == "") != (n == 0) {
		return bad("has a count and a day that do not go together")
	}
	digits := strings.ReplaceAll(strings.Join(f[2:], ""), "-", "")
	if len(digits) != hex.EncodedLen(len(p.Half)) && len(digits) != hex.EncodedLen(len(manifest.Digest{})) {
		return bad(fmt.Sprintf("has %d digits instead of %d", len(digits), hex.EncodedLen(len(p.Half))))
	}
	b, err := hex.DecodeString(digits)
	if err != nil {
		return bad("has a digit that is none of 0 to 9 and a to f")
	}
	copy(p.Half[:], b)
	return p, nil
}

// Bears reports whether the log still begins with the lines p was made of. It
// returns nil if so, and otherwise an error that names what is wrong:
// ErrSlip, ErrShort or ErrDiffers.
func (s *Seal) Bears(p Printed) error {
	now := s.printed(p.Lines)
	if now == p {
		return nil
	}
	if n := s.lineOf(p.Half); n > 0 {
		return fmt.Errorf("%w: its digits are those of line %d, of %s, and it says line %d, of %s; read it again", ErrSlip, n, s.day(n), p.Lines, p.Day)
	}
	if p.Lines > s.lines {
		return fmt.Errorf("%w: the seal was made of %d lines, and there are %d now; lines were taken away, or this copy is behind", ErrShort, p.Lines, s.lines)
	}
	if g := differing(now.Half, p.Half); len(g) < groups/2 {
		return fmt.Errorf("%w: only part of its digits differ (group %s); read it again", ErrSlip, strings.Join(g, ", "))
	}
	return fmt.Errorf("%w: the first %d lines are not what they were when the seal was made, so what was recorded then has been changed or replaced since", ErrDiffers, p.Lines)
}

// lineOf is the line up to which the log has these digits, 0 for none.
func (s *Seal) lineOf(half [16]byte) (n int) {
	h := sha256.New()
	for _, part := range s.parts {
		for raw := range bytes.Lines(part) {
			n++
			h.Write(raw)
			if [16]byte(h.Sum(nil)) == half {
				return n
			}
		}
	}
	return 0
}

// differing names the groups of digits in which a and b differ, counted from 1.
func differing(a, b [16]byte) []string {
	var g []string
	const size = groupDigits / 2 // bytes
	for i := range groups {
		if [size]byte(a[i*size:]) != [size]byte(b[i*size:]) {
			g = append(g, strconv.Itoa(i+1))
		}
	}
	return g
}
