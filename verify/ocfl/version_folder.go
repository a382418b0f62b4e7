package ocfl

import (
	"maps"
	"slices"

	"linecamp/verify/ocfl/inventory"
)

import "context"

// held is what one version folder holds.
type held struct {
	directory string // the designated content folder's name
	there     bool   // it exists
}

// content is one file in a content folder.
type content struct {
	n       int // version whose folder it is in
	size    int64
	wants   []want
	named   int    // the last claim that named it
	unnamed string // an earlier inventory that should name it and does not
}

// want is a digest that some inventory gives for a file.
type want struct {
	alg    *inventory.Algorithm
	digest string // in lower case
	code   string // of the rule that is broken if the bytes have another
	file   string // the inventory that says so
}

// versions goes through the version folders, oldest first: files, then the
// inventory there against the files so far and against the one at the top. One
// inventory beside that one is in memory at a time.
func (o *object) versions(ctx context.Context) error {
	h := history{object: o}
	for _, n := range slices.Sorted(maps.Keys(o.folders)) {
		name := o.folders[n]
		entries, ok, err := o.list(ctx, o.dir, name, o.note)
		if err != nil {
			return err
		}
		if !ok {
			o.gone.Add(name)
			continue
		}
		if len(entries) == 0 && o.parent != nil {
			o.note("E073", name, "the folder is empty")
		}
		p, err := o.readPair(ctx, name, entries)
		if err != nil {
			return err
		}
		if err := o.folder(ctx, n, entries, p); err != nil {
			return err
		}
		h.add(n, p)
	}
	h.finish()
	return ctx.Err()
}

// folder looks at everything in a version folder (section 3.3).
func (o *object) folder(ctx context.Context, n int, entries []Entry, p pair) error {
	name := o.folders[n]
	h := &held{directory: "content"}
	switch {
	case p.inv != nil && !p.inv.Bad:
		h.directory = p.inv.Directory()
	case o.root != nil && !o.root.Bad:
		h.directory = o.root.Directory()
	}
	o.holds[n] = h
	for _, e := range entries {
		path := join(name, e.Name)
		if o.odd(o.dir, e, path, o.note) {
			o.gone.Add(path)
			continue
		}
		switch {
		case e.Kind == File && !p.used[e.Name]:
			o.note("E015", path, "the standard knows no such file in the folder of a version")
		case e.Kind == Folder && e.Name == h.directory:
			h.there = true
			files, folders, err := o.walk(ctx, n, path)
			if err != nil {
				return err
			}
			if files+folders == 0 && !o.gone.Paths[path] {
				o.note("W003", path, "a version without new content needs no content folder")
			}
		case e.Kind == Folder:
			o.note("W002", path, "only the folder %s is looked at", h.directory)
		}
	}
	return nil
}

// walk takes in the files of a content folder and returns how many there are
// in it and how many folders.
func (o *object) walk(ctx context.Context, n int, folder string) (files, folders int, err error) {
	entries, ok, err := o.list(ctx, o.dir, folder, o.note)
	if err != nil {
		return 0, 0, err
	}
	if !ok {
		o.gone.Add(folder)
		return 0, 0, nil
	}
	for _, e := range entries {
		path := join(folder, e.Name)
		switch {
		case o.odd(o.dir, e, path, o.note):
			o.gone.Add(path)
			files++
		case e.Kind == Folder:
			folders++
			f, d, err := o.walk(ctx, n, path)
			if err != nil {
				return 0, 0, err
			}
			if f+d == 0 && !o.gone.Paths[path] {
				o.note("E024", path, "the folder is empty")
			}
		default:
			files++
			o.content[path] = &content{n: n, size: e.Size}
		}
	}
	return files, folders, nil
}
