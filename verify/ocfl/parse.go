package ocfl

import (
	"crypto/sha256"
	"errors"
	"strings"
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
		scanner: scanner{b: b},
		inv:     &inventory{file: file, has: map[string]bool{}, objects: map[string]bool{}, cased: map[string]bool{}},
		note:    note, names: map[string]string{}, most: most,
	}
	p.inventory()
	switch {
	case errors.Is(p.err, errLimit):
		note(Unreadable, "it lists more than %d digests and paths, which is more than this validator reads", most)
	case p.err != nil:
		note("E033", "it is not JSON in UTF-8 (RFC 8259): %v", p.err)
	}
	p.inv.bad = p.err != nil || p.inv.bad
	return p.inv
}

func (p *parser) count(n int) {
	if p.listed += n; p.listed > p.most && p.err == nil {
		p.err = errLimit
	}
}

func (p *parser) inventory() {
	if c := p.next(); c != '{' && c != 0 {
		p.skip()
		if p.end(); p.err == nil {
			p.inv.bad = true
			p.note("E033", "it is JSON, but not a JSON object")
		}
		return
	}
	inv := p.inv
	p.fields("the inventory", inv.has, map[string]func(){
		"id":               func() { inv.id = p.string() },
		"type":             func() { inv.typ = p.string() },
		"digestAlgorithm":  func() { inv.algorithm = p.string() },
		"head":             func() { inv.head = p.string() },
		"contentDirectory": func() { inv.contentDirectory = p.string() },
		"manifest": func() {
			if inv.objects["manifest"] = p.next() == '{'; !inv.objects["manifest"] {
				p.skip()
				return
			}
			inv.manifest = p.block("the manifest", "E092", "E098")
		},
		"versions": p.versions,
		"fixity":   p.fixity,
	}, func(key string) {
		if l := strings.ToLower(key); l == "versions" || l == "fixity" {
			inv.cased[l] = true
			return
		}
		p.note("E102", "the inventory has the key %s, which the specification does not know", clip(key))
	})
	p.end()
}

// fields reads an object whose keys are known. A key that comes twice leaves
// open which value counts, so the first is taken and the structure is at fault.
func (p *parser) fields(what string, has map[string]bool, known map[string]func(), unknown func(key string)) {
	p.object(func(k []byte) {
		read, ok := known[string(k)]
		switch {
		case !ok:
			if p.err == nil {
				unknown(string(k))
			}
			p.skip()
		case has[string(k)]:
			p.note("E033", "%s has the key %s twice", what, clip(string(k)))
			p.skip()
		default:
			has[string(k)] = true
			read()
		}
	})
}

func (p *parser) unknownIn(what string) func(string) {
	return func(key string) {
		p.note("E102", "%s has the key %s, which the specification does not know", what, clip(key))
	}
}

// string reads a value that should be a string.
func (p *parser) string() text {
	if p.next() != '"' {
		p.skip()
		return text{}
	}
	return text{true, string(p.text())}
}

// block reads digests with their paths (section 3.5.2). array is the code for
// a value that is no array, element the one for what is no path in it.
func (p *parser) block(what, array, element string) (b block) {
	p.object(func(k []byte) {
		p.count(1)
		e := entry{digest: string(k)}
		if p.next() != '[' {
			if p.skip(); p.err == nil {
				p.note(array, "the value of the digest %s in %s is not an array of paths", clip(e.digest), what)
			}
			b = append(b, e)
			return
		}
		p.array(func() {
			p.count(1)
			if p.next() != '"' {
				if p.skip(); p.err == nil {
					p.note(element, "the paths of the digest %s in %s hold something that is not a string", clip(e.digest), what)
				}
				return
			}
			t := p.text()
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
	if p.inv.objects["versions"] = p.next() == '{'; !p.inv.objects["versions"] {
		p.skip()
		return
	}
	seen := map[string]bool{}
	p.object(func(k []byte) {
		p.count(versionCost)
		v := version{name: string(k), object: p.next() == '{'}
		if seen[v.name] {
			p.note("E033", "versions has the key %s twice", clip(v.name))
			p.skip()
			return
		}
		seen[v.name] = true
		v.n, _ = parseVersionName(v.name)
		if v.object {
			p.version(&v)
		} else {
			p.skip()
		}
		p.inv.versions = append(p.inv.versions, v)
	})
}

func (p *parser) version(v *version) {
	what := "version " + clip(v.name)
	v.has = map[string]bool{}
	p.fields(what, v.has, map[string]func(){
		"created": func() { v.created = p.string() },
		"message": func() { v.message = p.string() },
		"state": func() {
			if v.stateObject = p.next() == '{'; !v.stateObject {
				p.skip()
				return
			}
			from := p.at
			v.state = p.block("the state of "+what, "E051", "E051")
			v.stateRaw = sha256.Sum256(p.b[from:p.at])
		},
		"user": func() {
			if v.user.object = p.next() == '{'; !v.user.object {
				p.skip()
				return
			}
			has := map[string]bool{}
			p.fields("the user of "+what, has, map[string]func(){
				"name":    func() { v.user.name = p.string() },
				"address": func() { v.user.address = p.string() },
			}, p.unknownIn("the user of "+what))
			v.user.hasAddr = has["address"]
		},
	}, p.unknownIn(what))
}

func (p *parser) fixity() {
	if p.inv.objects["fixity"] = p.next() == '{'; !p.inv.objects["fixity"] {
		p.skip()
		return
	}
	seen := map[string]bool{}
	p.object(func(k []byte) {
		p.count(versionCost)
		f := fixity{algorithm: string(k), object: p.next() == '{'}
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
