package manifest

import (
	"math"

	"linecamp/manifest/jsonscan"
)

// scanner reads JSON whose shape is known beforehand, and is stricter than
// readers for general use: each key once, no unknown keys, whole numbers only.
type scanner struct{ jsonscan.Scanner }

func scan(b []byte) scanner { return scanner{jsonscan.New(b)} }

// field is one key that an object may have and what reads its value.
type field struct {
	key  string
	code string // OCFL's validation code for a key that is missing; "" if the key is optional
	need bool
	read func()
}

// fields reads an object that has these keys and no others. unknown is the rule
// an unknown key breaks.
func (s *scanner) fields(what, unknown string, fields []field) {
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
		s.Fail("%s has the unknown key %q%s", what, clip(string(key)), unknown)
	})
	for i := range fields {
		if fields[i].need && seen&(1<<i) == 0 {
			s.Fail("%s lacks the key %q%s", what, fields[i].key, fields[i].code)
		}
	}
}

// natural reads a whole number from 0 up.
func (s *scanner) natural(what string) int64 {
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

// str reads a string.
func (s *scanner) str(what string) string { return string(s.Text(what)) }
