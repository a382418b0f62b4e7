package ocfl

import "linecamp/verify/ocfl/inventory"

import (
	"context"
	"regexp"
	"slices"
	"strings"
)

const (
	inventoryName = "inventory.json"
	maxSidecar    = 4096
)

// sidecarForm is section 3.6: the digest, spaces or tabs, the name. A line break
// at the end is what every tool for digests writes.
var sidecarForm = regexp.MustCompile(`^([0-9A-Za-z+/=_-]+)[ \t]+inventory\.json\r?\n?$`)

// pair is an inventory with its sidecar as found in one folder.
type pair struct {
	inv  *inventory.Inventory // nil if there is no inventory.json
	raw  string               // sha512 of its bytes, to tell equal ones
	used map[string]bool
}

// readPair reads and checks the inventory in a folder of an object ("" or a
// version's). It returns the names that belong to it.
func (o *object) readPair(ctx context.Context, folder string, entries []Entry) (pair, error) {
	p := pair{used: map[string]bool{}}
	file := join(folder, inventoryName)
	i := slices.IndexFunc(entries, func(e Entry) bool { return e.Name == inventoryName && e.Kind == File })
	if i < 0 {
		for _, e := range entries {
			if e.Kind == File && strings.EqualFold(e.Name, inventoryName) {
				p.used[e.Name] = true
				o.sidecars(folder, entries, p.used)
				o.note("E034", join(folder, e.Name), "an inventory is called inventory.json, in lower case")
			}
		}
		return p, ctx.Err()
	}
	p.used[inventoryName] = true
	b, err := readSmall(ctx, o.files, o.full(file), inventory.MaxInventory)
	if err != nil {
		if ctx.Err() != nil {
			return p, ctx.Err()
		}
		p.inv = &inventory.Inventory{File: file, Bad: true}
		o.note(Unreadable, file, "it cannot be read: %v", err)
		o.sidecars(folder, entries, p.used)
		return p, nil
	}
	h := inventory.Algorithms["sha512"].New()
	h.Write(b)
	p.raw = h.Digest()
	if folder != "" && p.raw == o.rootRaw {
		p.inv = o.root // the same bytes are judged once
	} else {
		p.inv = o.parse(folder, file, b)
	}
	o.sidecar(ctx, folder, entries, p, b)
	return p, ctx.Err()
}

// sidecars names everything that is called like a sidecar, and marks it used.
func (o *object) sidecars(folder string, entries []Entry, used map[string]bool) (names []string) {
	for _, e := range entries {
		if e.Kind == File && strings.HasPrefix(e.Name, inventoryName+".") {
			used[e.Name] = true
			names = append(names, e.Name)
		}
	}
	return names
}

// sidecar checks the digest that lies beside an inventory (section 3.6).
func (o *object) sidecar(ctx context.Context, folder string, entries []Entry, p pair, raw []byte) {
	names := o.sidecars(folder, entries, map[string]bool{})
	file := join(folder, inventoryName)
	alg := p.inv.Algo
	if alg == nil && len(names) == 1 {
		// The inventory does not say; the sidecar's own name does.
		alg = inventory.ContentAlgorithm(strings.TrimPrefix(names[0], inventoryName+"."))
	}
	if len(names) == 0 {
		o.note("E058", file, "no sidecar with its digest lies beside it")
		return
	}
	if alg == nil {
		for _, n := range names {
			p.used[n] = true
		}
		return // which digest it should be is not known, and reported
	}
	name := inventoryName + "." + alg.Name
	if !slices.Contains(names, name) {
		for _, n := range names {
			p.used[n] = true
		}
		o.note("E059", join(folder, names[0]), "the inventory uses %s, so its sidecar is called %s", alg.Name, name)
		return
	}
	p.used[name] = true
	b, err := readSmall(ctx, o.files, o.full(join(folder, name)), maxSidecar)
	if err != nil && !isTooLarge(err) {
		if ctx.Err() == nil {
			o.note(Unreadable, join(folder, name), "it cannot be read: %v", err)
		}
		return
	}
	m := sidecarForm.FindSubmatch(b)
	if err != nil || m == nil || !inventory.IsHex(string(m[1])) {
		o.note("E061", join(folder, name), "it is not a digest followed by the name inventory.json")
		return
	}
	h := alg.New()
	h.Write(raw)
	if got := h.Digest(); !strings.EqualFold(got, string(m[1])) {
		o.note("E060", join(folder, name), "it says %s, the %s of the inventory is %s", inventory.Clip(string(m[1])), alg.Name, got)
	}
}
