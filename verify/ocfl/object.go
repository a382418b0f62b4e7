package ocfl

import "linecamp/verify/ocfl/inventory"

import (
	"context"
	"maps"
	"slices"
	"strings"
)

// object is one object being checked.
type object struct {
	*validator
	dir     string // relative to what is being checked
	parent  *storageRoot
	spec    inventory.Spec // that it declares, or that its inventory names
	notes   notes
	id      string
	foreign bool

	root    *inventory.Inventory // the one at the top; nil if there is none
	rootRaw string               // digest of its bytes

	folders map[int]string      // the folder of each version
	holds   map[int]*held       // what each of them holds
	content map[string]*content // every file in the content folders, by content path
	gone    inventory.PathSet   // places whose fault is reported, so that what is missing there is not
	claims  int                 // inventories held against the files so far
}

func (o *object) note(code, path, format string, args ...any) {
	o.notes.add(o.spec, code, path, format, args...)
}

func (o *object) full(name string) string { return full(o.dir, name) }

func (o *object) report() Object {
	errors, warnings := o.notes.sorted()
	path := o.dir
	if path == "" {
		path = "."
	}
	return Object{Path: path, ID: shorten(o.id), Valid: !o.notes.wrong, Errors: errors, Warnings: warnings, Omitted: o.notes.omitted}
}

// object checks the object in a folder; parent is the storage root it is in,
// or nil.
func (v *validator) object(ctx context.Context, dir string, parent *storageRoot) (*object, error) {
	o := &object{
		validator: v, dir: dir, parent: parent,
		folders: map[int]string{}, holds: map[int]*held{}, content: map[string]*content{},
		gone: inventory.NewPathSet(),
	}
	entries, ok, err := v.list(ctx, dir, "", o.note)
	if err != nil || !ok {
		return o, err
	}
	var taken map[string]bool
	o.spec, taken = objectDeclaration.check(ctx, v.files, dir, entries, o.note)
	if parent != nil && parent.spec != inventory.UnknownSpec && o.spec > parent.spec {
		o.note("E081", "", "the object declares OCFL %s, the storage root %s", o.spec, parent.spec)
	}
	if slices.ContainsFunc(entries, func(e Entry) bool { return e.Name == extensionsName && e.Kind == Folder }) {
		if o.foreign, err = v.checkExtensions(ctx, dir, objectExtensions, parent != nil, o.note); err != nil {
			return o, err
		}
	}
	if parent != nil && parent.foreign {
		o.foreign = true
	}
	p, err := o.readPair(ctx, "", entries)
	if err != nil {
		return o, err
	}
	o.root, o.rootRaw = p.inv, p.raw
	if o.root != nil {
		o.id = o.root.ID.Value
	}
	if err := o.top(ctx, entries, taken, p); err != nil {
		return o, err
	}
	if err := o.versions(ctx); err != nil {
		return o, err
	}
	if err := o.hash(ctx); err != nil {
		return o, err
	}
	v.finished(dir)
	return o, nil
}

// parse reads an inventory and holds it to its own rules.
func (o *object) parse(folder, file string, b []byte) *inventory.Inventory {
	s := o.spec
	note := func(code, format string, args ...any) { o.notes.add(s, code, file, format, args...) }
	inv := inventory.Parse(file, b, inventory.MaxListed, note)
	if named := inventory.TypeSpec(inv.Type.Value); folder != "" && named != inventory.UnknownSpec || s == inventory.UnknownSpec {
		s = named
	}
	if folder == "" && o.spec == inventory.UnknownSpec {
		o.spec = s
	}
	(&inventory.Checker{Inventory: inv, Note: note, Folder: folder, Top: o.root, Declared: o.spec, Foreign: o.foreign}).Check()
	return inv
}

// top looks at everything directly in the object's folder (sections 3.1 to 3.3,
// 3.8 and 3.9).
func (o *object) top(ctx context.Context, entries []Entry, taken map[string]bool, p pair) error {
	if p.inv == nil {
		// Its sidecar is not to be blamed for being alone.
		if o.sidecars("", entries, p.used); !slices.ContainsFunc(entries, func(e Entry) bool { return p.used[e.Name] && !strings.HasPrefix(e.Name, inventoryName+".") }) {
			o.note("E063", "", "there is no inventory.json")
		}
	}
	for _, e := range entries {
		if o.odd(o.dir, e, e.Name, o.note) {
			continue
		}
		n, _ := inventory.ParseVersionName(e.Name)
		switch {
		case e.Kind == File && (taken[e.Name] || p.used[e.Name]):
		case e.Kind == File && strings.HasPrefix(e.Name, "0=ocfl_object_"):
			o.note("E003", e.Name, "another declaration")
		case e.Kind == File:
			o.note("E001", e.Name, "the standard knows no such file in an object")
		case e.Name == extensionsName, e.Name == "logs":
		case n > 0:
			if other, ok := o.folders[n]; ok {
				o.note("E012", e.Name, "%s is the same version, written another way", other)
				continue
			}
			o.folders[n] = e.Name
		default:
			if err := o.strangeFolder(ctx, e.Name); err != nil {
				return err
			}
		}
	}
	o.naming()
	o.compareFolders()
	return nil
}

// strangeFolder finds the rule that a folder breaks which is no version's.
func (o *object) strangeFolder(ctx context.Context, name string) error {
	found, err := o.holdsObject(ctx, name)
	if err != nil {
		return err
	}
	digits, v := strings.CutPrefix(name, "v")
	switch {
	case found:
		o.note("E082", name, "an object lies inside this object")
	case !v && strings.Trim(name, "0123456789") == "":
		o.note("E104", name, "the folder of a version is called v and its number")
	case v && digits != "" && strings.Trim(digits, "0123456789.+-") == "":
		o.note("E105", name, "versions are numbered 1, 2, 3 and so on")
	default:
		o.note("E001", name, "the standard knows no such folder in an object")
	}
	return nil
}

// holdsObject looks for the declaration of an object in a folder and below.
func (o *object) holdsObject(ctx context.Context, folder string) (bool, error) {
	entries, _, err := o.list(ctx, o.dir, folder, func(string, string, string, ...any) {})
	if err != nil {
		return false, err
	}
	for _, e := range entries {
		if e.Kind == File && objectDeclaration.versionOf(e.Name) != "" {
			return true, nil
		}
	}
	for _, e := range entries {
		if e.Kind != Folder {
			continue
		}
		if found, err := o.holdsObject(ctx, join(folder, e.Name)); found || err != nil {
			return found, err
		}
	}
	return false, nil
}

// naming checks that all version folders are called in one way (section 3.3).
func (o *object) naming() {
	numbers := slices.Sorted(maps.Keys(o.folders))
	if len(numbers) == 0 {
		return
	}
	first := o.folders[numbers[0]]
	_, width := inventory.ParseVersionName(first)
	if width > 0 {
		o.note("W001", first, "version folders are better called without zeros before the number")
	}
	for _, n := range numbers[1:] {
		name := o.folders[n]
		_, w := inventory.ParseVersionName(name)
		switch {
		case w == width:
		case width > 0 && w == 0 && len(name) == width+1:
			o.note("E011", name, "version folders padded like %s begin with v0", first)
		default:
			o.note("E012", name, "%s is written another way", first)
		}
	}
}

// compareFolders holds the version folders against the versions that the
// inventory names.
func (o *object) compareFolders() {
	note := func(code, format string, args ...any) { o.note(code, "", format, args...) }
	numbers := slices.Sorted(maps.Keys(o.folders))
	if o.root == nil || o.root.Bad || len(o.root.Versions) == 0 {
		inventory.Sequence(numbers, note, "the version folders")
		return
	}
	if len(numbers) == 0 {
		note("E008", "there is no version folder")
		return
	}
	for _, v := range o.root.Versions {
		switch name, ok := o.folders[v.N]; {
		case v.N == 0:
		case ok && name != v.Name:
			o.note("E046", name, "the inventory calls this version %s", inventory.Clip(v.Name))
		case !ok:
			code := "E010"
			if v.N == 1 {
				code = "E009"
			}
			o.note(code, shorten(v.Name), "the inventory names this version, and its folder is not there")
		}
	}
	for _, n := range numbers {
		if o.root.Version(n) == nil {
			o.note("E046", o.folders[n], "the inventory does not name this version")
		}
	}
}
