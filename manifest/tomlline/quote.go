package tomlline

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// Quote writes text as a TOML basic string, or as a literal one where backslashes
// would otherwise be doubled. Text that is not UTF-8 has no form in TOML: it is
// written as it is, and refused when it is read.
func Quote(s string) string {
	if !utf8.ValidString(s) {
		return `"` + s + `"`
	}
	control := func(r rune) bool { return r < ' ' || r == 0x7f }
	if strings.Contains(s, `\`) && !strings.Contains(s, "'") && !strings.ContainsFunc(s, control) {
		return "'" + s + "'"
	}
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range s {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case control(r):
			fmt.Fprintf(&b, `\u%04X`, r)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}
