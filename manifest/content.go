package manifest

import (
	"strconv"
	"strings"

	"linecamp/manifest/names"
)

// The limits of a content path that is the logical path verbatim. Such a path
// can be stored on every file system and S3 server and typed by hand.
const (
	maxElement = 100
	maxPath    = 400

	contentFolder = "/content/"
	hashFolder    = "_"
)

// Taken is the set of content paths that one version uses already. Its zero
// value is empty. Letters are compared without regard to ASCII case, because a
// copy may lie on, or be carried to, a drive that does not tell them apart.
type Taken struct {
	at   map[string]spelling // folded path, of a file or of a folder
	kept map[string]bool     // exact path of what lay there before; true for a file
}

type spelling struct {
	exact string
	file  bool
}

// add takes a path (without the vN/content/ in front) and reports whether it
// was free: no file there, no file in the way of its folders, no folder of its
// name, and every folder spelled as before. The folder of hashed names is
// always kept free.
func (t *Taken) add(path string) bool {
	t.init()
	folded := foldASCII(path)
	for i := 0; i < len(folded); i++ {
		if folded[i] != '/' {
			continue
		}
		if s, ok := t.at[folded[:i]]; ok && (s.file || s.exact != path[:i]) {
			return false
		}
	}
	if _, ok := t.at[folded]; ok {
		return false
	}
	for i := len(folded) - 1; i > 0; i-- {
		if folded[i] != '/' {
			continue
		}
		if _, ok := t.at[folded[:i]]; ok {
			break // and so are the folders above it
		}
		t.at[folded[:i]] = spelling{exact: path[:i]}
	}
	t.at[folded] = spelling{exact: path, file: true}
	return true
}

// keep takes a path that is in use already, by a store that tells letters apart,
// and reports whether it can stand beside those kept before: no file is the
// folder of another one, and the folder of hashed names is none.
func (t *Taken) keep(path string) bool {
	t.init()
	file := func(q string) bool { return t.kept[q] }
	if _, ok := t.kept[path]; ok || fileAbove(path, file) != "" {
		return false
	}
	t.kept[path] = true
	for i := range len(path) {
		if path[i] == '/' {
			t.kept[path[:i]] = false
			t.enter(path[:i], false)
		}
	}
	t.enter(path, true)
	return true
}

// enter puts a path into at; what is a file in one spelling stays one.
func (t *Taken) enter(path string, file bool) {
	folded := foldASCII(path)
	if s, ok := t.at[folded]; ok {
		file = file || s.file
		path = s.exact
	}
	t.at[folded] = spelling{exact: path, file: file}
}

func (t *Taken) init() {
	if t.at == nil {
		t.at = map[string]spelling{hashFolder: {exact: hashFolder}}
		t.kept = map[string]bool{hashFolder: false}
	}
}

// ContentPath chooses where version n stores the bytes d that first appear
// there as the given logical path, and enters it in taken. It is the logical
// path verbatim if that is plain and free, else vN/content/_/ and the digest,
// with the file's extension in lower case where it has a short one. If even
// that key is taken, by bytes that are not what its name says, the extension
// gives way: none, then 2, 3 and so on.
func ContentPath(n int, logical string, d Digest, taken *Taken) string {
	prefix := VersionName(n) + contentFolder
	if plain(logical) && taken.add(logical) {
		return prefix + logical
	}
	name := names.Base(logical)
	hashed := hashFolder + "/" + d.String()
	if ext := extension(name); ext != "" {
		if p := hashed + "." + foldASCII(ext); taken.add(p) {
			return prefix + p
		}
	}
	p := hashed
	for i := 2; !taken.add(p); i++ {
		p = hashed + "." + strconv.Itoa(i)
	}
	return prefix + p
}

// plain reports whether a logical path can be a content path as it is.
func plain(path string) bool {
	if len(path) > maxPath {
		return false
	}
	for rest, more := path, true; more; {
		var e string
		e, rest, more = strings.Cut(rest, "/")
		if !plainName(e) {
			return false
		}
	}
	return true
}

func plainName(e string) bool {
	if e == "" || len(e) > maxElement {
		return false
	}
	if e[0] == ' ' || e[len(e)-1] == ' ' || e[len(e)-1] == '.' {
		return false
	}
	for i := range len(e) {
		c := e[i]
		switch {
		case c >= 'a' && c <= 'z', c >= 'A' && c <= 'Z', c >= '0' && c <= '9':
		case strings.IndexByte(" ._()+,&'-", c) >= 0:
		default:
			return false
		}
	}
	return !device(e)
}

// device reports whether Windows takes a name for a device, whatever follows
// its first dot. Source: Microsoft, "Naming Files, Paths, and Namespaces"
// (learn.microsoft.com/windows/win32/fileio/naming-a-file).
func device(name string) bool {
	stem, _, _ := strings.Cut(name, ".")
	stem = foldASCII(strings.TrimRight(stem, " "))
	switch stem {
	case "con", "prn", "aux", "nul":
		return true
	}
	if len(stem) != 4 || stem[3] < '1' || stem[3] > '9' {
		return false
	}
	return stem[:3] == "com" || stem[:3] == "lpt"
}

// splitContent takes a content path apart into its version and the path below
// vN/content/. It is ok only if both are well formed.
func splitContent(p string) (n int, path string, ok bool) {
	i := strings.IndexByte(p, '/')
	if i < 0 {
		return 0, "", false
	}
	n, ok = ParseVersion(p[:i])
	if !ok || !strings.HasPrefix(p[i:], contentFolder) {
		return 0, "", false
	}
	path = p[i+len(contentFolder):]
	return n, path, path != ""
}

// foldASCII turns the capitals A to Z into small letters and leaves every other
// byte alone.
func foldASCII(s string) string {
	for i := range len(s) {
		if s[i] >= 'A' && s[i] <= 'Z' {
			b := []byte(s)
			for ; i < len(b); i++ {
				if b[i] >= 'A' && b[i] <= 'Z' {
					b[i] += 'a' - 'A'
				}
			}
			return string(b)
		}
	}
	return s
}
