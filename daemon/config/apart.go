package config

import (
	"strings"

	"linecamp/daemon/config/entries"
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
	f := &file{&entries.File{Path: a.File, Lines: a.lines}, a.at}
	top := &table{File: f.File}
	if a.Name == b.Name {
		top.Fault("archive", "%s has an archive of the same name; give each its own name, or take one file out", b.File)
	}
	if a.State != "" && a.State == b.State {
		top.Fault("state", "%s names the same state folder; give each archive its own", b.File)
	}
	for i, c := range a.Copies {
		t := f.used(i)
		for _, o := range b.Copies {
			if c.ID == o.ID {
				t.Fault("id", "the copy %q in %s has the same id; one root holds one archive, so take one of the two out", o.Name, b.File)
				continue
			}
			if c.URL == "" || o.URL == "" {
				continue
			}
			one, other := bucketPlace(c.URL), bucketPlace(o.URL)
			if strings.HasPrefix(one, other) || strings.HasPrefix(other, one) {
				t.Fault("url", "the copy %q in %s is in the same place, or one lies inside the other; give each its own bucket or prefix", o.Name, b.File)
			}
		}
		if c.Root == "" {
			continue
		}
		if text := on.nested(c.Root, b.Folder); text != "" {
			t.Fault("root", "%s of %s; a copy must lie outside the folder of every archive", text, b.File)
		}
	}
	for _, o := range b.Copies {
		if o.Root != "" && on.nested(o.Root, a.Folder) != "" {
			top.Fault("folder", "this folder and the copy %q in %s lie one inside the other; a copy must lie outside the folder of every archive", o.Name, b.File)
		}
	}
	return f.Problems
}
