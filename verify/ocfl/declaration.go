package ocfl

import "linecamp/verify/ocfl/inventory"

import (
	"context"
	"fmt"
	"regexp"
	"strings"
)

// kind of declaration: what sections 3.2 and 4.2 say, with the codes of each.
type declaration struct {
	value                                string // what stands before the version number
	exactlyOne, pattern, tag, dvalue, ct string
	absent                               string
	near                                 *regexp.Regexp // names that mean to be one
}

var (
	objectDeclaration = declaration{"ocfl_object_", "E003", "E004", "E005", "E006", "E007", "E003",
		regexp.MustCompile(`(?i)^([^=]*=)?ocfl(_object)?(_[0-9.]*)?$`)}
	rootDeclaration = declaration{"ocfl_", "E076", "E077", "E078", "E079", "E080", "E069",
		regexp.MustCompile(`(?i)^([^=]*=)?ocfl(_[0-9.]*)?$`)}
)

// versionOf returns the version number a name declares, "" if name is not of
// the form of a declaration.
func (d declaration) versionOf(name string) string {
	number, ok := strings.CutPrefix(name, "0="+d.value)
	if !ok || number == "" || strings.Trim(number, "0123456789.") != "" {
		return ""
	}
	return number
}

// check looks for the declaration among the names in a folder and reads it. It
// returns the version declared and whether a name was taken account of; the
// names of folders and links never declare anything.
func (d declaration) check(ctx context.Context, f Files, folder string, entries []Entry, note noteFunc) (inventory.Spec, map[string]bool) {
	taken := map[string]bool{}
	var names []string
	for _, e := range entries {
		if e.Kind == File && d.versionOf(e.Name) != "" {
			names = append(names, e.Name)
			taken[e.Name] = true
		}
	}
	if len(names) == 0 {
		return d.missing(entries, taken, note), taken
	}
	if len(names) > 1 {
		note(d.exactlyOne, "", "there are %d declarations: %s", len(names), inventory.Clip(strings.Join(names, ", ")))
	}
	best := inventory.UnknownSpec
	for _, name := range names {
		s := inventory.ParseSpec(d.versionOf(name))
		if s == inventory.UnknownSpec {
			note(d.dvalue, name, "this is no version of the specification that is known here: 1.0 and 1.1 are")
		}
		best = max(best, s)
		want := name[len("0="):] + "\n"
		switch b, err := readSmall(ctx, f, join(folder, name), 4096); {
		case err != nil && !isTooLarge(err):
			note(Unreadable, name, "it cannot be read: %v", err)
		case err != nil || string(b) != want:
			note(d.ct, name, "it should hold %q and nothing else", want)
		}
	}
	return best, taken
}

// missing says what is nearest to a declaration where there is none.
func (d declaration) missing(entries []Entry, taken map[string]bool, note noteFunc) inventory.Spec {
	for _, e := range entries {
		if e.Kind != File || !d.near.MatchString(e.Name) {
			continue
		}
		taken[e.Name] = true
		tag, value, ok := strings.Cut(e.Name, "=")
		want := fmt.Sprintf("a declaration is called 0=%s and the version, as in 0=%s1.1", d.value, d.value)
		switch {
		case !ok:
			note(d.pattern, e.Name, "%s", want)
			value = tag
		case tag != "0":
			note(d.tag, e.Name, "%s", want)
		default:
			note(d.dvalue, e.Name, "%s", want)
		}
		return inventory.ParseSpec(strings.TrimPrefix(value, d.value))
	}
	note(d.absent, "", "there is no declaration such as 0=%s1.1", d.value)
	return inventory.UnknownSpec
}
