package words

import (
	"fmt"
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"

	"linecamp/manifest"
)

// bare words need no quotes in any shell.
var bare = regexp.MustCompile(`^[\pL\pN_+:./-]+$`)

// quoteUnix quotes as sh does. Where something cannot be printed, it takes the
// quotes $'…', in which POSIX (2024, XCU 2.2.4) has \xHH for a byte.
func quoteUnix(word string) string {
	if bare.MatchString(word) && manifest.IsPrintable(word) {
		return word
	}
	if manifest.IsPrintable(word) {
		return "'" + strings.ReplaceAll(word, "'", `'\''`) + "'"
	}
	var b strings.Builder
	b.WriteString("$'")
	for len(word) > 0 {
		c, n := utf8.DecodeRuneInString(word)
		switch {
		case c == '\'' || c == '\\':
			b.WriteByte('\\')
			b.WriteRune(c)
		case manifest.IsPrintable(word[:n]):
			b.WriteString(word[:n])
		default:
			for _, raw := range []byte(word[:n]) {
				fmt.Fprintf(&b, `\x%02x`, raw)
			}
			if next, _ := utf8.DecodeRuneInString(word[n:]); unicode.Is(unicode.ASCII_Hex_Digit, next) {
				b.WriteString("'$'") // how many digits an escape takes is not the same in every shell
			}
		}
		word = word[n:]
	}
	b.WriteByte('\'')
	return b.String()
}

// quoteWindows quotes as programs there take their arguments apart: a backslash is
// itself, but before a quote. No escape is known to its shells, so that what cannot
// be printed is shown as lost; such a command line finds nothing, and harms nothing.
func quoteWindows(word string) string {
	if bare.MatchString(strings.ReplaceAll(word, `\`, "/")) && manifest.IsPrintable(word) {
		return word
	}
	var b strings.Builder
	b.WriteByte('"')
	slashes := 0
	for _, c := range word {
		switch {
		case c == '"':
			b.WriteString(strings.Repeat(`\`, slashes+1))
		case !manifest.IsPrintable(string(c)):
			c = utf8.RuneError
		}
		slashes++
		if c != '\\' {
			slashes = 0
		}
		b.WriteRune(c)
	}
	b.WriteString(strings.Repeat(`\`, slashes))
	b.WriteByte('"')
	return b.String()
}
