package store

import (
	"path"
	"strconv"
	"strings"
	"unicode/utf8"

	"linecamp/manifest/store/fault"
	"linecamp/manifest/within"
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
	StagingFolder    = "extensions/linecamp-staging"

	ObjectNamaste = "0=ocfl_object_1.1" // OCFL 1.1 section 3.3
	InventoryName = "inventory.json"
	SidecarName   = "inventory.json.sha256"
)

// CheckKey refuses a key that is empty, absolute, or could lead out of the
// root. "." is the root itself and is no key.
func CheckKey(key string) error {
	if !within.Local(key) || !utf8.ValidString(key) {
		return fault.Say(ErrBadKey, "%q cannot be a key in a copy", Clip(key))
	}
	return nil
}

// CheckObject refuses an object name that is not one plain folder name, or
// that is reserved in a storage root.
func CheckObject(object string) error {
	if !IsObjectName(object) {
		return fault.Say(ErrBadKey, "%q cannot be the folder of an object", Clip(object))
	}
	return nil
}

// IsObjectName reports whether a folder in the root can be an object's: the
// slug rule allows only ASCII lower case, digits and hyphens. Anything else at
// the top of a drive (lost+found, a bin for deleted files) is not ours.
func IsObjectName(name string) bool {
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

// CheckContentPath refuses an object-relative path that is not content of
// version n.
func CheckContentPath(p string, n int) error {
	if err := CheckKey(p); err != nil {
		return err
	}
	if !within.Below(p, VersionName(n)+"/content") {
		return fault.Say(ErrBadKey, "%q is not content of version %d", Clip(p), n)
	}
	return nil
}

// VersionName is the folder of version n.
func VersionName(n int) string { return "v" + strconv.Itoa(n) }

// VersionNumber reads "v3" as 3; 0 means that name is no version's folder.
// OCFL 1.1 section 3.5.3.1: no leading zeros here.
func VersionNumber(name string) int {
	digits, ok := strings.CutPrefix(name, "v")
	n, err := strconv.Atoi(digits)
	if !ok || err != nil || n < 1 || VersionName(n) != name {
		return 0
	}
	return n
}

// VersionFile is the key of a file in an object's version folder.
func VersionFile(object string, n int, name string) string {
	return path.Join(object, VersionName(n), name)
}

// Clip shortens outside text for a message.
func Clip(s string) string {
	const most = 120
	if len(s) > most {
		return s[:most] + "…"
	}
	return s
}
