package ocfl

import "linecamp/verify/ocfl/inventory"

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"unicode/utf8"

	"github.com/santhosh-tekuri/jsonschema/v6"
)

// schema is the JSON schema published with the OCFL 1.1 specification; see
// testdata/standards/README.md for its source and licence.
func schema(t testing.TB) *jsonschema.Schema {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "..", "testdata", "standards", "ocfl-1.1-inventory-schema.json"))
	must(t, err)
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(b))
	must(t, err)
	const url = "https://ocfl.io/1.1/spec/inventory_schema.json"
	c := jsonschema.NewCompiler()
	must(t, c.AddResource(url, doc))
	s, err := c.Compile(url)
	must(t, err)
	return s
}

func fits(s *jsonschema.Schema, inventory []byte) bool {
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(inventory))
	return err == nil && s.Validate(doc) == nil
}

// wider says that an inventory may be right and not fit the schema: it admits
// only the digests that the specification itself lists.
func wider(inventory []byte) bool {
	for _, name := range []string{"blake2b-160", "blake2b-256", "blake2b-384", "sha512/256", "size", "crc7"} {
		if bytes.Contains(inventory, []byte(name)) {
			return true
		}
	}
	return false
}

// What the published schema refuses, we refuse; and what we do not object to
// fits it. Both are tried on every inventory of every case.
func TestSchema(t *testing.T) {
	s := schema(t)
	refused := 0
	for _, c := range objectCases {
		files := c.files()
		b := files["inventory.json"].data
		if b == nil || wider(b) {
			continue
		}
		r, err := Validate(t.Context(), files, Options{NoContent: true})
		must(t, err)
		if ok := fits(s, b); !ok {
			refused++
			if r.Valid {
				t.Errorf("%s: the schema refuses what passes here:\n%s", c.name, b)
			}
		}
	}
	if refused < 30 {
		t.Errorf("the schema refuses %d only", refused)
	}
}

// Whatever the bytes: no panic, no name outside the object, and what is valid
// is JSON and fits the published schema.
func FuzzInventory(f *testing.F) {
	for _, c := range objectCases {
		if b := c.files()["inventory.json"].data; len(b) < 1<<14 {
			f.Add(b)
		}
	}
	f.Add([]byte(`{"manifest":{"":[""]}}`))
	s := schema(f)
	base := one().tree()
	f.Fuzz(func(t *testing.T, b []byte) {
		var faults []string
		inv := inventory.Parse("inventory.json", b, inventory.MaxListed, func(code, format string, args ...any) { faults = append(faults, code) })
		if !json.Valid(b) || !utf8.Valid(b) {
			if !inv.Bad || !slices.Contains(faults, "E033") {
				t.Fatalf("taken for JSON: %q", b)
			}
		}
		n := 0
		for _, e := range inv.Manifest {
			n += 1 + len(e.Paths)
		}
		if n > len(b) {
			t.Fatalf("%d entries of %d bytes", n, len(b))
		}
		files := watched{tree: tree{}, t: t}
		for name, node := range base {
			files.tree[name] = node
		}
		alg := "sha512"
		if inv.Algorithm.Value == "sha256" {
			alg = "sha256"
		}
		for _, folder := range []string{"", "v1"} {
			files.remove(join(folder, "inventory.json.sha512"))
			files.pack(folder, b, alg)
		}
		r, err := Validate(t.Context(), files, Options{Workers: 1})
		if err != nil {
			t.Fatal(err)
		}
		if r.Valid && !wider(b) && !fits(s, b) {
			t.Fatalf("valid, and the schema refuses it:\n%s", b)
		}
		for _, o := range r.Objects {
			for _, finding := range append(o.Errors, o.Warnings...) {
				if len(finding.Detail) > 2000 {
					t.Fatalf("a detail of %d bytes", len(finding.Detail))
				}
			}
		}
	})
}
