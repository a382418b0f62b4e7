// Package verify answers what does exist: it re-reads what the copies hold and
// says which years of the record are missing.
package verify

import (
	"time"

	"linecamp/manifest"
)

// Damage is one fault found on a copy or in the working folder.
type Damage struct {
	Site    string `json:"site"`
	Path    string `json:"path"`
	Version int    `json:"version"`
	Kind    string `json:"kind"` // "altered", "gone", "unreadable" or "stray"
	Detail  string `json:"detail"`
	Copy    string `json:"-"` // name of the copy, or "working"
	Object  string `json:"-"` // object folder on the copy
	Content string `json:"-"` // content path inside the object
}

// Held is what is remembered about one file a copy holds.
type Held struct {
	Path      string // content path inside the object, "v3/content/..."
	SHA256    manifest.Digest
	Size      int64     // bytes
	XXH64     uint64    // zero where never computed
	ETag      string    // S3 only
	ReadBack  time.Time // last time the bytes were read from the copy and matched; zero for never
	Confirmed time.Time // last time the server said it still has this digest; zero for never
}

// Memory remembers what each copy was found to hold. Losing it loses no photo:
// everything is simply read again.
type Memory interface {
	// Held returns what is remembered of one object on one copy, by content path.
	Held(copy, object string) (map[string]Held, error)
	// Remember adds to it. A zero ReadBack, Confirmed, ETag or XXH64 leaves what
	// was known before as it is, unless the digest or the size changed.
	Remember(copy, object string, held []Held) error
}
