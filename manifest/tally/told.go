package tally

import (
	"fmt"
	"slices"
	"strings"

	"linecamp/manifest"
	"linecamp/manifest/words"
)

// text makes a name fit for a report: bytes that are no text become U+FFFD.
func text(s string) string { return strings.ToValidUTF8(s, "\uFFFD") }

// line makes a name fit for one line of a terminal.
func line(s string) string { return manifest.Printable(s) }

// Question asks of which day the photos are, in a few words.
func (u Undated) Question() string {
	q := words.Count(u.Photos, "photo") + " in " + line(Logical(u.Folder))
	days := u.Days
	switch {
	case len(days) > 1:
		q += ": which day? " + strings.Join(days[:len(days)-1], ", ") + " or " + days[len(days)-1]
	case len(u.Years) == 1:
		q += fmt.Sprintf(": which day, of %d?", u.Years[0])
	default:
		q += ": which day?"
	}
	return q
}

// Todo is what a person does about them.
func Todo(all []Undated) string {
	todo := "Begin the folder's name with year, month and day, as in 2019-06-07"
	if slices.ContainsFunc(all, func(u Undated) bool { return len(u.Days) > 1 }) {
		todo += "; or where all dates are written in one order, say so in the settings, as in dates = \"month first\""
	}
	return todo + "."
}
