package ocfl

import (
	"errors"
	"fmt"
	"unicode/utf16"
	"unicode/utf8"
)

// maxDepth is how deeply values may be nested where the standard has no place
// for them; an inventory itself has a depth of five.
const maxDepth = 64

// scanner reads JSON (RFC 8259) piece by piece, as its caller asks for it. A
// piece that is not of the expected type is the caller's finding, and it goes
// on after it; only what is no JSON at all is a fault. The first fault sticks:
// after it every method returns at once.
type scanner struct {
	b    []byte
	at   int
	err  error
	undo []byte // holds the last text that had escapes
}

func (s *scanner) fail(format string, args ...any) {
	if s.err == nil {
		s.err = fmt.Errorf("byte %d: %s", s.at, fmt.Sprintf(format, args...))
	}
}

// next skips white space and returns the byte there without taking it; it tells
// the type of the value that follows. 0 at the end and after a fault.
func (s *scanner) next() byte {
	if s.err != nil {
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

// end expects nothing more.
func (s *scanner) end() {
	if s.next(); s.err == nil && s.at < len(s.b) {
		s.fail("something follows the end")
	}
}

// object reads an object and calls each with every key; each must read the
// value and must not keep key.
func (s *scanner) object(each func(key []byte)) { s.list('{', '}', each) }

// array reads an array and calls each before every element; each must read it.
func (s *scanner) array(each func()) { s.list('[', ']', func([]byte) { each() }) }

func (s *scanner) list(open, close byte, each func(key []byte)) {
	if s.next() != open {
		s.fail("expected %q", open)
		return
	}
	s.at++
	if s.next() == close {
		s.at++
		return
	}
	for s.err == nil {
		var key []byte
		if open == '{' {
			key = s.text()
			if s.next() != ':' {
				s.fail("expected a colon after a key")
				return
			}
			s.at++
		}
		each(key)
		switch s.next() {
		case ',':
			s.at++
		case close:
			s.at++
			return
		default:
			s.fail("expected a comma or %q", close)
		}
	}
}

// skip passes over one value of any type.
func (s *scanner) skip() { s.skipAt(0) }

func (s *scanner) skipAt(depth int) {
	if depth > maxDepth {
		s.fail("values are nested more than %d deep", maxDepth)
		return
	}
	switch c := s.next(); c {
	case '{':
		s.object(func([]byte) { s.skipAt(depth + 1) })
	case '[':
		s.array(func() { s.skipAt(depth + 1) })
	case '"':
		s.text()
	case 't':
		s.word("true")
	case 'f':
		s.word("false")
	case 'n':
		s.word("null")
	default:
		s.number()
	}
}

func (s *scanner) word(w string) {
	if len(s.b)-s.at < len(w) || string(s.b[s.at:s.at+len(w)]) != w {
		s.fail("expected a value")
		return
	}
	s.at += len(w)
}

// number passes over a number (RFC 8259 section 6).
func (s *scanner) number() {
	digits := func() bool {
		from := s.at
		for s.at < len(s.b) && s.b[s.at] >= '0' && s.b[s.at] <= '9' {
			s.at++
		}
		return s.at > from
	}
	is := func(set ...byte) bool {
		for _, c := range set {
			if s.at < len(s.b) && s.b[s.at] == c {
				s.at++
				return true
			}
		}
		return false
	}
	if s.err != nil {
		return
	}
	is('-')
	ok := is('0') || digits()
	if ok && is('.') {
		ok = digits()
	}
	if ok && is('e', 'E') {
		is('+', '-')
		ok = digits()
	}
	if !ok {
		s.fail("expected a value")
	}
}

// text reads a string; the bytes are good until the next call.
func (s *scanner) text() []byte {
	if s.next() != '"' {
		s.fail("expected a string")
		return nil
	}
	start := s.at + 1
	i := start
	for i < len(s.b) && s.b[i] != '"' && s.b[i] != '\\' && s.b[i] >= ' ' {
		i++
	}
	out := s.b[start:i]
	if i >= len(s.b) || s.b[i] != '"' {
		var err error
		if out, i, err = s.escaped(start, i); err != nil {
			s.at = i
			s.fail("%v", err)
			return nil
		}
	}
	if !utf8.Valid(out) {
		s.fail("a string is not valid UTF-8")
		return nil
	}
	s.at = i + 1
	return out
}

// escaped goes on where text met a byte that it cannot pass through, and
// returns the string and the place of its closing quote.
func (s *scanner) escaped(start, i int) ([]byte, int, error) {
	out := append(s.undo[:0], s.b[start:i]...)
	for i < len(s.b) {
		switch c := s.b[i]; {
		case c == '"':
			s.undo = out
			return out, i, nil
		case c < ' ':
			return nil, i, errors.New("a control character stands in a string")
		case c != '\\':
			out = append(out, c)
			i++
		default:
			r, size := unescape(s.b[i:])
			if size == 0 {
				return nil, i, errors.New("an escape in a string is not valid")
			}
			out = utf8.AppendRune(out, r)
			i += size
		}
	}
	return nil, len(s.b), errors.New("a string has no end")
}

// unescape reads one escape (RFC 8259 section 7) and says how long it was, 0 if
// it is none. Half of a surrogate pair is no character and cannot be UTF-8.
func unescape(b []byte) (rune, int) {
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
	}
	r, ok := unicodeEscape(b)
	if !ok {
		return 0, 0
	}
	if !utf16.IsSurrogate(r) {
		return r, 6
	}
	low, ok := unicodeEscape(b[6:])
	if r = utf16.DecodeRune(r, low); !ok || r == utf8.RuneError {
		return 0, 0
	}
	return r, 12
}

// unicodeEscape reads \uXXXX.
func unicodeEscape(b []byte) (r rune, ok bool) {
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
