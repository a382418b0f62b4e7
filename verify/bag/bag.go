// Package bag writes and judges bags: folders that carry files from one hand to
// another with a list of what is in them, as RFC 8493 (BagIt 1.0) describes.
//
// Begin with [Judge], which says of any bag whether it is complete and whether
// it is valid, and with [Finish], which makes a bag of a folder whose data/ is
// already filled.
//
// # What a bag is
//
//	BAG/
//	  bagit.txt                two lines: the version, the encoding of tag files
//	  data/…                   the payload: what is being handed over
//	  manifest-sha256.txt …    one line per payload file: its digest and its path
//	  bag-info.txt             labels and values for people
//	  tagmanifest-sha256.txt … the same list for the files beside data/
//
// A bag is complete when everything that its lists name is there and every
// payload file is named by every payload list; it is valid when it is complete
// and every digest matches (section 3).
//
// RULES.md beside this file goes through the RFC's sections: what each demands, and
// which test breaks it. They were held against the authors' own text of June 4, 2018
// (draft-kunze-bagit-16), the last before the RFC of October 2018.
//
// # Durability
//
// Whoever fills data/ makes that durable. Finish reads the payload back from the
// folder, so a digest in a list was computed from bytes that lie there. It writes
// bagit.txt last, after everything else is synced. A crash leaves a folder
// without bagit.txt, which is no bag; running Finish again makes it one.
package bag

import (
	"crypto/md5"
	"crypto/sha1"
	"crypto/sha256"
	"crypto/sha512"
	"hash"
	"strings"
)

// Names that section 2.1 and 2.2 fix.
const (
	declarationName = "bagit.txt"
	infoName        = "bag-info.txt"
	fetchName       = "fetch.txt"
	payloadFolder   = "data"

	declaration = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
)

// algorithms are the digests this package computes, by the name that stands in
// a list's file name: the two that section 2.4 wants every program to know, and the two
// older ones that it recommends to know, for bags of others.
var algorithms = map[string]func() hash.Hash{
	"sha256": sha256.New,
	"sha512": sha512.New,
	"sha1":   sha1.New,
	"md5":    md5.New,
}

// weak are those for which other bytes with the same digest can be made.
var weak = map[string]bool{"sha1": true, "md5": true}

// written are the algorithms of the bags that Finish makes, in order.
var written = []string{"sha256", "sha512"}

// encoder spells a path for a list or for fetch.txt: only the percent sign and
// the two characters that end a line are spelled (section 2.1.3).
var encoder = strings.NewReplacer("%", "%25", "\n", "%0A", "\r", "%0D")

// decoder reads them back, in either case. What else stands after a percent
// sign is left as it is: only these three are ever spelled.
var decoder = strings.NewReplacer("%25", "%", "%0A", "\n", "%0a", "\n", "%0D", "\r", "%0d", "\r")
