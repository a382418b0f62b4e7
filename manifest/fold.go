package manifest

import (
	"strings"

	"golang.org/x/text/unicode/norm"
)

// Folded is a name without what people leave out when they type it: capitals, and
// the accents of Latin, Greek and Cyrillic letters, so that "CANON GATE" is "Cañon
// Gate" whichever way its ñ is composed. Names are compared by it; it is never stored.
func Folded(name string) string {
	plain := strings.Map(func(r rune) rune {
		if r >= 0x300 && r <= 0x36f { // the combining marks of those scripts; elsewhere marks are letters
			return -1
		}
		return r
	}, norm.NFKD.String(name))
	return strings.ToLower(plain)
}
