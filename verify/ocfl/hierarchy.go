package ocfl

import (
	"context"
	"slices"
	"strings"
)

// branch walks one folder of the root down to the objects in it (section 4.3).
func (s *storageRoot) branch(ctx context.Context, folder string) error {
	b := branch{storageRoot: s}
	n, err := b.walk(ctx, folder)
	if err != nil || len(b.ends) == 0 {
		return err
	}
	if n == 0 {
		s.note("E088", folder, "no object is in it, and only objects and extensions have folders in a storage root")
		return nil
	}
	for _, end := range b.ends {
		s.note("E085", end, "this branch does not end in an object")
	}
	return nil
}

type branch struct {
	*storageRoot
	ends []string // folders without folders that are no objects
}

// walk returns how many objects, and storage roots, lie in a folder.
func (b *branch) walk(ctx context.Context, folder string) (objects int, err error) {
	entries, ok, err := b.list(ctx, "", folder, b.note)
	if err != nil || !ok {
		return 0, err
	}
	if len(entries) == 0 {
		b.note("E073", folder, "the folder is empty")
		return 0, nil
	}
	if slices.ContainsFunc(entries, marksObject) {
		b.found = append(b.found, folder)
		return 1, nil
	}
	if slices.ContainsFunc(entries, func(e Entry) bool { return e.Kind == File && rootDeclaration.versionOf(e.Name) != "" }) {
		b.note("E074", folder, "another storage root lies in this one; it was not looked into")
		return 1, nil
	}
	var files []string
	folders := 0
	for _, e := range entries {
		path := join(folder, e.Name)
		switch {
		case b.odd("", e, path, b.note):
		case e.Kind == Folder:
			folders++
			n, err := b.walk(ctx, path)
			if err != nil {
				return 0, err
			}
			objects += n
		default:
			files = append(files, path)
		}
	}
	code := "E072"
	if objects > 0 {
		code = "E084"
	}
	for _, f := range files {
		b.note(code, f, "a file that is not part of an object")
	}
	if folders == 0 && len(files) > 0 {
		b.ends = append(b.ends, folder)
	}
	return objects, nil
}

// mixed warns about objects both directly in the root and further down.
func (s *storageRoot) mixed() {
	direct, deep := "", ""
	for _, dir := range s.found {
		if strings.Contains(dir, "/") {
			deep = dir
		} else {
			direct = dir
		}
	}
	if direct != "" && deep != "" {
		s.note("W015", "", "some objects lie directly in the root, as %s, and some in a hierarchy, as %s", direct, deep)
	}
}
