package manifest

import (
	"bytes"
	"encoding/json"
	"errors"
	"reflect"
	"strings"
	"testing"
	"unicode/utf8"
)

// Whatever the bytes: no panic, a named error or a value, and a value that is
// written in one way only. What our reader takes, the standard library's takes.

func FuzzDecodeInventory(f *testing.F) {
	f.Add([]byte(expand(two)))
	f.Add(sample(f).Encode())
	f.Add([]byte(strings.ReplaceAll(expand(two), "\n", "")))
	f.Fuzz(func(t *testing.T, b []byte) {
		inv, err := DecodeInventory(b)
		if err != nil {
			if !errors.Is(err, ErrInventory) || inv != nil {
				t.Fatal(err)
			}
			return
		}
		if !json.Valid(b) {
			t.Fatal("that is not JSON")
		}
		encoded := inv.Encode()
		again, err := DecodeInventory(encoded)
		if err != nil {
			t.Fatalf("%v\n%s", err, encoded)
		}
		if !sameInventory(inv, again) || !bytes.Equal(again.Encode(), encoded) {
			t.Fatalf("another inventory after encoding:\n%s", encoded)
		}
		for n := 1; n <= inv.Head(); n++ {
			if _, err := DecodeInventory(inv.Until(n).Encode()); err != nil {
				t.Fatalf("Until(%d): %v", n, err)
			}
		}
		inv.FullHistory()
		inv.EveryVersion()
	})
}

func FuzzDecodeRecord(f *testing.F) {
	f.Add(fullRecord().Encode())
	f.Add((&Record{Base: "caf\xe9"}).Encode())
	f.Fuzz(func(t *testing.T, b []byte) {
		r, err := DecodeRecord(b)
		if err != nil {
			if !errors.Is(err, ErrRecord) || r != nil {
				t.Fatal(err)
			}
			return
		}
		if !json.Valid(b) {
			t.Fatal("that is not JSON")
		}
		again, err := DecodeRecord(r.Encode())
		if err != nil {
			t.Fatalf("%v\n%s", err, r.Encode())
		}
		if !reflect.DeepEqual(r, again) {
			t.Fatalf("%+v became %+v", r, again)
		}
	})
}

func FuzzParseObjectID(f *testing.F) {
	f.Add(testID)
	f.Add("linecamp::")
	f.Fuzz(func(t *testing.T, s string) {
		archive, slug, err := ParseObjectID(s)
		if err != nil {
			return
		}
		if ObjectID(archive, slug) != s || CheckPath(slug) != nil || strings.Contains(slug, "/") || New(s).Slug() != slug {
			t.Fatalf("%q: %q, %q", s, archive, slug)
		}
	})
}

func FuzzSlug(f *testing.F) {
	f.Add("Windmill", "Stake 3")
	f.Add("Unfiled", "\xff")
	f.Fuzz(func(t *testing.T, pasture, site string) {
		slug := Slug(pasture, site, nil)
		if _, _, err := ParseObjectID(ObjectID(testArchive, slug)); err != nil || Unfiled(slug) {
			t.Fatalf("%q: %v", slug, err)
		}
		if Slug(pasture, site, nil) != slug {
			t.Fatal("chosen otherwise the second time")
		}
	})
}

func FuzzContentPath(f *testing.F) {
	f.Add("2019/plot.jpg", "2019/Plot.JPG")
	f.Add("caf\xe9", "_/a")
	f.Fuzz(func(t *testing.T, first, second string) {
		var taken Taken
		seen := map[string]bool{}
		for _, raw := range []string{first, second} {
			logical, _ := Logical(raw)
			if CheckPath(logical) != nil {
				continue
			}
			if !utf8.ValidString(logical) {
				t.Fatalf("%q", logical)
			}
			p := ContentPath(1, logical, sum(raw+"."), &taken)
			if !contentForm.MatchString(p) || seen[strings.ToLower(p)] {
				t.Fatalf("%q", p)
			}
			seen[strings.ToLower(p)] = true
		}
	})
}
