package tally

import (
	"slices"
	"strings"

	"linecamp/manifest"
	"linecamp/manifest/names"
	"linecamp/manifest/within"
	"linecamp/manifest/words"
)

// A Double is a folder that holds again what stands in the folder beside it.
type Double struct {
	Folder string // the double, by its name
	Of     string // what it doubles
	Files  int    // in the double
	Same   int    // of them, byte for byte in Of as well
}

// Doubles lists the folders that are doubles by their names, and of which at least one
// file is, byte for byte, in the folder they double.
func (r *Result) Doubles() (all []Double) {
	of := map[string]string{}             // doubles by path, and what they double
	had := map[manifest.Digest][]string{} // of the files in doubles, the doubles
	each := func(f func(File)) {
		for i := range r.Sites {
			for x := range r.Sites[i].Files() {
				f(x)
			}
		}
		for x := range r.Unfiled.All() {
			f(x)
		}
	}
	n := map[string]*Double{}
	each(func(f File) {
		for dir := names.Parent(f.Path); dir != ""; dir = names.Parent(dir) {
			plain, known := of[dir]
			if !known {
				name := names.Base(dir)
				if plain = names.Undoubled(name); plain == name {
					plain = ""
				} else {
					plain = strings.TrimSuffix(dir, name) + plain
				}
				of[dir] = plain
			}
			if plain == "" {
				continue
			}
			if n[dir] == nil {
				n[dir] = &Double{Folder: dir, Of: plain}
			}
			n[dir].Files++
			had[f.SHA256] = append(had[f.SHA256], dir)
		}
	})
	if len(n) == 0 {
		return nil
	}
	each(func(f File) {
		dirs := had[f.SHA256]
		for i := 0; i < len(dirs); i++ {
			if within.Below(f.Path, of[dirs[i]]) {
				n[dirs[i]].Same++
				dirs = slices.Delete(dirs, i, i+1)
				i--
			}
		}
		if len(had[f.SHA256]) > 0 {
			had[f.SHA256] = dirs
		}
	})
	for _, d := range n {
		if d.Same > 0 {
			all = append(all, *d)
		}
	}
	slices.SortFunc(all, func(a, b Double) int { return strings.Compare(a.Folder, b.Folder) })
	return all
}

// Text says what the double is, and what a person may do.
func (d Double) Text() string {
	folder, of := line(Logical(d.Folder)), line(Logical(d.Of))
	if d.Same == d.Files {
		all := "all of its " + words.Count(d.Files, "file") + " are"
		if d.Files == 1 {
			all = "its 1 file is"
		}
		return folder + " is a double: " + all + ", byte for byte, in " + of + " too. It can be taken out of the folder; the copies keep both"
	}
	are := "are"
	if d.Same == 1 {
		are = "is"
	}
	return folder + " is a double in part: " + words.Count(d.Same, "file") + " of its " + words.Count(d.Files, "file") + " " + are + ", byte for byte, in " + of + " too. Move the others there, and it can be taken out; the copies keep both"
}
