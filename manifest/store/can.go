package store

import "context"

// Abilities are what a copy can do, whatever its kind. Whoever treats copies
// differently asks these, so that a new kind has nothing to change elsewhere.
type Abilities struct {
	Kind string // what the settings and reports call it; nothing is decided by it

	// OCFL: it is an OCFL storage root, with a folder of its own for each object.
	OCFL bool
	// HoldsFirst: a new version may be made there first, and travel on from it.
	HoldsFirst bool
	// Local: it is on a disk of this machine. Reading costs nothing and brings what
	// lies there, and a write that was given up does not arrive later. Elsewhere a
	// link lies between, which may change bytes on their way.
	Local bool
	// Metered: what is downloaded may cost money, and is counted.
	Metered bool
	// Staged: a version is built aside and put in place in one step. Elsewhere what
	// was stored of a version is there for good, and the version has to name it.
	Staged bool
	// GivesWay: versions of another history can be moved out of the way of the
	// archive's, where every byte of them is kept ([Yielding]).
	GivesWay bool
	// Shared: other machines may write there while a round of this one does.
	// author.json, replaced under conditions, keeps them apart.
	Shared bool
	// Tagged: [Info.ETag] changes with the bytes under a key.
	Tagged bool
	// Confirms: the service checks our SHA-256 of what it is sent.
	Confirms bool
}

// CanOf tells what a copy can do: nothing where it is nil, out of reach.
func CanOf(r Root) Abilities {
	if r == nil {
		return Abilities{}
	}
	return r.Can()
}

// Placed is a root in a folder of this machine.
type Placed interface {
	Root
	Folder() string // as the system knows it, not fit to print
}

// Yielding is a root whose versions can give way.
type Yielding interface {
	Root
	// GiveWay moves the versions of an object from one on out of the way. Where the one
	// below does not read, it is ErrDamaged. Hold Lock.
	GiveWay(ctx context.Context, object string, from int) error
}
