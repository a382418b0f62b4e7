// Package manifest says what should exist.
//
// A ranch's monitoring record is an archive of sites. Each site is kept as one
// object of an OCFL 1.1 storage root (Oxford Common File Layout,
// ocfl.io/1.1/spec), and the object's inventory is the site's manifest: every
// content digest, the one path that holds those bytes, and every version the
// site went through. Versions are only ever added.
//
// The model, from the outside in:
//
//   - A [Digest] (SHA-256) names bytes.
//   - A version's state maps each logical path, as people see it, to a digest.
//   - The [Inventory] holds all versions of a site and maps each digest to the
//     content path that stores it.
//   - The [Record] travels inside each version under the reserved logical path
//     .linecamp/record.json and holds what OCFL has no place for: modification
//     times, raw names, what a path was understood as, and what people decided.
//   - The seal (manifest/seal) is the append-only list of all versions of all
//     sites; its count and digest fix the whole archive on paper.
//
// Begin with [New], which makes a site's inventory, and [Inventory.Add], which gives
// it a version; [DecodeInventory] and [DecodeRecord] read back what a copy holds.
//
// Nothing here touches a disk or a network: the package turns states into
// bytes and bytes into states, and refuses what breaks a rule. Encoding is
// deterministic, so that an earlier version's inventory can be derived from a
// later one, byte for byte ([Inventory.Until]).
package manifest
