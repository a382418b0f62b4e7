package ocfl

// Limits of one inventory. What goes beyond them is reported as Unreadable; the
// standard has no such limit, but a reader needs one.
const (
	maxInventory = 256 << 20 // bytes
	maxListed    = 8 << 20   // digests and paths in all blocks together
	versionCost  = 8         // what a version counts for in maxListed
)

// inventory is one inventory.json as it was found (specification section 3.5):
// keys may be absent and values wrong. file says where it lies in the object.
type inventory struct {
	file string
	bad  bool // no JSON, or beyond the limits: nothing below can be relied on
	spec spec // that the type key names; unknownSpec if none

	id               text
	typ              text
	algorithm        text
	head             text
	contentDirectory text
	manifest         block
	versions         []*version // in the order they stand there
	fixity           []fixity

	has     keys            // those that are there, whatever their values
	objects keys            // of these, the ones whose value is a JSON object
	cased   keys            // those that would be known if case did not count
	numbers map[int]int     // version number → index in versions
	newest  int             // the highest version number, 0 if there is none
	alg     *algorithm      // nil unless algorithm is one for content
	byKey   map[string]bool // manifest digests as written
}

// text is a value that should be a string.
type text struct {
	is    bool // it is there and is a string
	value string
}

// entry is one digest of a block with the paths that have it.
type entry struct {
	digest string
	paths  []string
}

type block []entry

type fixity struct {
	algorithm string
	object    bool // the value is a JSON object
	block     block
}

type version struct {
	name    string
	object  bool // the value is a JSON object
	n       int  // 0 if name is no version's
	created text
	message text
	user    user
	state   block

	has         keys
	stateObject bool
	stateRaw    [32]byte // SHA-256 of the state as it is written
}

type user struct {
	object  bool
	name    text
	address text
	hasAddr bool
}

// directory is the name of the content folders this inventory speaks of
// (section 3.3.1).
func (inv *inventory) directory() string {
	if inv.contentDirectory.is && contentDirectoryFault(inv.contentDirectory.value) == "" {
		return inv.contentDirectory.value
	}
	return "content"
}

// version returns the block of version n, nil if there is none.
func (inv *inventory) version(n int) *version {
	if i, ok := inv.numbers[n]; ok {
		return inv.versions[i]
	}
	return nil
}
