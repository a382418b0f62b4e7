package config

import "linecamp/manifest/within"

// disk compares folders by where they truly are. Each path is looked at once,
// however many others it is held against.
type disk struct {
	places map[string]within.Place
	looked int // paths
}

func (d *disk) at(path string) within.Place {
	p, ok := d.places[path]
	if !ok {
		if d.places == nil {
			d.places = map[string]within.Place{}
		}
		p = within.At(path)
		d.places[path] = p
		d.looked++
	}
	return p
}

// inside reports whether path is folder or lies below it.
func (d *disk) inside(path, folder string) bool { return d.at(path).In(d.at(folder)) }

// nested says in what way a copy's root and a working folder lie inside one
// another; "" if they do not.
func (d *disk) nested(root, folder string) string {
	if folder == "" {
		return ""
	}
	in, out := d.inside(root, folder), d.inside(folder, root)
	switch {
	case in && out:
		return "this copy is your folder itself"
	case in:
		return "this copy lies inside your folder"
	case out:
		return "your folder lies inside this copy"
	}
	return ""
}
