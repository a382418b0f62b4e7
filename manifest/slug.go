package manifest

import (
	"strconv"
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"

	"linecamp/manifest/names"
)

const (
	idScheme   = "linecamp"
	maxSlug    = 80
	maxArchive = 60
	unfiled    = "unfiled"
)

// ObjectID returns the id of an object: "linecamp:ARCHIVE:SLUG".
func ObjectID(archive, slug string) string { return idScheme + ":" + archive + ":" + slug }

// ParseObjectID takes an object id apart. It accepts only ids that ObjectID
// makes from a valid archive name and slug, so the slug is safe as a folder's
// name; anything else is ErrID.
func ParseObjectID(s string) (archive, slug string, err error) {
	scheme, rest, _ := strings.Cut(s, ":")
	archive, slug, ok := strings.Cut(rest, ":")
	if scheme != idScheme || !ok {
		return "", "", broken(ErrID, "the object id %q is not of the form linecamp:ARCHIVE:SLUG", names.Clip(s))
	}
	if err := ArchiveName(archive); err != nil {
		return "", "", err
	}
	if err := checkSlug(slug); err != nil {
		return "", "", err
	}
	return archive, slug, nil
}

// ArchiveName reports, as ErrID, what keeps s from naming an archive. A name is
// 1 to 60 small letters and digits, with single hyphens between them, so that
// it can be part of ids and of file names everywhere.
func ArchiveName(s string) error {
	if !hyphened(s, maxArchive, 1) || device(s) {
		return broken(ErrID, "the archive name %q; use 1 to %d small letters a to z and digits, with single hyphens between them", names.Clip(s), maxArchive)
	}
	return nil
}

// checkSlug accepts every slug that Slug and UnfiledSlug return.
func checkSlug(s string) error {
	if !hyphened(s, maxSlug, 2) || s == "extensions" || device(s) {
		return broken(ErrID, "the slug %q; slugs are 1 to %d small letters a to z and digits, with one or two hyphens between them", names.Clip(s), maxSlug)
	}
	return nil
}

// hyphened reports whether s is letters and digits with at most run hyphens in
// a row between them.
func hyphened(s string, most, run int) bool {
	if s == "" || len(s) > most || s[0] == '-' || s[len(s)-1] == '-' {
		return false
	}
	hyphens := 0
	for i := range len(s) {
		c := s[i]
		switch {
		case c == '-':
			if hyphens++; hyphens > run {
				return false
			}
		case c >= 'a' && c <= 'z', c >= '0' && c <= '9':
			hyphens = 0
		default:
			return false
		}
	}
	return true
}

// Slug chooses the slug of a new site by the names of its pasture ("" for none)
// and itself. taken reports the slugs that are in use; nil means none is. A
// slug is chosen once and afterwards read from inventories.
//
// Names are decomposed (NFKD, Unicode Standard Annex 15), marks dropped, ASCII
// letters made small, and every other run of characters becomes one hyphen.
// Pasture and site are joined by two. What is reserved or taken gets -2, -3 and
// so on; a pasture called "unfiled" gets it on its own part, so that the slug
// cannot be mistaken for files without a site.
func Slug(pasture, site string, taken func(string) bool) string {
	name := slugPart(site)
	if name == "" {
		name = "site"
	}
	if above := slugPart(pasture); above == unfiled {
		name = unfiled + "-2--" + name
	} else if above != "" {
		name = above + "--" + name
	}
	return free(name, taken)
}

// UnfiledSlug chooses the slug for the files of one top-level folder that
// belong to no site. top is that folder's name, or "" for the working folder
// itself, of which there is only one: its slug is "unfiled", and "unfiled--2" and so on
// where that is taken because the object is closed.
func UnfiledSlug(top string, taken func(string) bool) string {
	name := slugPart(top)
	switch {
	case top == "" && (taken == nil || !taken(unfiled)):
		return unfiled
	case top == "":
		name = "2"
	case name == "":
		name = "site"
	}
	return number(unfiled+"--"+name, func(s string) bool { return taken != nil && taken(s) })
}

// Unfiled reports whether a slug is of files that belong to no site.
func Unfiled(slug string) bool {
	return slug == unfiled || strings.HasPrefix(slug, unfiled+"--")
}

func free(name string, taken func(string) bool) string {
	return number(name, func(s string) bool {
		return Unfiled(s) || s == "extensions" || device(s) || taken != nil && taken(s)
	})
}

// number returns the first of name, name-2, name-3 … that is not in use, each
// cut to fit.
func number(name string, used func(string) bool) string {
	s := cut(name, maxSlug)
	for i := 2; used(s); i++ {
		suffix := "-" + strconv.Itoa(i)
		s = cut(name, maxSlug-len(suffix)) + suffix
	}
	return s
}

func cut(s string, most int) string {
	if len(s) > most {
		s = strings.TrimRight(s[:most], "-")
	}
	return s
}

func slugPart(name string) string {
	var b strings.Builder
	gap := false
	for _, r := range norm.NFKD.String(name) {
		switch {
		case unicode.Is(unicode.M, r):
			continue
		case r >= 'A' && r <= 'Z':
			r += 'a' - 'A'
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9':
		default:
			gap = true
			continue
		}
		if gap && b.Len() > 0 {
			b.WriteByte('-')
		}
		gap = false
		b.WriteRune(r)
	}
	return b.String()
}
