package manifest

import (
	"fmt"
	"math"
	"unicode/utf16"
	"unicode/utf8"
)

// scanner reads JSON (RFC 8259) where the shape is known beforehand. It knows
// no nesting of its own, so depth cannot hurt it, and it is stricter than
// readers for general use: each key once, no unknown keys, valid UTF-8, no
// half surrogates, whole numbers only, nothing after the end.
//
// The first fault sticks. After it every method returns at once with a zero
// value, so that callers need to look at err only when they are done.
type scanner struct {
	b    []byte
	at   int
	err  error
	undo []byte // holds the last text that had escapes
}

// field is one key that an object may have and what reads its value.
type field struct {
	key  string
	code string // OCFL's validation code for a key that is missing; "" if the key is optional
	need bool
	read func()
}

func (s *scanner) fail(format string, args ...any) {
	if s.err == nil {
		s.err = fmt.Errorf("byte %d: %s", s.at, fmt.Sprintf(format, args...))
	}
}

// next skips white space and returns the byte there without taking it, or 0 at
// the end and after a fault.
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

// take expects one byte; what is begun by it.
func (s *scanner) take(c byte, what string) bool {
	if s.next() != c {
		s.fail("expected %q for %s", c, what)
		return false
	}
	s.at++
	return true
}

// end expects nothing more.
func (s *scanner) end() {
	if s.next(); s.err == nil && s.at < len(s.b) {
		s.fail("something follows the end (E033)")
	}
}

// object reads an object and calls each with every key; each must read the
// value and must not keep key.
func (s *scanner) object(what string, each func(key []byte)) {
	if !s.take('{', what) {
		return
	}
	if s.next() == '}' {
		s.at++
		return
	}
	for {
		key := s.text("as a key")
		if !s.take(':', "the value of a key") {
			return
		}
		each(key)
		switch s.next() {
		case ',':
			s.at++
		case '}':
			s.at++
			return
		default:
			s.fail("expected a comma or the end of %s", what)
			return
		}
	}
}

// fields reads an object that has these keys and no others. unknown is the rule
// an unknown key breaks.
func (s *scanner) fields(what, unknown string, fields []field) {
	var seen uint64
	s.object(what, func(key []byte) {
		for i := range fields {
			if string(key) != fields[i].key {
				continue
			}
			if seen&(1<<i) != 0 {
				s.fail("%s has the key %q twice", what, key)
				return
			}
			seen |= 1 << i
			fields[i].read()
			return
		}
		s.fail("%s has the unknown key %q%s", what, clip(string(key)), unknown)
	})
	for i := range fields {
		if fields[i].need && seen&(1<<i) == 0 {
			s.fail("%s lacks the key %q%s", what, fields[i].key, fields[i].code)
		}
	}
}

// array reads an array and calls each before every element; each must read it.
func (s *scanner) array(what string, each func()) {
	if !s.take('[', what) {
		return
	}
	if s.next() == ']' {
		s.at++
		return
	}
	for {
		each()
		switch s.next() {
		case ',':
			s.at++
		case ']':
			s.at++
			return
		default:
			s.fail("expected a comma or the end of %s", what)
			return
		}
	}
}

// natural reads a whole number from 0 up.
func (s *scanner) natural(what string) int64 {
	if c := s.next(); c < '0' || c > '9' {
		s.fail("expected a whole number %s", what)
		return 0
	}
	start := s.at
	var n int64
	for ; s.at < len(s.b) && s.b[s.at] >= '0' && s.b[s.at] <= '9'; s.at++ {
		digit := int64(s.b[s.at] - '0')
		if n > (math.MaxInt64-digit)/10 {
			s.fail("the number %s is too large", what)
			return 0
		}
		n = n*10 + digit
	}
	if s.b[start] == '0' && s.at > start+1 {
		s.fail("the number %s begins with a zero", what)
		return 0
	}
	if s.at < len(s.b) && (s.b[s.at] == '.' || s.b[s.at] == 'e' || s.b[s.at] == 'E') {
		s.fail("expected a whole number %s", what)
		return 0
	}
	return n
}

// str reads a string.
func (s *scanner) str(what string) string { return string(s.text(what)) }

// text reads a string; the bytes are good until the next call.
func (s *scanner) text(what string) []byte {
	if s.next() != '"' {
		s.fail("expected a string %s", what)
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
			s.fail("a string is not valid UTF-8 (RFC 8259 section 8.1)")
			return nil
		}
		s.at = i + 1
		return s.b[start:i]
	}
	return s.escaped(start, i)
}

// escaped goes on where text met the first byte that it cannot pass through.
func (s *scanner) escaped(start, i int) []byte {
	out := append(s.undo[:0], s.b[start:i]...)
	for i < len(s.b) {
		c := s.b[i]
		switch {
		case c == '"':
			s.undo = out
			if !utf8.Valid(out) {
				s.fail("a string is not valid UTF-8 (RFC 8259 section 8.1)")
				return nil
			}
			s.at = i + 1
			return out
		case c < ' ':
			s.at = i
			s.fail("a control character stands in a string")
			return nil
		case c != '\\':
			out = append(out, c)
			i++
		default:
			r, size := unescape(s.b[i:])
			if size == 0 {
				s.at = i
				s.fail("an escape in a string is not valid")
				return nil
			}
			out = utf8.AppendRune(out, r)
			i += size
		}
	}
	s.at = len(s.b)
	s.fail("a string has no end")
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
