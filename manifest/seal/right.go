package seal

import (
	"bytes"
	"cmp"
	"iter"
	"slices"
)

// Told is the seal that one copy tells, and who records by its author file.
type Told struct {
	Seal   *Seal  // nil where it could not be read
	Author string // that the copy's author file names
	Epoch  int    // and in which epoch; 0 where nobody looked
}

// vouched reports whether the copy's author file names who records by its seal, or
// who did before: the lines of a later take-over come to a copy also by a computer
// that does not record, and that leaves the file alone. Rot in the one does not reach the
// other, and a take-over that got no further than the file has not happened yet.
func (t Told) vouched() bool {
	author, epoch := t.Seal.Author()
	return epoch == t.Epoch && (author == t.Author || author == "") || t.Epoch > 0 && epoch > t.Epoch && t.before()
}

// before reports whether the seal goes on from who records by the author file. The
// first of all, in epoch 1, has no line, and the first take-over is that of epoch 2; where
// one before it was stopped halfway, its epoch is higher, and looks like rot.
func (t Told) before() bool {
	for l := range t.Seal.All() {
		if l.What == Author {
			if t.Epoch == 1 || l.Author == t.Author && l.Epoch == t.Epoch {
				return t.Epoch > 1 || l.Epoch == 2
			}
		}
	}
	return false
}

// Right is the archive's seal, of the one this machine knows (nil for none) and
// those the copies tell: the one that governs. One that goes on from what is known is
// taken as it is; one that goes another way only if its copy's author file vouches
// for it, and if rot is not all that sets it apart. Where two differ as by rot, the
// one that more of the others agree with stands. The index is that of the one told
// which it is, -1 for the one known.
//
// Everything that has to choose between seals asks Right, and whoever has to say
// what is wrong with another seal asks Against.
func Right(known *Seal, told ...Told) (right *Seal, index int) {
	all := []*Seal{known}
	for _, t := range told {
		all = append(all, t.Seal)
	}
	all = slices.DeleteFunc(all, func(s *Seal) bool { return s == nil })
	var order []int
	vouched := make([]bool, len(told))
	for i, t := range told {
		if t.Seal != nil && !outvoted(t.Seal, all) {
			order = append(order, i)
			vouched[i] = t.vouched()
		}
	}
	slices.SortStableFunc(order, func(i, j int) int {
		a, b := told[i], told[j]
		if vouched[i] != vouched[j] {
			if vouched[i] {
				return -1
			}
			return 1
		}
		return compare(b.Seal, a.Seal)
	})
	right, index = known, -1
	for _, i := range order {
		s := told[i].Seal
		if right == nil || s.Len() > right.Len() && s.Extends(right) ||
			vouched[i] && Governs(s, right) && !s.Rotted(right) {
			right, index = s, i
		}
	}
	return right, index
}

// outvoted reports whether s differs as by rot from a seal that more of all agree
// with.
func outvoted(s *Seal, all []*Seal) bool {
	agree := func(s *Seal) (n int) {
		for _, o := range all {
			if s.Extends(o) || o.Extends(s) {
				n++
			}
		}
		return n
	}
	return slices.ContainsFunc(all, func(o *Seal) bool { return s.Rotted(o) && agree(o) > agree(s) })
}

// Governs reports whether a is the archive's rather than b. Of all seals of an
// archive one governs, the same on every machine: that of the last take-over, which
// is the one of the highest epoch; in one epoch, which two machines can have come
// to without knowing of each other, the later one. Where both have the same
// take-over, or none, the one that goes on from the other governs, and of two that
// parted the one whose first line of its own is earlier. Lines that are added change
// nothing of that, unless they tell of a take-over.
func Governs(a, b *Seal) bool { return compare(a, b) > 0 }

// compare orders seals: those that govern are greater.
func compare(a, b *Seal) int {
	if c := byTakeover(&a.takes, &b.takes); c != 0 {
		return c
	}
	for x, y := range unlike(a, b) {
		return cmp.Or(bytes.Compare(timeOf(y), timeOf(x)), bytes.Compare(y, x))
	}
	return cmp.Compare(a.lines, b.lines)
}

// byTakeover orders author lines, a zero one for none: the last take-over is the
// greatest.
func byTakeover(a, b *Line) int {
	return cmp.Or(cmp.Compare(max(a.Epoch, 1), max(b.Epoch, 1)), a.At.Compare(b.At), cmp.Compare(b.Author, a.Author))
}

// timeOf is where a line tells its time, in a form that sorts as times do.
func timeOf(raw []byte) []byte { return raw[11:31] }

// Common is how many lines a and b have in common before they part, or one ends.
func Common(a, b *Seal) (n int) {
	next, stop := iter.Pull(b.raw())
	defer stop()
	for x := range a.raw() {
		if y, ok := next(); !ok || !bytes.Equal(x, y) {
			break
		}
		n++
	}
	return n
}

// unlike yields the lines of a and b that are not the same, of as many as both
// have.
func unlike(a, b *Seal) iter.Seq2[[]byte, []byte] {
	return func(yield func(x, y []byte) bool) {
		next, stop := iter.Pull(b.raw())
		defer stop()
		for x := range a.raw() {
			if y, ok := next(); !ok || !bytes.Equal(x, y) && !yield(x, y) {
				return
			}
		}
	}
}

// raw yields the lines as they are written.
func (s *Seal) raw() iter.Seq[[]byte] {
	return func(yield func([]byte) bool) {
		for _, part := range s.parts {
			for line := range bytes.Lines(part) {
				if !yield(line) {
					return
				}
			}
		}
	}
}

// How many changed bytes count as rot, and in how many lines.
const (
	mostRotted      = 16
	mostRottenLines = 4
)

// Rotted reports whether s and o differ as rot makes them: in a few bytes of a few
// lines, each in its place, of as many lines as both have. Two histories hardly look
// so: where one names another version than the other it has another SHA-256 there,
// of whose 64 digits about 60 differ. They can where they tell the same thing at
// another time, so whoever replaces such a seal keeps it.
func (s *Seal) Rotted(o *Seal) bool {
	changed, lines := 0, 0
	for x, y := range unlike(s, o) {
		if lines++; len(x) != len(y) || lines > mostRottenLines {
			return false
		}
		for i := range x {
			if x[i] != y[i] {
				changed++
			}
		}
		if changed > mostRotted {
			return false
		}
	}
	return changed > 0
}

// Stand is how one seal stands to the archive's.
type Stand int

const (
	Begins Stand = iota // it is the beginning of the archive's, or all of it
	Ahead               // it goes on from the archive's
	Rotten              // they differ by rot
	Parted              // it is of another history, which does not govern
)

// Against is how s stands to the archive's seal.
func (s *Seal) Against(right *Seal) Stand {
	switch {
	case right.Extends(s):
		return Begins
	case s.Extends(right):
		return Ahead
	case s.Rotted(right):
		return Rotten
	}
	return Parted
}
