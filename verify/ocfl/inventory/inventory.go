// Package inventory reads one inventory.json of the standard, whatever its bytes
// are, and holds it to the rules that it can keep or break by itself
// (specification sections 3.4 and 3.5). Begin with [Parse], then [Checker.Check].
// Rules between two inventories, and between an inventory and the files, are
// package ocfl's.
package inventory

// Limits of one inventory. What goes beyond them is reported as Unreadable; the
// standard has no such limit, but a reader needs one.
const (
	MaxInventory = 256 << 20 // bytes
	MaxListed    = 8 << 20   // digests and paths in all blocks together
	versionCost  = 8         // what a version counts for in maxListed
)

// Inventory is one inventory.json as it was found (specification section 3.5):
// keys may be absent and values wrong. File says where it lies in the object.
type Inventory struct {
	File string
	Bad  bool // no JSON, or beyond the limits: nothing below can be relied on
	Spec Spec // that the type key names; unknownSpec if none

	ID               Text
	Type             Text
	Algorithm        Text
	Head             Text
	ContentDirectory Text
	Manifest         block
	Versions         []*Version // in the order they stand there
	Fixity           []fixity

	has     keys            // those that are there, whatever their values
	Objects keys            // of these, the ones whose value is a JSON object
	cased   keys            // those that would be known if case did not count
	numbers map[int]int     // version number → index in versions
	Newest  int             // the highest version number, 0 if there is none
	Algo    *Algorithm      // nil unless algorithm is one for content
	byKey   map[string]bool // manifest digests as written
}

// Text is a value that should be a string.
type Text struct {
	Is    bool // it is there and is a string
	Value string
}

// entry is one digest of a block with the paths that have it.
type entry struct {
	Digest string
	Paths  []string
}

type block []entry

type fixity struct {
	Algorithm string
	object    bool // the value is a JSON object
	Block     block
}

type Version struct {
	Name    string
	Object  bool // the value is a JSON object
	N       int  // 0 if name is no version's
	Created Text
	Message Text
	User    user
	State   block

	has         keys
	stateObject bool
	StateRaw    [32]byte // SHA-256 of the state as it is written
}

type user struct {
	object  bool
	name    Text
	address Text
	hasAddr bool
}

// Directory is the name of the content folders this inventory speaks of
// (section 3.3.1).
func (inv *Inventory) Directory() string {
	if inv.ContentDirectory.Is && contentDirectoryFault(inv.ContentDirectory.Value) == "" {
		return inv.ContentDirectory.Value
	}
	return "content"
}

// Version returns the block of version n, nil if there is none.
func (inv *Inventory) Version(n int) *Version {
	if i, ok := inv.numbers[n]; ok {
		return inv.Versions[i]
	}
	return nil
}
