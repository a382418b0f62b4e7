package manifest

import (
	"strings"
)

// sidecarTail follows the digest: two spaces, as sha256sum writes and checks it
// (OCFL 1.1 section 3.7 allows any white space there).
const sidecarTail = "  inventory.json\n"

// Sidecar returns the bytes of inventory.json.sha256 for these inventory bytes.
func Sidecar(inventory []byte) []byte {
	return []byte(Sum(inventory).String() + sidecarTail)
}

// CheckSidecar reports, as ErrSidecar, a sidecar that is not the one Sidecar
// writes for these inventory bytes: misshapen (E061) or of other bytes (E060).
func CheckSidecar(inventory, sidecar []byte) error {
	text, ok := strings.CutSuffix(string(sidecar), sidecarTail)
	if !ok {
		return broken(ErrSidecar, "the sidecar is not a digest, two spaces and inventory.json on one line (E061)")
	}
	want, err := ParseDigest(text)
	if err != nil {
		return broken(ErrSidecar, "the sidecar does not begin with a digest (E061): %v", err)
	}
	if got := Sum(inventory); got != want {
		return broken(ErrSidecar, "the inventory has %s, the sidecar says %s (E060)", got, want)
	}
	return nil
}
