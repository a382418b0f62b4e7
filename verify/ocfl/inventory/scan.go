package inventory

import (
	"bytes"
	"regexp"

	"linecamp/manifest/jsontext"
)

// maxDepth is how deeply values may be nested where the standard has no place
// for them; an inventory itself has a depth of five.
const maxDepth = 64

// scanner reads JSON of which a piece that is not of the expected type is the
// caller's finding, who goes on after it; only what is no JSON at all is a fault.
type scanner struct{ jsontext.Scanner }

// skip passes over one value of any type.
func (s *scanner) skip() { s.skipAt(0) }

func (s *scanner) skipAt(depth int) {
	if depth > maxDepth {
		s.Fail("values are nested more than %d deep", maxDepth)
		return
	}
	switch c := s.Next(); c {
	case '{':
		s.Object("an object", func([]byte) { s.skipAt(depth + 1) })
	case '[':
		s.Array("an array", func() { s.skipAt(depth + 1) })
	case '"':
		s.Text("as a value")
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
	if !bytes.HasPrefix(s.Rest(), []byte(w)) {
		s.Fail("expected a value")
		return
	}
	s.Take(len(w))
}

// number is a number of RFC 8259 section 6. It is held against that number alone:
// on all that is left, the expression would take memory by how much that is.
var number = regexp.MustCompile(`^-?(0|[1-9][0-9]*)(\.[0-9]+)?([eE][+-]?[0-9]+)?$`)

func (s *scanner) number() {
	rest := s.Rest()
	n := len(rest) - len(bytes.TrimLeft(rest, "+-.0123456789eE"))
	if !number.Match(rest[:n]) {
		s.Fail("expected a value")
		return
	}
	s.Take(n)
}
