package config

import (
	"strings"
)

// apart returns the archives that do not get in each other's way. Where two
// do, both are left out, because nothing tells which file is the mistaken one.
func apart(all []loaded) ([]Archive, []error) { return apartOn(&disk{}, all) }

func apartOn(on *disk, all []loaded) ([]Archive, []error) {
	problems := make([][]Problem, len(all))
	for i := range all {
		for j := range all {
			if i != j {
				problems[i] = append(problems[i], clashes(on, all[i], all[j])...)
			}
		}
	}
	var good []Archive
	var faults []error
	for i, a := range all {
		if problems[i] == nil {
			good = append(good, a.Archive)
			continue
		}
		faults = append(faults, &Error{File: a.File, Archive: a.Name, Problems: problems[i]})
	}
	return good, faults
}

// clashes says what of a gets in the way of b.
func clashes(on *disk, a, b loaded) []Problem {
	f := &file{path: a.File, lines: a.lines, at: a.at}
	top := &table{file: f}
	if a.Name == b.Name {
		top.fault("archive", "%s has an archive of the same name; give each its own name, or take one file out", b.File)
	}
	if a.State != "" && a.State == b.State {
		top.fault("state", "%s names the same state folder; give each archive its own", b.File)
	}
	for i, c := range a.Copies {
		t := f.used(i)
		for _, o := range b.Copies {
			if c.ID == o.ID {
				t.fault("id", "the copy %q in %s has the same id; one root holds one archive, so take one of the two out", o.Name, b.File)
				continue
			}
			if c.URL == "" || o.URL == "" {
				continue
			}
			one, other := bucketPlace(c.URL), bucketPlace(o.URL)
			if strings.HasPrefix(one, other) || strings.HasPrefix(other, one) {
				t.fault("url", "the copy %q in %s is in the same place, or one lies inside the other; give each its own bucket or prefix", o.Name, b.File)
			}
		}
		if c.Root == "" {
			continue
		}
		if text := on.nested(c.Root, b.Folder); text != "" {
			t.fault("root", "%s of %s; a copy must lie outside the folder of every archive", text, b.File)
		}
	}
	for _, o := range b.Copies {
		if o.Root != "" && on.nested(o.Root, a.Folder) != "" {
			top.fault("folder", "this folder and the copy %q in %s lie one inside the other; a copy must lie outside the folder of every archive", o.Name, b.File)
		}
	}
	return f.problems
}
