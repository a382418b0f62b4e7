// Package fault says what an error means for the copy it came from. Every error
// that a storage root can return has one [Class], and whoever has to decide
// whether to go on with a copy asks [Of], and nothing else: no list of errors is
// kept anywhere beside the sentinels, which are made with [New].
package fault

import (
	"context"
	"errors"
	"fmt"
	"os"
)

// Class is what an error means for a copy. Where an error is several at once,
// the later one of this list counts.
type Class int

const (
	OfFile      Class = iota // it is about one file, or not about the copy at all
	Damaged                  // a manifest of the copy no longer reads
	Full                     // the copy takes no more bytes; it can still be read
	Refused                  // something answers, and does not let this machine work with this copy
	Unreachable              // no answer, or none in time
	Away                     // the drive is not plugged in, or no longer
)

// OfCopy reports that the copy as a whole could not be asked: the error says
// nothing about any one file on it.
func (c Class) OfCopy() bool { return c >= Refused }

// OutOfReach reports that nothing answered. A copy that is refused did answer.
func (c Class) OutOfReach() bool { return c >= Unreachable }

// New makes an error for callers to compare with, and to wrap.
func New(text string, c Class) error { return &classed{text, c} }

type classed struct {
	text  string
	class Class
}

func (e *classed) Error() string { return e.text }

// Of is the class of an error and of all that it wraps; nil and an error that
// nobody classed are OfFile.
func Of(err error) Class {
	switch err {
	case nil:
		return OfFile
	case context.DeadlineExceeded, os.ErrDeadlineExceeded:
		return Unreachable
	}
	class := OfFile
	switch e := err.(type) {
	case *classed:
		return e.class
	case interface{ Unwrap() error }:
		return Of(e.Unwrap())
	case interface{ Unwrap() []error }:
		for _, one := range e.Unwrap() {
			class = max(class, Of(one))
		}
	}
	return class
}

// Say makes an error that reads as the sentence it is given and is what, for callers
// that compare: where the sentence says it all, the text of what would only say it
// again. Where there is but a name to say, wrap what itself: its text says the rest.
func Say(what error, format string, args ...any) error {
	return said{fmt.Sprintf(format, args...), what}
}

type said struct {
	text string
	what error
}

func (s said) Error() string { return s.text }
func (s said) Unwrap() error { return s.what }

// Because makes an error that is both, and reads as one line: what it means for the
// copy, and what the system or the service said.
func Because(what, cause error) error { return because{what, cause} }

type because struct{ what, cause error }

func (b because) Error() string   { return b.what.Error() + " (" + b.cause.Error() + ")" }
func (b because) Unwrap() []error { return []error{b.what, b.cause} }

type unstored struct{ error }

func (e unstored) Unwrap() error { return e.error }

// Unstored marks the error of a write that was refused with an answer, at its
// first try: nothing of it can turn up later.
func Unstored(err error) error { return unstored{err} }

// IsUnstored reports whether nothing of the write that err tells of can turn up.
func IsUnstored(err error) bool {
	var e unstored
	return errors.As(err, &e)
}
