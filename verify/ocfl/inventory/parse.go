package inventory

import (
	"crypto/sha256"
	"errors"
	"strings"

	"linecamp/manifest/jsontext"
)

// parser turns the bytes of an inventory into an inventory and notes what is
// not of the structure of section 3.5. What the values mean is looked at
// afterwards, because keys come in any order.
type parser struct {
	scanner
	inv    *Inventory
	note   func(code, format string, args ...any)
	names  map[string]string // paths, each kept once
	listed int
	most   int
}

var errLimit = errors.New("too many entries")

// Parse reads an inventory. Memory is bounded by a small multiple of
// len(b) and by the limits, whatever the bytes are.
func Parse(file string, b []byte, most int, note func(code, format string, args ...any)) *Inventory {
	p := &parser{
		scanner: scanner{jsontext.New(b)},
		inv:     &Inventory{File: file, has: keys{}, Objects: keys{}, cased: keys{}, numbers: map[int]int{}},
		note:    note, names: map[string]string{}, most: most,
	}
	p.inventory()
	switch {
	case errors.Is(p.Err, errLimit):
		note(Unread, "it lists more than %d digests and paths, which is more than this validator reads", most)
	case p.Err != nil:
		note("E033", "it is not JSON in UTF-8 (RFC 8259): %v", p.Err)
	}
	p.inv.Bad = p.Err != nil || p.inv.Bad
	return p.inv
}

func (p *parser) count(n int) {
	if p.listed += n; p.listed > p.most && p.Err == nil {
		p.Err = errLimit
	}
}

func (p *parser) inventory() {
	if c := p.Next(); c != '{' && c != 0 {
		p.skip()
		if p.End(); p.Err == nil {
			p.inv.Bad = true
			p.note("E033", "it is JSON, but not a JSON object")
		}
		return
	}
	inv := p.inv
	p.fields("the inventory", inv.has, func(key string) bool {
		switch key {
		case "id":
			inv.ID = p.string()
		case "type":
			inv.Type = p.string()
		case "digestAlgorithm":
			inv.Algorithm = p.string()
		case "head":
			inv.Head = p.string()
		case "contentDirectory":
			inv.ContentDirectory = p.string()
		case "manifest":
			if inv.Objects[key] = p.opens(); inv.Objects[key] {
				inv.Manifest = p.block("the manifest", "E092", "E098")
			}
		case "versions":
			p.versions()
		case "fixity":
			p.fixity()
		default:
			if l := strings.ToLower(key); l == "versions" || l == "fixity" {
				inv.cased[l] = true
				p.skip()
				return true
			}
			return false
		}
		return true
	})
	p.End()
}

// opens tells whether an object follows, and passes over whatever else does.
func (p *parser) opens() bool {
	if p.Next() == '{' {
		return true
	}
	p.skip()
	return false
}

// keys are the keys of an object that were met.
type keys map[string]bool

// fields reads an object whose keys are known; read reads the value of one, or
// returns false if it does not know the key. A key that comes twice leaves open
// which value counts, so the first is taken and the structure is at fault.
func (p *parser) fields(what string, has keys, read func(key string) bool) {
	p.Object("an object", func(k []byte) {
		switch {
		case p.Err != nil:
		case has[string(k)]:
			p.note("E033", "%s has the key %s twice", what, Clip(string(k)))
			p.skip()
		default:
			key := string(k)
			if read(key) {
				has[key] = true
				return
			}
			p.note("E102", "%s has the key %s, which the specification does not know", what, Clip(key))
			p.skip()
		}
	})
}

// string reads a value that should be a string.
func (p *parser) string() Text {
	if p.Next() != '"' {
		p.skip()
		return Text{}
	}
	return Text{true, string(p.Text("as a value"))}
}

// block reads digests with their paths (section 3.5.2). array is the code for
// a value that is no array, element the one for what is no path in it.
func (p *parser) block(what, array, element string) (b block) {
	p.Object("an object", func(k []byte) {
		p.count(1)
		e := entry{Digest: string(k)}
		if p.Next() != '[' {
			if p.skip(); p.Err == nil {
				p.note(array, "the value of the digest %s in %s is not an array of paths", Clip(e.Digest), what)
			}
			b = append(b, e)
			return
		}
		p.Array("an array", func() {
			p.count(1)
			if p.Next() != '"' {
				if p.skip(); p.Err == nil {
					p.note(element, "the paths of the digest %s in %s hold something that is not a string", Clip(e.Digest), what)
				}
				return
			}
			t := p.Text("as a value")
			s, ok := p.names[string(t)]
			if !ok {
				s = string(t)
				p.names[s] = s
			}
			e.Paths = append(e.Paths, s)
		})
		b = append(b, e)
	})
	return b
}

func (p *parser) versions() {
	if p.inv.Objects["versions"] = p.opens(); !p.inv.Objects["versions"] {
		return
	}
	seen := map[string]bool{}
	p.Object("an object", func(k []byte) {
		p.count(versionCost)
		v := &Version{Name: string(k)}
		if seen[v.Name] {
			p.note("E033", "versions has the key %s twice", Clip(v.Name))
			p.skip()
			return
		}
		seen[v.Name] = true
		if v.N, _ = ParseVersionName(v.Name); v.N > 0 {
			p.inv.Newest = max(p.inv.Newest, v.N)
			if _, ok := p.inv.numbers[v.N]; !ok {
				p.inv.numbers[v.N] = len(p.inv.Versions)
			}
		}
		if v.Object = p.opens(); v.Object {
			p.version(v)
		}
		p.inv.Versions = append(p.inv.Versions, v)
	})
}

func (p *parser) version(v *Version) {
	what := "version " + Clip(v.Name)
	v.has = keys{}
	p.fields(what, v.has, func(key string) bool {
		switch key {
		case "created":
			v.Created = p.string()
		case "message":
			v.Message = p.string()
		case "state":
			if v.stateObject = p.opens(); !v.stateObject {
				break
			}
			from := p.Rest()
			v.State = p.block("the state of "+what, "E051", "E051")
			v.StateRaw = sha256.Sum256(from[:len(from)-len(p.Rest())])
		case "user":
			v.User = p.user("the user of " + what)
		default:
			return false
		}
		return true
	})
}

func (p *parser) user(what string) (u user) {
	if u.object = p.opens(); !u.object {
		return u
	}
	has := keys{}
	p.fields(what, has, func(key string) bool {
		switch key {
		case "name":
			u.name = p.string()
		case "address":
			u.address = p.string()
		default:
			return false
		}
		return true
	})
	u.hasAddr = has["address"]
	return u
}

func (p *parser) fixity() {
	if p.inv.Objects["fixity"] = p.opens(); !p.inv.Objects["fixity"] {
		return
	}
	seen := map[string]bool{}
	p.Object("an object", func(k []byte) {
		p.count(versionCost)
		f := fixity{Algorithm: string(k), object: p.Next() == '{'}
		what := "the fixity block for " + Clip(f.Algorithm)
		switch {
		case seen[f.Algorithm]:
			p.note("E033", "fixity has the key %s twice", Clip(f.Algorithm))
			p.skip()
			return
		case f.object:
			f.Block = p.block(what, "E057", "E057")
		default:
			p.skip()
		}
		seen[f.Algorithm] = true
		p.inv.Fixity = append(p.inv.Fixity, f)
	})
}
