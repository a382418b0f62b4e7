package manifest

import (
	"bytes"
	"fmt"

	"linecamp/manifest/jsontext"
	"linecamp/manifest/names"
)

// DecodeInventory reads an inventory and checks every rule that it can be held
// to by itself: those of OCFL 1.1 and linecamp's stricter ones. The error wraps
// ErrInventory and names the rule, with OCFL's validation code where there is
// one (E and three digits; OCFL 1.1 "Validation Codes").
//
// Bytes are only compared with a digest by CheckSidecar. The memory it takes
// is a small multiple of len(b), whatever the bytes are.
func DecodeInventory(b []byte) (*Inventory, error) {
	if len(b) > MaxInventory {
		return nil, broken(ErrInventory, "%d bytes is more than the %d an inventory may have", len(b), MaxInventory)
	}
	return decodeInventory(b, maxListed)
}

// decodeInventory accepts at most so many paths in all states together.
func decodeInventory(b []byte, most int) (*Inventory, error) {
	d := inventoryDecoder{Scanner: jsontext.New(b), inv: New(""), versions: map[int]Version{}, names: map[string]string{}, most: most}
	d.inventory()
	if d.Err == nil {
		d.assemble()
	}
	if d.Err == nil {
		d.Err = d.inv.check()
	}
	if d.Err != nil {
		return nil, fmt.Errorf("%w: %w", ErrInventory, d.Err)
	}
	return d.inv, nil
}

type inventoryDecoder struct {
	jsontext.Scanner
	inv      *Inventory
	head     int
	versions map[int]Version
	names    map[string]string // logical paths, each kept once for all versions
	listed   int               // paths in the states so far
	most     int               // how many there may be
}

func (d *inventoryDecoder) inventory() {
	d.Fields("the inventory", " (E102)", []jsontext.Field{
		jsontext.Need("digestAlgorithm", " (E036)", func() {
			if a := d.Str("as digestAlgorithm"); a != digestAlgorithm {
				d.Fail("digestAlgorithm is %q; linecamp writes %q (E039)", names.Clip(a), digestAlgorithm)
			}
		}),
		jsontext.Need("head", " (E036)", func() {
			name := d.Str("as head")
			n, ok := ParseVersion(name)
			if !ok {
				d.Fail("head is %q; versions are called v1, v2 and so on (E040)", names.Clip(name))
			}
			d.head = n
		}),
		jsontext.Need("id", " (E036)", func() { d.inv.ID = d.Str("as id") }),
		jsontext.Need("manifest", " (E041)", d.manifest),
		jsontext.Need("type", " (E036)", func() {
			if t := d.Str("as type"); t != inventoryType {
				d.Fail("type is %q; linecamp writes %q (E038)", names.Clip(t), inventoryType)
			}
		}),
		jsontext.Need("versions", " (E043)", func() {
			d.Object("versions", func(key []byte) { d.version(string(key)) })
		}),
	})
	d.End()
}

func (d *inventoryDecoder) manifest() {
	var slab []string // the lists of many digests, one after the other
	var from int
	each := func() { slab = append(slab, d.Str("as a content path (E092)")) }
	d.Object("the manifest", func(key []byte) {
		digest, ok := d.digest(key, "the manifest")
		if !ok {
			return
		}
		if _, twice := d.inv.Content[digest]; twice {
			d.Fail("the manifest has the digest %s twice (E096)", digest)
			return
		}
		const perSlab = 1024
		if len(slab) == cap(slab) {
			slab = make([]string, 0, perSlab)
		}
		from = len(slab)
		d.Array("the content paths of a digest", each)
		paths := slab[from:len(slab):len(slab)]
		if len(paths) == 0 {
			d.Fail("the digest %s has no content path (E092)", digest)
			return
		}
		sortContent(paths)
		d.inv.Content[digest] = paths
	})
}

func (d *inventoryDecoder) digest(key []byte, where string) (Digest, bool) {
	if d.Err != nil {
		return Digest{}, false
	}
	digest, ok := parseDigest(key)
	if !ok {
		d.Fail("the key %q of %s is %v", names.Clip(string(key)), where, ErrDigest)
	}
	return digest, ok
}

func (d *inventoryDecoder) version(name string) {
	n, ok := ParseVersion(name)
	if !ok {
		d.Fail("a version is called %q; versions are called v1, v2 and so on (E046)", names.Clip(name))
		return
	}
	if _, twice := d.versions[n]; twice {
		d.Fail("the version v%d is there twice (E033)", n)
		return
	}
	var v Version
	what := name
	d.Fields(what, " (E102)", []jsontext.Field{
		jsontext.Need("created", " (E048)", func() {
			text := d.Str("as created")
			var why string
			if v.Created, why = ParseCreated(text); why != "" {
				d.Fail("created %q of %s %s", names.Clip(text), what, why)
			}
		}),
		jsontext.May("message", func() { v.Message = d.Str("as message (E094)") }),
		jsontext.Need("state", " (E048)", func() { v.State = d.state(what) }),
		jsontext.May("user", func() {
			d.Fields("the user of "+what, " (E102)", []jsontext.Field{
				jsontext.May("address", func() { v.User.Address = d.Str("as address") }),
				jsontext.Need("name", " (E054)", func() {
					if v.User.Name = d.Str("as name"); v.User.Name == "" {
						d.Fail("the user of %s has an empty name (E054)", what)
					}
				}),
			})
		}),
	})
	d.versions[n] = v
}

func (d *inventoryDecoder) state(version string) map[string]Digest {
	state := map[string]Digest{}
	what := "the state of " + version
	var seen digestSet
	var digest Digest
	var paths int
	each := func() {
		path := d.Text("as a logical path (E051)")
		if d.Err != nil {
			return
		}
		name, ok := d.names[string(path)]
		if !ok {
			name = string(path)
			d.names[name] = name
		}
		if _, twice := state[name]; twice {
			d.Fail("%s has the path %q twice (E095)", what, names.Clip(name))
			return
		}
		if d.listed++; d.listed > d.most {
			d.Fail("the versions list more than %d paths", d.most)
			return
		}
		state[name] = digest
		paths++
	}
	d.Object(what, func(key []byte) {
		var ok bool
		if digest, ok = d.digest(key, what); !ok {
			return
		}
		if !seen.add(digest) {
			d.Fail("%s has the digest %s twice (E033)", what, digest)
			return
		}
		paths = 0
		d.Array("the logical paths of a digest", each)
		if paths == 0 {
			d.Fail("the digest %s in %s has no logical path (E051)", digest, what)
		}
	})
	return state
}

// digestSet notices a digest that comes twice. While digests come in order, as
// Encode writes them, a list is enough.
type digestSet struct {
	inOrder []Digest
	all     map[Digest]bool
}

func (s *digestSet) add(d Digest) bool {
	if s.all == nil {
		if n := len(s.inOrder); n == 0 || bytes.Compare(s.inOrder[n-1][:], d[:]) < 0 {
			s.inOrder = append(s.inOrder, d)
			return true
		}
		s.all = make(map[Digest]bool, len(s.inOrder))
		for _, o := range s.inOrder {
			s.all[o] = true
		}
		s.inOrder = nil
	}
	if s.all[d] {
		return false
	}
	s.all[d] = true
	return true
}

// assemble puts the versions in order and holds their numbers against head.
func (d *inventoryDecoder) assemble() {
	if len(d.versions) == 0 {
		d.Err = fmt.Errorf("there is no version (E008)")
		return
	}
	d.inv.Versions = make([]Version, len(d.versions))
	for n := range d.inv.Versions {
		v, ok := d.versions[n+1]
		if !ok {
			code := "E010"
			if n == 0 {
				code = "E009"
			}
			d.Err = fmt.Errorf("the version v%d is missing; numbers run from v1 without a gap (%s)", n+1, code)
			return
		}
		d.inv.Versions[n] = v
	}
	if d.head != d.inv.Head() {
		d.Err = fmt.Errorf("head is v%d, the newest version is v%d (E040)", d.head, d.inv.Head())
	}
}
