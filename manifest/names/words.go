// Package names takes names and paths apart: a path into its folder and its last
// element, a file's name into stem and extension, and any name into words.
//
// Begin with [Split], which cuts a name into its [Word]s. What the words mean is
// told elsewhere: days and years in manifest/dates, views and sites in
// manifest/layout.
package names

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// A Word is a maximal run of letters, digits and marks in a name. Dates and
// views are only ever found as whole words: "stake 2012m" holds no year, and
// "plotter" is no plot.
type Word struct {
	Text   string // lower case
	Gap    string // what stands between this word and the one before
	Digits bool   // all of it are ASCII digits
}

// Split cuts a name into words. Bytes that are not UTF-8 count as letters, so
// that nothing is read into a name that may mean something else.
func Split(name string) []Word { return SplitInto(make([]Word, 0, 8), name) }

// SplitInto is Split into a slice that is used again.
func SplitInto(words []Word, name string) []Word {
	start, gap := -1, 0
	digits := true
	for i := 0; i <= len(name); {
		size, in := 1, false
		if i < len(name) {
			in, size = InWord(name, i)
		}
		switch {
		case in && start < 0:
			start, digits = i, true
			fallthrough
		case in:
			digits = digits && name[i] >= '0' && name[i] <= '9'
		case start >= 0:
			words = append(words, Word{strings.ToLower(name[start:i]), name[gap:start], digits})
			start, gap = -1, i
		}
		i += size
	}
	return words
}

// InWord reports whether the character at name[i:] belongs to a word, and how many
// bytes it has.
func InWord(name string, i int) (in bool, size int) {
	c := name[i]
	if c < utf8.RuneSelf {
		// The apostrophe keeps "Bob's" from looking south.
		return c >= '0' && c <= '9' || c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c == '\'', 1
	}
	r, size := utf8.DecodeRuneInString(name[i:])
	if r == utf8.RuneError && size == 1 {
		return true, 1
	}
	return unicode.IsLetter(r) || unicode.IsNumber(r) || unicode.IsMark(r) || r == '’', size
}

// Digits reports whether s is one ASCII digit or more, and nothing else.
func Digits(s string) bool { return s != "" && strings.Trim(s, "0123456789") == "" }

// Clip shortens outside text for an error message, between two characters.
func Clip(s string) string {
	most := 80
	if len(s) <= most {
		return s
	}
	for !utf8.RuneStart(s[most]) && most > 0 {
		most--
	}
	return s[:most] + "…"
}
