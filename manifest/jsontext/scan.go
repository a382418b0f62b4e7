// Package jsontext reads JSON (RFC 8259) piece by piece, as its caller asks for
// it: where the caller knows the shape, nothing is held that was not asked for.
//
// Begin with [New], and read with [Scanner.Fields], where an object's keys are known
// beforehand, or with [Scanner.Object] and [Scanner.Array]. [AppendString] and [Object]
// write.
//
// The scanner knows no nesting of its own, so depth cannot hurt it. It wants valid UTF-8
// and whole surrogate pairs. The first fault sticks: after it every method
// returns at once with a zero value, so that callers need to look at Err only
// when they are done.
package jsontext

import (
	"fmt"
	"unicode/utf16"
	"unicode/utf8"
)

// Scanner reads the bytes it was made of.
type Scanner struct {
	Err error // the first fault; nil so far

	b    []byte
	at   int
	undo []byte // holds the last text that had escapes
}

// New reads b, which must not change meanwhile.
func New(b []byte) Scanner { return Scanner{b: b} }

// Fail notes a fault, with the place it was found at, unless there was one.
func (s *Scanner) Fail(format string, args ...any) {
	if s.Err == nil {
		s.Err = fmt.Errorf("byte %d: %s", s.at, fmt.Sprintf(format, args...))
	}
}

// Next skips white space and returns the byte there without taking it; it tells
// the type of the value that follows. It is 0 at the end and after a fault.
func (s *Scanner) Next() byte {
	if s.Err != nil {
		return 0
	}
	for ; s.at < len(s.b); s.at++ {
		switch c := s.b[s.at]; c {
		case ' ', '\t', '\n', '\r':
		default:
			return c
		}
	}
	return 0
}

// Rest is what was not taken yet; none after a fault.
func (s *Scanner) Rest() []byte {
	if s.Err != nil {
		return nil
	}
	return s.b[s.at:]
}

// Take takes n bytes of Rest.
func (s *Scanner) Take(n int) { s.at += n }

// End expects nothing more.
func (s *Scanner) End() {
	if s.Next(); s.Err == nil && s.at < len(s.b) {
		s.Fail("something follows the end")
	}
}

// Object reads an object and calls each with every key; each must read the
// value and must not keep key. what names the object in a fault.
func (s *Scanner) Object(what string, each func(key []byte)) { s.list('{', '}', what, each) }

// Array reads an array and calls each before every element; each must read it.
func (s *Scanner) Array(what string, each func()) {
	s.list('[', ']', what, func([]byte) { each() })
}

func (s *Scanner) list(open, end byte, what string, each func(key []byte)) {
	if s.Next() != open {
		s.Fail("expected %q for %s", open, what)
		return
	}
	s.at++
	if s.Next() == end {
		s.at++
		return
	}
	for s.Err == nil {
		var key []byte
		if open == '{' {
			key = s.Text("as a key")
			if s.Next() != ':' {
				s.Fail("expected a colon after a key")
				return
			}
			s.at++
		}
		each(key)
		switch s.Next() {
		case ',':
			s.at++
		case end:
			s.at++
			return
		default:
			s.Fail("expected a comma or the end of %s", what)
		}
	}
}

// Text reads a string; the bytes are good until the next call. what says in a
// fault what it is read as.
func (s *Scanner) Text(what string) []byte {
	if s.Next() != '"' {
		s.Fail("expected a string %s", what)
		return nil
	}
	start := s.at + 1
	i, ascii := start, true
	for i < len(s.b) && s.b[i] != '"' && s.b[i] != '\\' && s.b[i] >= ' ' {
		ascii = ascii && s.b[i] < utf8.RuneSelf
		i++
	}
	if i < len(s.b) && s.b[i] == '"' {
		if !ascii && !utf8.Valid(s.b[start:i]) {
			s.Fail("a string is not valid UTF-8 (RFC 8259 section 8.1)")
			return nil
		}
		s.at = i + 1
		return s.b[start:i]
	}
	return s.escaped(start, i)
}

// escaped goes on where Text met the first byte that it cannot pass through.
func (s *Scanner) escaped(start, i int) []byte {
	out := append(s.undo[:0], s.b[start:i]...)
	for i < len(s.b) {
		c := s.b[i]
		switch {
		case c == '"':
			s.undo = out
			if !utf8.Valid(out) {
				s.Fail("a string is not valid UTF-8 (RFC 8259 section 8.1)")
				return nil
			}
			s.at = i + 1
			return out
		case c < ' ':
			s.at = i
			s.Fail("a control character stands in a string")
			return nil
		case c != '\\':
			out = append(out, c)
			i++
		default:
			r, size := unescape(s.b[i:])
			if size == 0 {
				s.at = i
				s.Fail("an escape in a string is not valid")
				return nil
			}
			out = utf8.AppendRune(out, r)
			i += size
		}
	}
	s.at = len(s.b)
	s.Fail("a string has no end")
	return nil
}

// unescape reads one escape (RFC 8259 section 7) and says how long it was, 0 if
// it is none. Half a surrogate pair is no character and no valid escape.
func unescape(b []byte) (r rune, size int) {
	if len(b) < 2 {
		return 0, 0
	}
	switch b[1] {
	case '"', '\\', '/':
		return rune(b[1]), 2
	case 'b':
		return '\b', 2
	case 'f':
		return '\f', 2
	case 'n':
		return '\n', 2
	case 'r':
		return '\r', 2
	case 't':
		return '\t', 2
	case 'u':
		r, ok := hex4(b)
		if !ok {
			return 0, 0
		}
		if !utf16.IsSurrogate(r) {
			return r, 6
		}
		low, ok := hex4(b[6:])
		if r = utf16.DecodeRune(r, low); !ok || r == utf8.RuneError {
			return 0, 0
		}
		return r, 12
	}
	return 0, 0
}

// hex4 reads \uXXXX.
func hex4(b []byte) (r rune, ok bool) {
	if len(b) < 6 || b[0] != '\\' || b[1] != 'u' {
		return 0, false
	}
	for _, c := range b[2:6] {
		switch {
		case c >= '0' && c <= '9':
			c -= '0'
		case c >= 'a' && c <= 'f':
			c -= 'a' - 10
		case c >= 'A' && c <= 'F':
			c -= 'A' - 10
		default:
			return 0, false
		}
		r = r<<4 | rune(c)
	}
	return r, true
}
