package manifest

import (
	"cmp"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Reserved logical paths. Everything below .linecamp/ is linecamp's own: it is
// kept and checked like any file, and never delivered by a restore.
const (
	reservedName = ".linecamp"

	// RecordPath is the logical path of a version's record.
	RecordPath = reservedName + "/record.json"

	// FoundPrefix begins the logical path of content that lay under a version
	// before it was committed and that no file needs; its digest follows.
	FoundPrefix = reservedName + "/found/"
)

// Inventory is the manifest of one site: an OCFL 1.1 inventory
// (ocfl.io/1.1/spec, section 3.5). Inventories share maps with the ones they
// were derived from, so none of them may be changed once it is made; Add
// returns a new one.
type Inventory struct {
	// ID is the object id, "linecamp:ARCHIVE:SLUG".
	ID string

	// Content maps each digest to the content paths that hold its bytes, such
	// as "v3/content/2019-06-21/plot.jpg": what OCFL calls the manifest. There
	// is exactly one path, unless content found under an uncommitted version
	// had to be taken in.
	Content map[Digest][]string

	// Versions holds v1 at index 0.
	Versions []Version
}

// Version is one recorded state of a site.
type Version struct {
	Created time.Time         // UTC, whole seconds; shared by all versions of a round
	Message string            // why this version was made; may be empty
	User    User              // which machine made it
	State   map[string]Digest // logical path to digest, the record included
}

// User names the machine that made a version, never a person.
type User struct {
	Name    string // the machine's name
	Address string // "urn:uuid:" and the author's uuid
}

// New returns an inventory without versions, to be given its first by Add.
func New(id string) *Inventory {
	return &Inventory{ID: id, Content: map[Digest][]string{}}
}

// Head returns the number of the newest version, 0 when there is none.
func (inv *Inventory) Head() int { return len(inv.Versions) }

// State returns what version n holds: logical path to digest, the record and
// other reserved paths included. It is nil when there is no version n.
func (inv *Inventory) State(n int) map[string]Digest {
	if n < 1 || n > len(inv.Versions) {
		return nil
	}
	return inv.Versions[n-1].State
}

// Slug returns the part of the id after the last colon: the object's folder in
// a storage root (OCFL extension 0006, flat, prefix omitted).
func (inv *Inventory) Slug() string {
	return inv.ID[strings.LastIndexByte(inv.ID, ':')+1:]
}

// Paths returns the content that version n stored: every content path below
// vN/, with its digest.
func (inv *Inventory) Paths(n int) map[string]Digest {
	out := map[string]Digest{}
	prefix := VersionName(n) + "/"
	for d, paths := range inv.Content {
		for _, p := range paths {
			if strings.HasPrefix(p, prefix) {
				out[p] = d
			}
		}
	}
	return out
}

// ContentOf returns the digests that version n stored, each with its content
// path. Where a digest has several paths in that version, it is the first;
// Paths has them all.
func (inv *Inventory) ContentOf(n int) map[Digest]string {
	out := map[Digest]string{}
	for p, d := range inv.Paths(n) {
		if was, ok := out[d]; !ok || p < was {
			out[d] = p
		}
	}
	return out
}

// Until returns the inventory as it was when version n was the newest. Versions
// are only ever added, so its encoding is, byte for byte, what was written
// then. It returns inv itself for the head, and an inventory without versions
// for n < 1.
func (inv *Inventory) Until(n int) *Inventory {
	if n >= inv.Head() {
		return inv
	}
	n = max(n, 0)
	then := &Inventory{
		ID:       inv.ID,
		Content:  make(map[Digest][]string, len(inv.Content)),
		Versions: inv.Versions[:n:n],
	}
	for d, paths := range inv.Content {
		var kept []string
		for _, p := range paths {
			if v, _, ok := splitContent(p); ok && v <= n {
				kept = append(kept, p)
			}
		}
		if len(kept) > 0 {
			then.Content[d] = kept
		}
	}
	return then
}

// SameState reports whether two states hold the same people's files with the
// same bytes. Reserved paths do not count: a new record alone is no change.
func SameState(a, b map[string]Digest) bool {
	files := 0
	for p, d := range a {
		if reserved(p) {
			continue
		}
		files++
		if other, ok := b[p]; !ok || other != d {
			return false
		}
	}
	for p := range b {
		if !reserved(p) {
			files--
		}
	}
	return files == 0
}

// VersionName returns the name of version n's folder. Numbers are not padded
// (W001 of OCFL's validation codes).
func VersionName(n int) string { return "v" + strconv.Itoa(n) }

// ParseVersion reads a version's name; ok is false for anything that
// VersionName does not write.
func ParseVersion(s string) (n int, ok bool) {
	const mostDigits = 9 // keeps n within 32 bits; no archive has more
	if len(s) < 2 || len(s) > 1+mostDigits || s[0] != 'v' || s[1] == '0' {
		return 0, false
	}
	for i := 1; i < len(s); i++ {
		if s[i] < '0' || s[i] > '9' {
			return 0, false
		}
		n = n*10 + int(s[i]-'0')
	}
	return n, true
}

// sortContent puts the content paths of one digest in order: by version, then
// by bytes. An earlier inventory's list is then the beginning of a later one's.
func sortContent(paths []string) {
	slices.SortFunc(paths, func(a, b string) int {
		va, _, _ := splitContent(a)
		vb, _, _ := splitContent(b)
		return cmp.Or(cmp.Compare(va, vb), cmp.Compare(a, b))
	})
}
