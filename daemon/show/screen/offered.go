package screen

import (
	"regexp"
	"slices"

	"linecamp/manifest"
)

// plainWord is what may be offered to a shell. Names come from folders and copies,
// and a shell may put what several have in common on the command line as it is,
// and read that line as its own.
var plainWord = regexp.MustCompile(`^[\pL\pN][\pL\pM\pN _.,+:/-]*$`)

// Offered are those of the names that a shell may be offered to complete one.
func Offered(names ...string) []string {
	return slices.DeleteFunc(names, func(n string) bool { return !plainWord.MatchString(n) || !manifest.IsPrintable(n) })
}
