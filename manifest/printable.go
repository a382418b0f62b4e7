package manifest

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Printable returns text that came from outside, such as a file's or a site's
// name or a server's message, as a screen may show it: as it is where every
// character of it is seen, in whatever script. What a terminal could take for a
// command or a line's end, what changes the direction of writing and what nobody
// sees is shown by its code, \u{202e}, and bytes that are no text by theirs, \xe9.
// Everything that prints such text goes through here, so that no name can pass
// for a sentence of a report.
func Printable(text string) string {
	if IsPrintable(text) {
		return text
	}
	var b strings.Builder
	for i := 0; i < len(text); {
		c, n := utf8.DecodeRuneInString(text[i:])
		switch {
		case c == utf8.RuneError && n == 1:
			fmt.Fprintf(&b, `\x%02x`, text[i])
		case printable(c):
			b.WriteRune(c)
		default:
			fmt.Fprintf(&b, `\u{%x}`, c)
		}
		i += n
	}
	return b.String()
}

// IsPrintable reports whether Printable leaves text as it is.
func IsPrintable(text string) bool {
	return utf8.ValidString(text) && !strings.ContainsFunc(text, func(c rune) bool { return !printable(c) })
}

// printable reports whether a character is seen, or is a space between others.
// Some letters are not: fillers, which Unicode lets be ignored.
func printable(c rune) bool {
	if c < utf8.RuneSelf {
		return ' ' <= c && c <= '~'
	}
	return (unicode.IsPrint(c) || unicode.Is(unicode.Zs, c)) && !unicode.Is(unicode.Other_Default_Ignorable_Code_Point, c)
}
