package ledger

import "linecamp/manifest/packed"

// errPacked marks a row that cannot be unpacked. It never leaves the package.
var errPacked = packed.Err

// Formats of packed rows. Only the layout of the kind of row counts: a row in
// another format is unknown, and a file that is unknown is read again.
const (
	heldFormat  = 1
	knownFormat = 3 // with all of facts.Facts; a row of an older format is unknown, so its files are read once more
)
