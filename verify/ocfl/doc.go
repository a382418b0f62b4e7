// Package ocfl checks stored files against the Oxford Common File Layout, the open
// standard every copy is kept in. Call [Validate], with the files of [OpenFolder] or
// [Stored]. It knows nothing of linecamp: it reads any object or storage root that
// claims version 1.0 or 1.1 of the standard, whoever wrote it, so that a copy can be
// held to the standard's own words instead of to ours.
//
// # The model
//
// An object is a folder: a declaration that says what it is (0=ocfl_object_1.1,
// specification section 3.2), an inventory with its sidecar (3.5, 3.6), and one
// folder for each version (3.3) with that version's new content and, usually,
// the inventory as it was then (3.7). A storage root is a folder of objects
// (section 4): a declaration of its own, perhaps a description of its layout,
// and a hierarchy of folders in which every branch ends in an object.
//
// [Validate] asks four questions of an object, each in files of its own:
//
//   - Is everything in the folder something the standard allows there?
//     (object.go, version_folder.go, declaration.go, extensions.go)
//   - Is each inventory right by itself? (package inventory)
//   - Do the inventories agree with each other? (history.go)
//   - Does what they say agree with the files: each content path with a file,
//     each file with a content path, each digest with the bytes?
//     (content.go, hash.go)
//
// and of a root whether its hierarchy holds (root.go, hierarchy.go, layout.go).
//
// Every [Finding] carries the code that the specification gives the rule: E for
// a MUST, W for a SHOULD. The rules and their codes are facts taken from "OCFL
// Validation Codes" 1.0 and 1.1 and the specifications beside them (ocfl.io,
// by the editors of the OCFL specification, CC BY 4.0); the words are ours.
// codes.go lists the codes that stored files alone cannot break. What could not
// be read at all has no code in the standard and is called [Unreadable].
//
// # Outside bytes
//
// Everything read here may be hostile. Names never leave the folder being
// checked, and links are reported and not followed. An inventory is read up to
// a fixed size and number of entries, without recursion over what it describes;
// nested values where none belong are passed over to a fixed depth. Findings
// beyond [MaxFindings] of one code in one place are counted, not kept.
package ocfl
