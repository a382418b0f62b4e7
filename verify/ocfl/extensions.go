package ocfl

import "context"

// registered are the names that the OCFL Extensions repository
// (ocfl.github.io/extensions) defines, those superseded included.
var registered = map[string]bool{
	"0000-example-extension":                               true,
	"0001-digest-algorithms":                               true,
	"0002-flat-direct-storage-layout":                      true,
	"0003-hash-and-id-n-tuple-storage-layout":              true,
	"0004-hashed-n-tuple-storage-layout":                   true,
	"0005-mutable-head":                                    true,
	"0006-flat-omit-prefix-storage-layout":                 true,
	"0007-n-tuple-omit-prefix-storage-layout":              true,
	"0008-schema-registry":                                 true,
	"0009-digest-algorithms":                               true,
	"0010-differential-n-tuple-omit-prefix-storage-layout": true,
	"0011-direct-clean-path-layout":                        true,
	"0012-hash-and-no-prefix-id-n-tuple-storage-layout":    true,
	"initial": true,
}

const extensionsName = "extensions"

// extensionCodes differ between objects (section 3.9) and roots (4.4).
type extensionCodes struct{ file, name string }

var (
	objectExtensions = extensionCodes{"E067", "W013"}
	rootExtensions   = extensionCodes{"E112", "W016"}
)

// checkExtensions looks into an extensions folder. What an extension keeps in a
// folder of its own is its own matter, but for links and, in a storage root,
// empty folders. foreign says that an extension is there which is not known.
func (v *validator) checkExtensions(ctx context.Context, base string, codes extensionCodes, inRoot bool, note noteFunc) (foreign bool, err error) {
	entries, ok, err := v.list(ctx, base, extensionsName, note)
	if err != nil {
		return false, err
	}
	if ok && len(entries) == 0 && inRoot {
		note("E073", extensionsName, "the folder is empty")
	}
	for _, e := range entries {
		path := join(extensionsName, e.Name)
		switch e.Kind {
		case Folder:
			if !registered[e.Name] {
				foreign = true
				note(codes.name, path, "no extension is registered under this name")
			}
			if err := v.extension(ctx, base, path, inRoot, note); err != nil {
				return foreign, err
			}
		case File:
			note(codes.file, path, "a file; only folders of extensions belong here")
		default:
			v.odd(base, e, path, note)
		}
	}
	return foreign, nil
}

func (v *validator) extension(ctx context.Context, base, folder string, inRoot bool, note noteFunc) error {
	entries, ok, err := v.list(ctx, base, folder, note)
	if err != nil {
		return err
	}
	if ok && len(entries) == 0 && inRoot {
		note("E073", folder, "the folder is empty")
	}
	for _, e := range entries {
		path := join(folder, e.Name)
		if e.Kind == Folder {
			if err := v.extension(ctx, base, path, inRoot, note); err != nil {
				return err
			}
			continue
		}
		v.odd(base, e, path, note)
	}
	return nil
}
