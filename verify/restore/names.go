package restore

import (
	"fmt"
	"iter"
	"maps"
	"path"
	"path/filepath"
	"runtime"
	"strings"
	"unicode/utf8"

	"linecamp/manifest"
)

// rawNames says whether file names are bytes here, so that a name that is not
// valid UTF-8 can be given back as it was.
const rawNames = runtime.GOOS != "windows" && runtime.GOOS != "darwin"

// join puts a base and a path below it together without cleaning: what is odd
// about either must still be seen.
func join(base, p string) string {
	if base == "" {
		return p
	}
	return base + "/" + p
}

const reserved = "the path is reserved for linecamp"

// persons reports whether raw, which looks like one of linecamp's own paths, is
// the name of a person's file: it was stored under an escaped name, and escapes
// to that name again.
func persons(raw, logical string) bool {
	was, escaped := manifest.Logical(raw)
	return escaped && was == logical
}

// refuse says why a path must not be written, or "". dest is the whole path
// below the target, own the part below the site's base. A copy may say
// anything; this is where it is not believed.
func refuse(dest, own string) string {
	switch {
	case dest == "" || own == "":
		return "the path is empty"
	case strings.IndexByte(dest, 0) >= 0:
		return "the path holds a NUL byte"
	case strings.HasPrefix(dest, "/"):
		return "the path is not relative"
	}
	for e := range strings.SplitSeq(dest, "/") {
		if e == "" || e == "." || e == ".." {
			return "the path could lead out of the folder restored into"
		}
		if strings.HasPrefix(e, tempPrefix) {
			return "the path is one of linecamp's own temporary names"
		}
	}
	if manifest.Reserved(dest) {
		return reserved
	}
	if runtime.GOOS == "windows" {
		if i := strings.IndexAny(dest, "\\:*?\"<>|"); i >= 0 {
			return fmt.Sprintf("Windows does not allow %q in a name", dest[i:i+1])
		}
	}
	if !filepath.IsLocal(filepath.FromSlash(dest)) {
		return "the system cannot have this path in a folder"
	}
	return ""
}

// maxName is the longest name most file systems take, in bytes.
const maxName = 255

// versioned names replaced bytes by the version that had them last: "plot.jpg"
// becomes "plot (v3).jpg". A name in taken, whatever its capitals, is made
// different; the new name is added to it. taken may be nil.
func versioned(p string, version int, taken map[string]bool) string {
	dir, name := path.Split(p)
	ext := path.Ext(name)
	if ext == name || len(ext) > 16 {
		ext = ""
	}
	stem := strings.TrimSuffix(name, ext)
	for i := 1; ; i++ {
		mark := fmt.Sprintf(" (v%d)", version)
		if i > 1 {
			mark = fmt.Sprintf(" (v%d, %d)", version, i)
		}
		out := dir + cut(stem, maxName-len(mark)-len(ext)) + mark + ext
		if taken == nil {
			return out
		}
		if k := strings.ToLower(out); !taken[k] {
			taken[k] = true
			return out
		}
	}
}

// cut shortens s to at most n bytes without splitting a character.
func cut(s string, n int) string {
	if len(s) <= n {
		return s
	}
	for n > 0 && !utf8.RuneStart(s[n]) {
		n--
	}
	return s[:n]
}

func keys[K comparable, V any](m map[K]V) iter.Seq[K] { return maps.Keys(m) }

// oneLine is an error's text on one line.
func oneLine(err error) string {
	if err == nil {
		return "no reason known"
	}
	return strings.Join(strings.Fields(err.Error()), " ")
}
