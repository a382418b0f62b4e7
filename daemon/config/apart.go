package config

import (
	"path"
	"path/filepath"
	"slices"
	"strings"

	"linecamp/daemon/config/claims"
	"linecamp/manifest/tomlline"
	"linecamp/manifest/within"
)

// apart returns the archives that do not reach for what is another's. Where two name
// one place, it stays with the one that was there before, as far as its state folder
// remembers, and the other is left out; where nothing tells, both are.
func apart(all []loaded) ([]Archive, []error) { return apartOn(&disk{}, all) }

func apartOn(on *disk, all []loaded) ([]Archive, []error) {
	c := &crossing{on: on, all: all, files: make([]*file, len(all)), had: make([]*claims.Claims, len(all))}
	for i, a := range all {
		c.files[i] = &file{&tomlline.File{Path: a.File, Lines: a.lines}, a.at}
	}
	c.names()
	c.places()
	var good []Archive
	var faults []error
	for i, a := range all {
		if problems := c.files[i].Faults; len(problems) > 0 {
			faults = append(faults, &Error{File: a.File, Archive: a.Name, Problems: problems})
			continue
		}
		good = append(good, a.Archive)
	}
	return good, faults
}

// crossing is all settings held against one another. Each place is looked at once, and
// found among the others by its name, however many there are.
type crossing struct {
	on    *disk
	all   []loaded
	files []*file
	had   []*claims.Claims // by archive; nil as long as nobody asked
}

// claim is one place that the settings of one archive name.
type claim struct {
	owner int
	place string // as its state folder remembers it
	table *table
	key   string
}

// met tells both of two claims that they are in each other's way, but not one that was
// there before the other.
func (c *crossing) met(a, b claim, text string) {
	if !c.before(a, b) {
		c.tell(a, b, text)
	}
	if !c.before(b, a) {
		c.tell(b, a, text)
	}
}

// tell tells it once, though two archives may meet in many places.
func (c *crossing) tell(a, b claim, text string) {
	f := c.files[a.owner]
	with := c.all[b.owner].File
	had := len(f.Faults)
	a.table.Fault(a.key, "%s", text)
	p := &f.Faults[had]
	p.Other = with
	if slices.Contains(f.Faults[:had], *p) {
		f.Faults = f.Faults[:had]
	}
}

func (c *crossing) before(x, y claim) bool {
	return c.noted(x.owner).Before(*c.noted(y.owner), c.all[x.owner].File, x.place, c.all[y.owner].File, y.place)
}

func (c *crossing) noted(owner int) *claims.Claims {
	if c.had[owner] == nil {
		var had claims.Claims
		if dir, err := c.all[owner].StateDir(); err == nil {
			had = claims.Of(dir)
		}
		c.had[owner] = &had
	}
	return c.had[owner]
}

// names finds what two archives may not share: a name, a copy's id, a place in a bucket.
func (c *crossing) names() {
	seen := map[string][]claim{}
	meet := func(x claim, as, text string) {
		for _, o := range seen[as] {
			if o.owner != x.owner {
				c.met(x, o, text)
			}
		}
		seen[as] = append(seen[as], x)
	}
	prefixes := map[string][]claim{}
	var buckets []claim
	for i, a := range c.all {
		top := &table{File: c.files[i].File}
		meet(claim{i, placeOfName(a.Archive), top, "archive"}, placeOfName(a.Archive), "another archive has the same name; give each its own, or take one file out")
		for n, x := range a.Copies {
			t := c.files[i].used(n)
			if x.ID != "" {
				meet(claim{i, placeOfCopy(x), t, "id"}, "id "+x.ID, "another archive has a copy with the same id; one root holds one archive, so take one of the two out")
			}
			if x.URL != "" {
				b := claim{i, placeOfCopy(x), t, "url"}
				buckets = append(buckets, b)
				prefixes[bucketOfCopy(x)] = append(prefixes[bucketOfCopy(x)], b)
			}
		}
	}
	for n, b := range buckets {
		at := strings.TrimSuffix(strings.TrimPrefix(b.place, "copy "), "/")
		for own := true; at != "." && at != ""; at, own = path.Dir(at), false {
			for _, o := range prefixes[at+"/"] {
				if o.owner != b.owner && (!own || slices.Index(buckets, o) < n) {
					c.met(b, o, "another archive is in the same place, or one lies inside the other; give each its own bucket or prefix")
				}
			}
		}
	}
}

// What lies where on this machine.
const (
	aFolder = iota
	aState
	aRoot
	aFile // of settings or keys: it may lie beside others, and not in them
)

// places finds folders of two archives that are one, or lie inside one another.
func (c *crossing) places() {
	type spot struct {
		claim
		kind int
		at   within.Place
	}
	var spots []spot
	add := func(i, kind int, place string, t *table, key, is string) {
		if is != "" {
			spots = append(spots, spot{claim{i, place, t, key}, kind, c.on.at(is)})
		}
	}
	for i, a := range c.all {
		top := &table{File: c.files[i].File}
		add(i, aFolder, placeOfFolder(a.Archive), top, "folder", a.Folder)
		if dir, err := a.StateDir(); err == nil {
			add(i, aState, placeOfState(a.Archive), top, "state", dir)
		}
		for n, x := range a.Copies {
			t := c.files[i].used(n)
			add(i, aRoot, placeOfCopy(x), t, "root", x.Root)
			if filepath.IsAbs(x.Credentials) {
				add(i, aFile, placeOfCopy(x), t, "credentials", x.Credentials)
			}
		}
		add(i, aFile, placeOfName(a.Archive), top, "archive", a.File)
		add(i, aFile, placeOfMail(a.Notice), &table{File: c.files[i].File, Key: "notice"}, "password_file", a.Notice.PasswordFile)
	}
	byName := map[string][]int{}
	for n, s := range spots {
		for _, name := range s.at.Names() {
			byName[name] = append(byName[name], n)
		}
	}
	for n, s := range spots {
		tried := map[int]bool{}
		for name := range s.at.Above() {
			for _, m := range byName[name] {
				o := spots[m]
				if o.owner == s.owner || tried[m] || !s.at.In(o.at) {
					continue
				}
				tried[m] = true
				same := o.at.In(s.at)
				switch {
				case same && m < n: // told from the other's side
				case same && s.kind == aRoot && o.kind == aRoot: // drives that trade places, told apart by their ids
				case same && s.kind == aFile && o.kind == aFile:
					if s.key != o.key || s.key == "password_file" && c.all[s.owner].Notice.SMTP != c.all[o.owner].Notice.SMTP {
						c.met(s.claim, o.claim, "another archive has this file for something else; give each archive keys of its own")
					}
				case s.kind == aRoot && o.kind == aFolder, s.kind == aFolder && o.kind == aRoot:
					c.met(s.claim, o.claim, "this and a place of another archive are the same, or one lies inside the other; a copy must lie outside the folder of every archive")
				default:
					c.met(s.claim, o.claim, "this and a place of another archive are the same, or one lies inside the other; give each archive places of its own")
				}
			}
		}
	}
}

func placeOfName(a Archive) string   { return "archive " + a.Name }
func placeOfFolder(a Archive) string { return "folder " + a.Folder }
func placeOfMail(n Notice) string    { return "mail " + n.SMTP + " " + n.PasswordFile }

func placeOfState(a Archive) string {
	dir, err := a.StateDir()
	if err != nil {
		return ""
	}
	return "state " + dir
}

func placeOfCopy(c Copy) string {
	if c.URL != "" {
		return "copy " + bucketOfCopy(c)
	}
	return "copy " + c.ID + " " + c.Root
}

// Claims are the places that the settings name, to be remembered in the state folder.
func (a Archive) Claims() claims.Claims {
	c := claims.Claims{Settings: a.File, Places: []string{placeOfName(a), placeOfFolder(a), placeOfState(a), placeOfMail(a.Notice)}}
	for _, x := range a.Copies {
		c.Places = append(c.Places, placeOfCopy(x))
	}
	return c
}

// Against says what settings that are to be would take of other archives; nil for
// nothing.
func (a Archive) Against(others []Archive) *Error {
	all := []loaded{{Archive: a}}
	for i := range a.Copies {
		all[0].at = append(all[0].at, i)
	}
	for _, o := range others {
		l := loaded{Archive: o}
		for i := range o.Copies {
			l.at = append(l.at, i)
		}
		all = append(all, l)
	}
	_, faults := apart(all)
	for _, f := range faults {
		if e, is := f.(*Error); is && e.File == a.File {
			return e
		}
	}
	return nil
}
