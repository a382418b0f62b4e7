package manifest

import (
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Printable returns a path as a terminal may show it: as it is, or quoted where
// it holds control characters, line breaks or bytes that are no text.
func Printable(path string) string {
	odd := func(r rune) bool { return r == utf8.RuneError || !unicode.IsPrint(r) }
	if strings.ContainsFunc(path, odd) {
		return strconv.Quote(path)
	}
	return path
}
