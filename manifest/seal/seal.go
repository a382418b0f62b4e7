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

// PerFile is how many lines each file of the seal holds; only the last file
// may hold fewer.
const PerFile = 4096

// Seal is the append-only record of every version made in an archive: plain
// text, numbered from 0000000001, so that the number of the last line is the
// count of lines. It is kept as the bytes of its files. A Seal is not safe for
// use by several goroutines while one of them appends.
type Seal struct {
	files [][]byte
	lines int
	hash  hash.Hash      // of all lines
	marks []hash.Cloner  // of the lines before each file
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

// Files returns the number of files.
func (s *Seal) Files() int { return len(s.files) }

// File returns the bytes of file i, which must not be changed.
func (s *Seal) File(i int) []byte { return slices.Clip(s.files[i]) }

// All yields the lines in order.
func (s *Seal) All() iter.Seq[Line] {
	return func(yield func(Line) bool) {
		for _, file := range s.files {
			for raw := range bytes.Lines(file) {
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
	for _, f := range s.files {
		c.files = append(c.files, slices.Clip(f))
	}
	return c
}

// push adds a line that is known to be right.
func (s *Seal) push(l Line, raw []byte) {
	if s.hash == nil {
		s.hash = sha256.New()
		s.heads = map[string]int{}
	}
	if s.lines%PerFile == 0 {
		s.files = append(s.files, nil)
		s.marks = append(s.marks, clone(s.hash))
	}
	last := len(s.files) - 1
	s.files[last] = append(s.files[last], raw...)
	s.hash.Write(raw)
	s.lines++
	if l.Drops() {
		if s.heads[l.Object] = min(s.heads[l.Object], l.Version-1); s.heads[l.Object] == 0 {
			delete(s.heads, l.Object)
		}
	}
	if l.What == Version || l.What == Again {
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
	file := n / PerFile
	h := clone(s.marks[file]).(hash.Hash)
	rest := n % PerFile
	for raw := range bytes.Lines(s.files[file]) {
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
	for i, file := range o.files {
		if !bytes.HasPrefix(s.files[i], file) {
			return false
		}
	}
	return true
}

// Author is who records by these lines, and in which epoch: "" and 1 before anybody
// took over.
func (s *Seal) Author() (author string, epoch int) { return s.takes.Author, max(s.takes.Epoch, 1) }

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

// Decode reads the files of a seal in order. Every line must be exactly as
// Append writes it. If the last file ends in the middle of a line, or is empty,
// the seal up to the last whole line is returned together with ErrTorn; every
// other fault is ErrInvalid, which names the file and the line.
func Decode(files [][]byte) (*Seal, error) {
	s := &Seal{}
	for i, file := range files {
		last := i == len(files)-1
		if s.lines != i*PerFile {
			return nil, fmt.Errorf("%w: %s has %d lines; all but the last have %d", ErrInvalid, File(i-1), s.lines-(i-1)*PerFile, PerFile)
		}
		for raw := range bytes.Lines(file) {
			if raw[len(raw)-1] != '\n' && last {
				return s, fmt.Errorf("%w: after line %d, in %s", ErrTorn, s.lines, File(i))
			}
			if s.lines == (i+1)*PerFile {
				return nil, fmt.Errorf("%w: %s has more than %d lines", ErrInvalid, File(i), PerFile)
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
		if len(file) == 0 && last {
			return s, fmt.Errorf("%w: after line %d, %s is empty", ErrTorn, s.lines, File(i))
		}
	}
	return s, nil
}
