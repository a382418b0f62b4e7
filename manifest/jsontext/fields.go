package jsontext

import (
	"math"

	"linecamp/manifest/names"
)

// Field is one key that an object may have and what reads its value.
type Field struct {
	key, code string
	isNeeded  bool
	read      func()
}

// Need is a field that an object must have. A fault tells code where it is missing.
func Need(key, code string, read func()) Field { return Field{key, code, true, read} }

// May is a field that an object may have.
func May(key string, read func()) Field { return Field{key, "", false, read} }

// Fields reads an object that has these keys and no others, each once. unknown is the
// rule an unknown key breaks.
func (s *Scanner) Fields(what, unknown string, fields []Field) {
	var seen uint64
	s.Object(what, func(key []byte) {
		for i := range fields {
			if string(key) != fields[i].key {
				continue
			}
			if seen&(1<<i) != 0 {
				s.Fail("%s has the key %q twice", what, key)
				return
			}
			seen |= 1 << i
			fields[i].read()
			return
		}
		s.Fail("%s has the unknown key %q%s", what, names.Clip(string(key)), unknown)
	})
	for i := range fields {
		if fields[i].isNeeded && seen&(1<<i) == 0 {
			s.Fail("%s lacks the key %q%s", what, fields[i].key, fields[i].code)
		}
	}
}

// Natural reads a whole number from 0 up.
func (s *Scanner) Natural(what string) int64 {
	if c := s.Next(); c < '0' || c > '9' {
		s.Fail("expected a whole number %s", what)
		return 0
	}
	b := s.Rest()
	var n int64
	i := 0
	for ; i < len(b) && b[i] >= '0' && b[i] <= '9'; i++ {
		digit := int64(b[i] - '0')
		if n > (math.MaxInt64-digit)/10 {
			s.Fail("the number %s is too large", what)
			return 0
		}
		n = n*10 + digit
	}
	switch {
	case b[0] == '0' && i > 1:
		s.Fail("the number %s begins with a zero", what)
		return 0
	case i < len(b) && (b[i] == '.' || b[i] == 'e' || b[i] == 'E'):
		s.Fail("expected a whole number %s", what)
		return 0
	}
	s.Take(i)
	return n
}

// Str is Text as a string, which stays good.
func (s *Scanner) Str(what string) string { return string(s.Text(what)) }
