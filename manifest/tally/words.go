package tally

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// A word is a maximal run of letters, digits and marks in a name. Dates and
// views are only ever found as whole words: "stake 2012m" holds no year, and
// "plotter" is no plot.
type word struct {
	text   string // lower case
	gap    string // what stands between this word and the one before
	digits bool   // all of it are ASCII digits
}

// split cuts a name into words. Bytes that are not UTF-8 count as letters, so
// that nothing is read into a name that may mean something else.
func split(name string) []word { return splitInto(make([]word, 0, 8), name) }

// splitInto is split into a slice that is used again.
func splitInto(words []word, name string) []word {
	start, gap := -1, 0
	digits := true
	for i := 0; i <= len(name); {
		size, in := 1, false
		if i < len(name) {
			in, size = inWord(name, i)
		}
		switch {
		case in && start < 0:
			start, digits = i, true
			fallthrough
		case in:
			digits = digits && name[i] >= '0' && name[i] <= '9'
		case start >= 0:
			words = append(words, word{strings.ToLower(name[start:i]), name[gap:start], digits})
			start, gap = -1, i
		}
		i += size
	}
	return words
}

func inWord(name string, i int) (bool, int) {
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

// stem is a file name without its extension.
func stem(name string) string {
	if i := strings.LastIndexByte(name, '.'); i > 0 {
		return name[:i]
	}
	return name
}

// extension is a file name's extension in lower case, without the dot.
func extension(name string) string {
	if i := strings.LastIndexByte(name, '.'); i > 0 {
		return strings.ToLower(name[i+1:])
	}
	return ""
}
