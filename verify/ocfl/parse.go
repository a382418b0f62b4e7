package ocfl

import (
	"crypto/sha256"
	"errors"
	"strings"

	"linecamp/manifest/jsonscan"
)

// parser turns the bytes of an inventory into an inventory and notes what is
// not of the structure of section 3.5. What the values mean is looked at
// afterwards, because keys come in any order.
type parser struct {
	scanner
	inv    *inventory
	note   func(code, format string, args ...any)
	names  map[string]string // paths, each kept once
	listed int
	most   int
}

var errLimit = errors.New("too many entries")

// parseInventory reads an inventory. Memory is bounded by a small multiple of
// len(b) and by the limits, whatever the bytes are.
func parseInventory(file string, b []byte, most int, note func(code, format string, args ...any)) *inventory {
	p := &parser{
		scanner: scanner{jsonscan.New(b)},
		inv:     &inventory{file: file, has: keys{}, objects: keys{}, cased: keys{}, numbers: map[int]int{}},
		note:    note, names: map[string]string{}, most: most,
	}
	p.inventory()
	switch {
	case errors.Is(p.Err, errLimit):
		note(Unreadable, "it lists more than %d digests and paths, which is more than this validator reads", most)
	case p.Err != nil:
		note("E033", "it is not JSON in UTF-8 (RFC 8259): %v", p.Err)
	}
	p.inv.bad = p.Err != nil || p.inv.bad
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
			p.inv.bad = true
			p.note("E033", "it is JSON, but not a JSON object")
		}
		return
	}
	inv := p.inv
	p.fields("the inventory", inv.has, func(key string) bool {
		switch key {
		case "id":
			inv.id = p.string()
		case "type":
			inv.typ = p.string()
		case "digestAlgorithm":
			inv.algorithm = p.string()
		case "head":
			inv.head = p.string()
		case "contentDirectory":
			inv.contentDirectory = p.string()
		case "manifest":
			if inv.objects[key] = p.Next() == '{'; inv.objects[key] {
				inv.manifest = p.block("the manifest", "E092", "E098")
			} else {
				p.skip()
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
			p.note("E033", "%s has the key %s twice", what, clip(string(k)))
			p.skip()
		default:
			key := string(k)
			if read(key) {
				has[key] = true
				return
			}
			p.note("E102", "%s has the key %s, which the specification does not know", what, clip(key))
			p.skip()
		}
	})
}

// string reads a value that should be a string.
func (p *parser) string() text {
	if p.Next() != '"' {
		p.skip()
		return text{}
	}
	return text{true, string(p.Text("as a value"))}
}

// block reads digests with their paths (section 3.5.2). array is the code for
// a value that is no array, element the one for what is no path in it.
func (p *parser) block(what, array, element string) (b block) {
	p.Object("an object", func(k []byte) {
		p.count(1)
		e := entry{digest: string(k)}
		if p.Next() != '[' {
			if p.skip(); p.Err == nil {
				p.note(array, "the value of the digest %s in %s is not an array of paths", clip(e.digest), what)
			}
			b = append(b, e)
			return
		}
		p.Array("an array", func() {
			p.count(1)
			if p.Next() != '"' {
				if p.skip(); p.Err == nil {
					p.note(element, "the paths of the digest %s in %s hold something that is not a string", clip(e.digest), what)
				}
				return
			}
			t := p.Text("as a value")
			s, ok := p.names[string(t)]
			if !ok {
				s = string(t)
				p.names[s] = s
			}
			e.paths = append(e.paths, s)
		})
		b = append(b, e)
	})
	return b
}

func (p *parser) versions() {
	if p.inv.objects["versions"] = p.Next() == '{'; !p.inv.objects["versions"] {
		p.skip()
		return
	}
	seen := map[string]bool{}
	p.Object("an object", func(k []byte) {
		p.count(versionCost)
		v := &version{name: string(k), object: p.Next() == '{'}
		if seen[v.name] {
			p.note("E033", "versions has the key %s twice", clip(v.name))
			p.skip()
			return
		}
		seen[v.name] = true
		if v.n, _ = parseVersionName(v.name); v.n > 0 {
			p.inv.newest = max(p.inv.newest, v.n)
			if _, ok := p.inv.numbers[v.n]; !ok {
				p.inv.numbers[v.n] = len(p.inv.versions)
			}
		}
		if v.object {
			p.version(v)
		} else {
			p.skip()
		}
		p.inv.versions = append(p.inv.versions, v)
	})
}

func (p *parser) version(v *version) {
	what := "version " + clip(v.name)
	v.has = keys{}
	p.fields(what, v.has, func(key string) bool {
		switch key {
		case "created":
			v.created = p.string()
		case "message":
			v.message = p.string()
		case "state":
			if v.stateObject = p.Next() == '{'; !v.stateObject {
				p.skip()
				break
			}
			from := p.Rest()
			v.state = p.block("the state of "+what, "E051", "E051")
			v.stateRaw = sha256.Sum256(from[:len(from)-len(p.Rest())])
		case "user":
			v.user = p.user("the user of " + what)
		default:
			return false
		}
		return true
	})
}

func (p *parser) user(what string) (u user) {
	if u.object = p.Next() == '{'; !u.object {
		p.skip()
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
	if p.inv.objects["fixity"] = p.Next() == '{'; !p.inv.objects["fixity"] {
		p.skip()
		return
	}
	seen := map[string]bool{}
	p.Object("an object", func(k []byte) {
		p.count(versionCost)
		f := fixity{algorithm: string(k), object: p.Next() == '{'}
		what := "the fixity block for " + clip(f.algorithm)
		switch {
		case seen[f.algorithm]:
			p.note("E033", "fixity has the key %s twice", clip(f.algorithm))
			p.skip()
			return
		case f.object:
			f.block = p.block(what, "E057", "E057")
		default:
			p.skip()
		}
		seen[f.algorithm] = true
		p.inv.fixity = append(p.inv.fixity, f)
	})
}
