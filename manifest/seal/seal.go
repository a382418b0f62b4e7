// Package seal keeps the append-only record of every version made in an archive.
//
// Begin with [Decode], which reads a [Seal] from the files of a storage root, and with
// [Seal.Append], which adds a [Line]. [Seal.Printed] is the short line that fixes all of
// it on paper, and [Seal.Bears] says whether a log still begins with the lines that such
// a [Printed] was made of: it proves "unchanged since somebody else received it".
//
// Nothing here touches a disk: manifest/store reads and writes the files.
package seal

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"hash"
	"iter"
	"maps"
	"slices"

	"linecamp/manifest"
)

var (
	// ErrInvalid marks bytes or values that are not a valid seal.
	ErrInvalid = errors.New("it is not a valid seal")
	// ErrTorn marks a seal whose last line was cut short, as a power cut leaves
	// it; the seal returned beside it holds the whole lines before.
	ErrTorn = errors.New("the last line of the seal is cut short")
)

// MostLines is how many lines are written into one file of the seal.
const MostLines = 4096

// Seal is the append-only record of every version made in an archive: plain
// text, numbered from 0000000001, so that the number of the last line is the
// count of lines. How a storage root divides them into files says nothing, and
// a Seal does not know it. A Seal is not safe for use by several goroutines
// while one of them appends.
type Seal struct {
	parts [][]byte // the text, MostLines lines in each part but the last
	lines int
	hash  hash.Hash      // of all lines
	marks []hash.Cloner  // of the lines before each part
	heads map[string]int // object id to the highest version that counts
	newer bool           // a line tells what this program does not know
	takes Line           // of the author lines, the one of the last take-over
}

// File returns the path of the seal's file i, counted from 0, in a storage
// root.
func File(i int) string {
	return fmt.Sprintf("extensions/linecamp-seal/log/%05d.txt", i)
}

// Len returns the number of lines.
func (s *Seal) Len() int { return s.lines }

// Text returns the bytes of the lines from+1 to to; those beyond the ends of the
// seal have none.
func (s *Seal) Text(from, to int) []byte {
	var text []byte
	for to = min(to, s.lines); from < to; {
		part, first := s.parts[from/MostLines], from-from%MostLines
		end := min(to, first+MostLines)
		text = append(text, part[offset(part, from-first):offset(part, end-first)]...)
		from = end
	}
	return text
}

// offset is where line n of b begins, counted from 0.
func offset(b []byte, n int) int {
	at := 0
	for range n {
		at += bytes.IndexByte(b[at:], '\n') + 1
	}
	return at
}

// LinesIn returns how many lines the first size bytes of the seal are, and false
// where they end within a line or are more than all.
func (s *Seal) LinesIn(size int64) (lines int, ok bool) {
	for _, part := range s.parts {
		part = part[:min(size, int64(len(part)))]
		size -= int64(len(part))
		lines += bytes.Count(part, []byte("\n"))
		if size == 0 {
			return lines, len(part) == 0 || part[len(part)-1] == '\n'
		}
	}
	return lines, size == 0
}

// All yields the lines in order.
func (s *Seal) All() iter.Seq[Line] {
	return func(yield func(Line) bool) {
		for _, part := range s.parts {
			for raw := range bytes.Lines(part) {
				l, err := parseLine(raw)
				if err != nil {
					panic("manifest: a line that was accepted is not valid: " + err.Error())
				}
				if !yield(l) {
					return
				}
			}
		}
	}
}

// Lines returns all lines in order. For a long seal All needs less memory.
func (s *Seal) Lines() []Line { return slices.AppendSeq(make([]Line, 0, s.lines), s.All()) }

// Append adds a line. Its number must be the next one, or 0 to be given it.
func (s *Seal) Append(l Line) error {
	if l.N == 0 {
		l.N = s.lines + 1
	}
	if err := l.check(); err != nil {
		return fmt.Errorf("%w: %w", ErrInvalid, err)
	}
	if l.N != s.lines+1 {
		return fmt.Errorf("%w: line %d cannot follow line %d", ErrInvalid, l.N, s.lines)
	}
	s.push(l, l.append(nil))
	return nil
}

// Clone returns a seal with the same lines; appending to one leaves the other
// as it is.
func (s *Seal) Clone() *Seal {
	c := &Seal{lines: s.lines, marks: slices.Clip(s.marks), heads: s.Heads(), newer: s.newer, takes: s.takes}
	if s.hash != nil {
		c.hash = clone(s.hash).(hash.Hash)
	}
	for _, f := range s.parts {
		c.parts = append(c.parts, slices.Clip(f))
	}
	return c
}

// push adds a line that is known to be right.
func (s *Seal) push(l Line, raw []byte) {
	if s.hash == nil {
		s.hash = sha256.New()
		s.heads = map[string]int{}
	}
	if s.lines%MostLines == 0 {
		s.parts = append(s.parts, nil)
		s.marks = append(s.marks, clone(s.hash))
	}
	last := len(s.parts) - 1
	s.parts[last] = append(s.parts[last], raw...)
	s.hash.Write(raw)
	s.lines++
	if l.Drops() {
		if s.heads[l.Object] = min(s.heads[l.Object], l.Version-1); s.heads[l.Object] == 0 {
			delete(s.heads, l.Object)
		}
	}
	if l.What == Version {
		s.heads[l.Object] = max(s.heads[l.Object], l.Version)
	}
	if l.What == Author && (s.takes.N == 0 || byTakeover(&l, &s.takes) > 0) {
		s.takes = l
	}
	s.newer = s.newer || !l.Known()
}

// Digest returns the SHA-256 of all lines: with Len, the printed seal.
func (s *Seal) Digest() manifest.Digest {
	if s.hash == nil {
		return manifest.Sum(nil)
	}
	return manifest.Digest(s.hash.Sum(nil))
}

// DigestOf returns the SHA-256 of the first n lines, as
//
//	cat log/* | head -n N | sha256sum
//
// prints it. n is taken to lie between 0 and Len.
func (s *Seal) DigestOf(n int) manifest.Digest {
	if n >= s.lines {
		return s.Digest()
	}
	if n <= 0 {
		return manifest.Sum(nil)
	}
	part := n / MostLines
	h := clone(s.marks[part]).(hash.Hash)
	rest := n % MostLines
	for raw := range bytes.Lines(s.parts[part]) {
		if rest == 0 {
			break
		}
		h.Write(raw)
		rest--
	}
	return manifest.Digest(h.Sum(nil))
}

// clone copies the state of a SHA-256.
func clone(h hash.Hash) hash.Cloner {
	c, err := h.(hash.Cloner).Clone()
	if err != nil {
		panic("manifest: SHA-256 cannot be copied: " + err.Error()) // crypto/sha256 always can
	}
	return c
}

// Extends reports whether s begins with all the lines of o; equal seals extend
// each other.
func (s *Seal) Extends(o *Seal) bool {
	if s.lines < o.lines {
		return false
	}
	for i, part := range o.parts {
		if !bytes.HasPrefix(s.parts[i], part) {
			return false
		}
	}
	return true
}

// Author is who records by these lines, and in which epoch: "" and 1 before anybody
// took over.
func (s *Seal) Author() (author string, epoch int) { return s.takes.Author, max(s.takes.Epoch, 1) }

// TakeOver is the line of the last take-over, a zero one for none.
func (s *Seal) TakeOver() Line { return s.takes }

// Newer reports whether a line tells what this program does not know, so that a
// newer one recorded there: whoever would write must not.
func (s *Seal) Newer() bool { return s.newer }

// Heads returns, for each object, the highest version that a line names and none
// after it drops.
func (s *Seal) Heads() map[string]int {
	if s.heads == nil {
		return map[string]int{}
	}
	return maps.Clone(s.heads)
}

// Decode reads the files of a seal in order, however the lines are divided into
// them. Every line must be exactly as Append writes it. If the last file ends in
// the middle of a line, the seal up to the last whole line is returned together
// with ErrTorn; every other fault is ErrInvalid, which names the file and the
// line.
func Decode(files [][]byte) (*Seal, error) {
	s := &Seal{}
	for i, file := range files {
		for raw := range bytes.Lines(file) {
			if raw[len(raw)-1] != '\n' && i == len(files)-1 {
				return s, fmt.Errorf("%w: after line %d, in %s", ErrTorn, s.lines, File(i))
			}
			l, err := parseLine(raw)
			if err == nil && l.N != s.lines+1 {
				err = fmt.Errorf("it is numbered %d", l.N)
			}
			if err != nil {
				return nil, fmt.Errorf("%w: %s, line %d of the seal: %w", ErrInvalid, File(i), s.lines+1, err)
			}
			s.push(l, raw)
		}
	}
	return s, nil
}
