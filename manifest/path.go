package manifest

import (
	"encoding/hex"
	"strings"
	"unicode/utf8"

	"linecamp/manifest/names"
)

// CheckPath reports, as ErrPath, what keeps p from being a logical path:
// elements joined by single slashes, none of them empty, "." or ".."
// (OCFL 1.1 section 3.5.3.1; E051 to E053), in valid UTF-8 and without NUL.
// A path that passes stays inside whatever folder it is joined to.
func CheckPath(p string) error {
	if why := pathFault(p); why != "" {
		return broken(ErrPath, "%q %s", names.Clip(p), why)
	}
	return nil
}

// pathFault says what is wrong with p, or "".
func pathFault(p string) string {
	if !utf8.ValidString(p) {
		return "is not valid UTF-8"
	}
	return rawPathFault(p)
}

// rawPathFault is pathFault for a path whose bytes may be in any encoding.
func rawPathFault(p string) string {
	if p == "" {
		return "is empty (E052)"
	}
	if p[0] == '/' || p[len(p)-1] == '/' {
		return "begins or ends with a slash (E053)"
	}
	if strings.IndexByte(p, 0) >= 0 {
		return "holds a NUL byte, which no file system takes"
	}
	for rest, more := p, true; more; {
		var element string
		element, rest, more = strings.Cut(rest, "/")
		switch element {
		case "":
			return "holds an empty element (E052)"
		case ".", "..":
			return `holds the element "` + element + `" (E052)`
		}
	}
	return ""
}

// reserved reports whether a logical path is linecamp's own.
func reserved(p string) bool {
	return strings.HasPrefix(p, reservedName) &&
		(len(p) == len(reservedName) || p[len(reservedName)] == '/')
}

// Reserved reports whether a logical path is linecamp's own, ".linecamp" and
// everything below it: kept and checked like any file, never delivered.
func Reserved(logical string) bool { return reserved(logical) }

// Logical returns the logical path of a file by its raw path, relative to the
// version's base and slash-separated. Names in valid UTF-8 are kept as they
// are and never normalised. Two kinds of names are escaped, element by element:
// those that are not valid UTF-8, and a first element ".linecamp", which is
// reserved. In an escaped name each bad byte becomes U+FFFD, and "~" with the
// first 8 hex digits of the raw name's SHA-256 is put at its end, before a
// short extension if it has one, so that "caf\xe9.jpg" still ends in ".jpg".
//
// When escaped is true the record must hold the raw path (Entry.Raw), because
// the logical one does not say it. Two raw paths can meet in one logical path
// only by a name made to look like an escaped one; callers that build a state
// notice it because the path is there already.
func Logical(raw string) (logical string, escaped bool) {
	first, _, _ := strings.Cut(raw, "/")
	if utf8.ValidString(raw) && first != reservedName {
		return raw, false
	}
	elements := strings.Split(raw, "/")
	for i, e := range elements {
		if !utf8.ValidString(e) || (i == 0 && e == reservedName) {
			elements[i] = escape(e)
		}
	}
	return strings.Join(elements, "/"), true
}

func escape(name string) string {
	sum := Sum([]byte(name))
	mark := "~" + hex.EncodeToString(sum[:4])
	stem, ext := name, ""
	if e := extension(name); e != "" {
		stem, ext = name[:len(name)-len(e)-1], "."+e
	}
	var b strings.Builder
	for _, r := range stem { // an invalid byte ranges as U+FFFD, one at a time
		b.WriteRune(r)
	}
	return b.String() + mark + ext
}

// extension returns what follows the last dot of a name if that is 1 to 8 ASCII
// letters and digits and something stands before the dot, else "".
func extension(name string) string {
	dot := strings.LastIndexByte(name, '.')
	ext := name[dot+1:]
	if dot <= 0 || len(ext) < 1 || len(ext) > 8 {
		return ""
	}
	for i := range len(ext) {
		if c := ext[i]; (c < '0' || c > '9') && (c < 'a' || c > 'z') && (c < 'A' || c > 'Z') {
			return ""
		}
	}
	return ext
}
