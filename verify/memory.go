package verify

import (
	"time"

	"linecamp/manifest"
)

// What Damage.Kind can be.
const (
	Altered    = "altered"    // the bytes differ from the manifest
	Gone       = "gone"       // the manifest names it, nothing is there
	Unreadable = "unreadable" // the drive or the service failed to hand it out
	Stray      = "stray"      // no manifest names it
)

// WorkingName stands for the working folder where copies are named.
const WorkingName = "working"

// Paths of damage to what linecamp itself keeps beside people's files.
const (
	InventoryPath = ".linecamp/inventory" // a version's inventory or its sidecar
	SealPath      = ".linecamp/seal"      // the seal
	RootPath      = ".linecamp/root"      // a file that makes the root a root
	SettingsPath  = ".linecamp/settings"  // the settings that a copy keeps for a new computer
)

// Rewritten begins the Detail of an inventory that was not damaged but replaced:
// it agrees with its sidecar, and not with the rest of the archive. It is never
// mended; the copy wants a new root.
const Rewritten = "rewritten"

// OtherHistory begins the Detail of a copy's seal that parted from the archive's. A mend
// leaves it: the recording computer's next mirror round takes in what the copy has.
const OtherHistory = "another history"

// Damage is one fault found on a copy or in the working folder. Path is as
// people know it, relative to the working folder: the newest path that had the
// bytes in question, or one of linecamp's own (RecordPath, InventoryPath,
// SealPath, RootPath, SettingsPath).
type Damage struct {
	Site    string `json:"site"`
	Path    string `json:"path"`
	Version int    `json:"version"`
	Kind    string `json:"kind"` // "altered", "gone", "unreadable" or "stray"
	Detail  string `json:"detail"`
	Copy    string `json:"-"` // name of the copy, or "working"
	// Object is the object's folder on the copy, "" for a file of the root.
	Object string `json:"object,omitempty"`
	// Content is the path inside the object (or the root) as the copy has it;
	// in the working folder, the logical path.
	Content string `json:"content,omitempty"`

	Digest manifest.Digest `json:"-"` // what it should be
	Files  int             `json:"-"` // how many of people's files it stands for
	Bytes  int64           `json:"-"` // of each of them
}

// Held is what is remembered about one file a copy holds.
type Held struct {
	Path      string // content path inside the object, "v3/content/..."
	SHA256    manifest.Digest
	Size      int64     // bytes
	Files     int       // how many of people's files it stands for; zero for linecamp's own
	XXH64     uint64    // zero where never computed
	ETag      string    // S3 only
	ReadBack  time.Time // last time the bytes were read from the copy and matched; zero for never
	Confirmed time.Time // last time the server said it still has this digest; zero for never
}

// Memory remembers what each copy was found to hold. Losing it loses no photo:
// everything is simply read again.
type Memory interface {
	// Held returns what is remembered of one object on one copy, by content
	// path. A copy is named by its Key.
	Held(copy, object string) (map[string]Held, error)
	// Remember adds to it. A zero ReadBack, Confirmed, ETag or XXH64 leaves what
	// was known before as it is, unless the digest or the size changed.
	Remember(copy, object string, held []Held) error
}
