package store

import (
	"fmt"
	"io/fs"
	"path"
	"strconv"
	"strings"
)

// Keys with a fixed meaning, relative to the root.
const (
	RootNamaste  = "0=ocfl_1.1" // OCFL 1.1 section 4.1
	LayoutKey    = "ocfl_layout.json"
	ReadmeKey    = "README.txt"
	FormatKey    = "linecamp.md"
	ExtensionKey = "extensions/0006-flat-omit-prefix-storage-layout/config.json"
	IdentityKey  = "extensions/linecamp-root/config.json"
	AuthorKey    = "extensions/linecamp-root/author.json"
	ProbeKey     = "extensions/linecamp-root/probe"
	SealFolder   = "extensions/linecamp-seal/log"

	extensionsFolder = "extensions"
	stagingFolder    = "extensions/linecamp-staging"
	quarantineFolder = "extensions/linecamp-quarantine"

	objectNamaste = "0=ocfl_object_1.1" // OCFL 1.1 section 3.3
	inventoryName = "inventory.json"
	sidecarName   = "inventory.json.sha256"
)

// checkKey refuses a key that is empty, absolute, or could lead out of the
// root. "." is the root itself and is no key.
func checkKey(key string) error {
	if !fs.ValidPath(key) || key == "." || strings.ContainsAny(key, "\x00") {
		return fmt.Errorf("%q cannot be a key in a copy: %w", clip(key), ErrBadKey)
	}
	return nil
}

// checkObject refuses an object name that is not one plain folder name, or
// that is reserved in a storage root.
func checkObject(object string) error {
	if !isObjectName(object) {
		return fmt.Errorf("%q cannot be the folder of an object: %w", clip(object), ErrBadKey)
	}
	return nil
}

// isObjectName reports whether a folder in the root can be an object's: the
// slug rule allows only ASCII lower case, digits and hyphens. Anything else at
// the top of a drive (lost+found, a bin for deleted files) is not ours.
func isObjectName(name string) bool {
	if name == "" || name == extensionsFolder || len(name) > 255 {
		return false
	}
	for i := range len(name) {
		if c := name[i]; (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '-' {
			return false
		}
	}
	return true
}

// checkContentPath refuses an object-relative path that is not content of
// version n.
func checkContentPath(p string, n int) error {
	if err := checkKey(p); err != nil {
		return err
	}
	if !strings.HasPrefix(p, versionName(n)+"/content/") {
		return fmt.Errorf("%q is not content of version %d: %w", clip(p), n, ErrBadKey)
	}
	return nil
}

func versionName(n int) string { return "v" + strconv.Itoa(n) }

// versionNumber reads "v3" as 3; 0 means that name is no version's folder.
// OCFL 1.1 section 3.5.3.1: no leading zeros here.
func versionNumber(name string) int {
	digits, ok := strings.CutPrefix(name, "v")
	n, err := strconv.Atoi(digits)
	if !ok || err != nil || n < 1 || versionName(n) != name {
		return 0
	}
	return n
}

// versionFile is the key of a file in an object's version folder.
func versionFile(object string, n int, name string) string {
	return path.Join(object, versionName(n), name)
}

// clip shortens outside text for a message.
func clip(s string) string {
	const most = 120
	if len(s) > most {
		return s[:most] + "…"
	}
	return s
}
