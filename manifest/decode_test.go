package manifest

import (
	"bytes"
	"errors"
	"reflect"
	"strings"
	"testing"

	"linecamp/manifest/names"
)

// two is a small inventory that has a bit of everything; the digests are short
// names until expand makes them real.
const two = `{
  "digestAlgorithm": "sha256",
  "head": "v2",
  "id": "linecamp:saltbush-draw:windmill--stake-3",
  "manifest": {
    "A": ["v1/content/2019/plot.jpg"],
    "B": ["v1/content/.linecamp/record.json"],
    "C": ["v2/content/2020/plot.jpg", "v2/content/left"],
    "D": ["v2/content/.linecamp/record.json"]
  },
  "type": "https://ocfl.io/1.1/spec/#inventory",
  "versions": {
    "v1": {
      "created": "2026-07-02T02:30:00Z",
      "message": "first",
      "state": {
        "A": ["2019/plot.jpg"],
        "B": [".linecamp/record.json"]
      },
      "user": {
        "address": "urn:uuid:6f0c1f3e-9d0b-4c59-8a3f-0b6e3b1c7a11",
        "name": "office"
      }
    },
    "v2": {
      "created": "2026-07-03T02:30:00Z",
      "state": {
        "A": ["2019/again.jpg", "2019/plot.jpg"],
        "C": [".linecamp/found/C", "2020/plot.jpg"],
        "D": [".linecamp/record.json"]
      }
    }
  }
}
`

// expand puts real digests in the place of the letters A to E, in the same
// order.
func expand(s string) string {
	for _, letter := range []string{"A", "B", "C", "D", "E"} {
		s = strings.ReplaceAll(s, `"`+letter+`"`, `"`+strings.Repeat(strings.ToLower(letter), 64)+`"`)
		s = strings.ReplaceAll(s, `found/`+letter, `found/`+strings.Repeat(strings.ToLower(letter), 64))
	}
	return s
}

func TestDecodeInventory(t *testing.T) {
	inv, err := DecodeInventory([]byte(expand(two)))
	if err != nil {
		t.Fatal(err)
	}
	if inv.Head() != 2 || inv.Slug() != "windmill--stake-3" || inv.Versions[0].Message != "first" ||
		inv.Versions[0].User.Name != "office" || len(inv.State(2)) != 5 || inv.State(3) != nil || inv.State(0) != nil {
		t.Errorf("%+v", inv)
	}
	if got := inv.Encode(); !bytes.Equal(got, []byte(expand(two))) {
		t.Errorf("encoded again:\n%s", got)
	}
	if got := len(inv.Paths(2)); got != 3 {
		t.Errorf("v2 stores %d paths", got)
	}
	var c Digest
	copy(c[:], bytes.Repeat([]byte{0xcc}, 32))
	if got := inv.ContentOf(2)[c]; got != "v2/content/2020/plot.jpg" {
		t.Errorf("ContentOf says %s", got)
	}
}

// Spellings that mean the same are read, and then written in the one way.
func TestDecodeInventoryOtherSpellings(t *testing.T) {
	for _, c := range []struct{ why, old, new string }{
		{"no white space", "\n", ""},
		{"carriage returns and tabs", "\n", "\r\n\t"},
		{"escapes", "2019/plot.jpg", `2019\/\u0070lot.jpg`},
		{"another order of keys", `  "digestAlgorithm": "sha256",` + "\n" + `  "head": "v2",`, `  "head": "v2", "digestAlgorithm": "sha256",`},
		{"another order of paths", `"2019/again.jpg", "2019/plot.jpg"`, `"2019/plot.jpg", "2019/again.jpg"`},
		{"another order of content paths", `"v2/content/2020/plot.jpg", "v2/content/left"`, `"v2/content/left", "v2/content/2020/plot.jpg"`},
	} {
		text := strings.ReplaceAll(two, c.old, c.new)
		if text == two {
			t.Fatalf("%s: nothing changed", c.why)
		}
		inv, err := DecodeInventory([]byte(expand(text)))
		if err != nil {
			t.Errorf("%s: %v", c.why, err)
			continue
		}
		if got := inv.Encode(); !bytes.Equal(got, []byte(expand(two))) {
			t.Errorf("%s: encoded again:\n%s", c.why, got)
		}
	}
}

func TestDecodeInventoryRefuses(t *testing.T) {
	// Each case changes the good inventory in one place. The codes are those of
	// the "OCFL 1.1 Validation Codes" published beside the specification.
	for _, c := range []struct{ why, old, new, rule string }{
		{"not JSON", "{\n  \"digest", "[\n  \"digest", "expected"},
		{"something after the end", "  }\n}\n", "  }\n}\n{}", "follows the end"},
		{"cut short", "\n  }\n}\n", "\n", "end of versions"},
		{"a comma too many", `"name": "office"` + "\n", `"name": "office",` + "\n", "expected a string"},
		{"an unknown key", `"head": "v2",`, `"head": "v2", "size": 3,`, "E102"},
		{"an unknown key of a version", `"message": "first",`, `"text": "first",`, "E102"},
		{"an unknown key of a user", `"address"`, `"mail"`, "E102"},
		{"a key in another case", `"head"`, `"Head"`, "E102"},
		{"contentDirectory", `"head": "v2",`, `"head": "v2", "contentDirectory": "content",`, "E102"},
		{"fixity", `"head": "v2",`, `"head": "v2", "fixity": {},`, "E102"},
		{"a key twice", `"head": "v2",`, `"head": "v2", "head": "v2",`, "twice"},
		{"a key twice, once escaped", `"head": "v2",`, `"head": "v2", "\u0068ead": "v2",`, "twice"},
		{"a version's key twice", `"message": "first",`, `"message": "first", "message": "first",`, "twice"},
		{"no id", `  "id": "linecamp:saltbush-draw:windmill--stake-3",` + "\n", "", "E036"},
		{"no head", `  "head": "v2",` + "\n", "", "E036"},
		{"no digestAlgorithm", `  "digestAlgorithm": "sha256",` + "\n", "", "E036"},
		{"no type", `  "type": "https://ocfl.io/1.1/spec/#inventory",` + "\n", "", "E036"},
		{"null as id", `"linecamp:saltbush-draw:windmill--stake-3"`, `null`, "expected a string"},
		{"a number as head", `"v2",`, `2,`, "expected a string"},
		{"an id of another kind", `"linecamp:saltbush-draw:windmill--stake-3"`, `"urn:example:1"`, "linecamp:ARCHIVE:SLUG"},
		{"an id that climbs", `windmill--stake-3`, `..`, "slug"},
		{"another algorithm", `"sha256"`, `"sha512"`, "E039"},
		{"another specification", `1.1/spec`, `1.0/spec`, "E038"},
		{"head too low", `"head": "v2"`, `"head": "v1"`, "E040"},
		{"head too high", `"head": "v2"`, `"head": "v3"`, "E040"},
		{"head padded", `"head": "v2"`, `"head": "v02"`, "E040"},
		{"head not a version", `"head": "v2"`, `"head": "2"`, "E040"},
		{"no version", two[strings.Index(two, `    "v1": {`):strings.Index(two, "\n  }\n}\n")], "", "E008"},
		{"v1 missing", `"v1": {`, `"v3": {`, "E009"},
		{"a version missing", `"v2": {`, `"v3": {`, "E010"},
		{"a version padded", `"v2": {`, `"v02": {`, "E046"},
		{"version zero", `"v1": {`, `"v0": {`, "E046"},
		{"a version beyond all numbers", `"v1": {`, `"v99999999999999999999": {`, "E046"},
		{"a version twice", `"v2": {`, `"v1": {`, "twice"},
		{"a version that is no object", `"v2": {`, `"v2": [`, "expected"},
		{"versions that are an array", `"versions": {`, `"versions": [`, "expected"},
		{"no created", `"created": "2026-07-03T02:30:00Z",`, "", "E048"},
		{"no state", two[strings.Index(two, `      "message"`):strings.Index(two, `      "user"`)], "", "E048"},
		{"created no time", "2026-07-03T02:30:00Z", "yesterday", "E049"},
		{"created a day only", "2026-07-03T02:30:00Z", "2026-07-03", "E049"},
		{"created no such day", "2026-07-03T02:30:00Z", "2026-02-30T02:30:00Z", "E049"},
		{"created without zone", "2026-07-03T02:30:00Z", "2026-07-03T02:30:00", "E049"},
		{"created elsewhere", "2026-07-03T02:30:00Z", "2026-07-03T02:30:00+02:00", "UTC"},
		{"created with a fraction", "2026-07-03T02:30:00Z", "2026-07-03T02:30:00.5Z", "whole seconds"},
		{"created as a number", `"2026-07-03T02:30:00Z"`, `1782959400`, "expected a string"},
		{"message an object", `"first"`, `{}`, "E094"},
		{"user without name", `,` + "\n" + `        "name": "office"`, "", "E054"},
		{"user with empty name", `"office"`, `""`, "E054"},
		{"user a string", two[strings.Index(two, `"user": {`):strings.Index(two, `    },`+"\n"+`    "v2"`)], `"user": "office"` + "\n", "expected"},
		{"a digest in capitals", `"A": ["v1`, `"` + strings.Repeat("A", 64) + `": ["v1`, "lower-case"},
		{"a digest too short", `"A": ["v1`, `"aa": ["v1`, "64"},
		{"a digest twice", `    "B": ["v1/content/.linecamp/record.json"],`, `    "B": ["v1/content/.linecamp/record.json"], "B": ["v1/content/x"],`, "E096"},
		{"a digest twice in a state", `"B": [".linecamp/record.json"]`, `"B": [".linecamp/record.json"], "B": ["x"]`, "twice"},
		{"a digest without content path", `["v1/content/2019/plot.jpg"]`, `[]`, "E092"},
		{"a content path that is no array", `["v1/content/2019/plot.jpg"]`, `"v1/content/2019/plot.jpg"`, "expected"},
		{"a content path that is a number", `["v1/content/2019/plot.jpg"]`, `[1]`, "E092"},
		{"a digest without logical path", `"A": ["2019/plot.jpg"]`, `"A": []`, "E051"},
		{"a logical path that is null", `"A": ["2019/plot.jpg"]`, `"A": [null]`, "E051"},
		{"a state's digest that is nowhere", `"A": ["2019/plot.jpg"]`, `"E": ["2019/plot.jpg"]`, "E050"},
		{"a digest that no state has", `    "B": ["v1/content/.linecamp/record.json"],`, `    "B": ["v1/content/.linecamp/record.json"], "E": ["v1/content/x"],`, "E107"},
		{"content stored after its use", `["v1/content/2019/plot.jpg"]`, `["v2/content/2019/plot.jpg"]`, "E050"},
		{"content stored before its use", `"v2/content/2020/plot.jpg", `, `"v1/content/2020/plot.jpg", `, "E107"},
		{"a content path beyond head", `"v2/content/left"`, `"v3/content/left"`, "E092"},
		{"a content path twice", `"v2/content/left"`, `"v2/content/2020/plot.jpg"`, "E101"},
		{"a content path of two digests", `"v2/content/left"`, `"v1/content/2019/plot.jpg"`, "E101"},
		{"a content path that is a folder", `"v2/content/left"`, `"v2/content/2020"`, "E101"},
		{"a content path elsewhere", `"v2/content/left"`, `"v2/left"`, "E042"},
		{"a content path in a padded version", `"v2/content/left"`, `"v02/content/left"`, "E042"},
		{"a content path of nothing", `"v2/content/left"`, `"v2/content"`, "E042"},
		{"a content path that climbs", `"v2/content/left"`, `"v2/content/../../../left"`, "E099"},
		{"a content path with a dot", `"v2/content/left"`, `"v2/content/./left"`, "E099"},
		{"a content path with nothing between slashes", `"v2/content/left"`, `"v2/content//left"`, "E099"},
		{"a content path from the top", `"v2/content/left"`, `"/v2/content/left"`, "E100"},
		{"a content path ending in a slash", `"v2/content/left"`, `"v2/content/left/"`, "E100"},
		{"an empty content path", `"v2/content/left"`, `""`, "E100"},
		{"a logical path twice", `"2019/again.jpg"`, `"2020/plot.jpg"`, "E095"},
		{"a logical path twice in one list", `"2019/again.jpg"`, `"2019/plot.jpg"`, "E095"},
		{"a logical path that is a folder", `"2019/again.jpg"`, `"2019"`, "E095"},
		{"a logical path that climbs", `"2019/again.jpg"`, `"../again.jpg"`, "E052"},
		{"a logical path from the top", `"2019/again.jpg"`, `"/etc/passwd"`, "E053"},
		{"a logical path ending in a slash", `"2019/again.jpg"`, `"2019/again/"`, "E053"},
		{"an empty logical path", `"2019/again.jpg"`, `""`, "E052"},
		{"a logical path with NUL", `"2019/again.jpg"`, `"2019\u0000"`, "NUL"},
		{"no record", `"D": [".linecamp/record.json"]`, `"D": ["record.json"]`, "has no .linecamp/record.json"},
		{"found under another name", `.linecamp/found/C`, `.linecamp/found/A`, "other bytes"},
		{"not UTF-8", `"2019/again.jpg"`, "\"2019/\xe9\"", "UTF-8"},
		{"not UTF-8, with an escape", `"2019/again.jpg"`, "\"\\n\xe9\"", "UTF-8"},
		{"half a surrogate pair", `"2019/again.jpg"`, `"\ud83d"`, "escape"},
		{"a surrogate pair the wrong way", `"2019/again.jpg"`, `"\udc00\ud83d"`, "escape"},
		{"an escape that is none", `"2019/again.jpg"`, `"\x41"`, "escape"},
		{"a raw newline in a string", `"2019/again.jpg"`, "\"a\nb\"", "control character"},
		{"a byte-order mark", "{\n  \"digest", "\ufeff{\n  \"digest", "expected"},
	} {
		text := strings.Replace(two, c.old, c.new, 1)
		if text == two {
			t.Fatalf("%s: nothing changed", c.why)
		}
		_, err := DecodeInventory([]byte(expand(text)))
		if !errors.Is(err, ErrInventory) || !strings.Contains(err.Error(), c.rule) {
			t.Errorf("%s: got %v; want ErrInventory that names %q", c.why, err, c.rule)
		}
	}
	for _, text := range []string{"", " ", "null", `"`, "{", `{"`, `{"head"`, `{"head":`, `{}`, "\x00", strings.Repeat("[", 1<<20), strings.Repeat(`{"versions":`, 1<<18)} {
		if _, err := DecodeInventory([]byte(text)); !errors.Is(err, ErrInventory) {
			t.Errorf("%q: got %v", names.Clip(text), err)
		}
	}
}

// No beginning of an inventory is an inventory.
func TestDecodeInventoryCutShort(t *testing.T) {
	whole := expand(two)
	for n := range len(whole) - 1 { // without the last newline it still is whole
		if _, err := DecodeInventory([]byte(whole[:n])); !errors.Is(err, ErrInventory) {
			t.Fatalf("the first %d bytes: %v", n, err)
		}
	}
}

// Sizes beyond what a reader takes are refused before they cost anything.
func TestDecodeLimits(t *testing.T) {
	if _, err := decodeInventory([]byte(expand(two)), 7); err != nil {
		t.Error(err)
	}
	if _, err := decodeInventory([]byte(expand(two)), 6); !errors.Is(err, ErrInventory) || !strings.Contains(err.Error(), "more than 6 paths") {
		t.Errorf("seven paths, six allowed: %v", err)
	}
	if _, err := DecodeInventory(make([]byte, MaxInventory+1)); !errors.Is(err, ErrInventory) || !strings.Contains(err.Error(), "more than") {
		t.Error(err)
	}
	if _, err := DecodeRecord(make([]byte, MaxRecord+1)); !errors.Is(err, ErrRecord) || !strings.Contains(err.Error(), "more than") {
		t.Error(err)
	}
}

func TestUntil(t *testing.T) {
	inv, err := DecodeInventory([]byte(expand(two)))
	if err != nil {
		t.Fatal(err)
	}
	then := inv.Until(1)
	if _, err := DecodeInventory(then.Encode()); err != nil {
		t.Error(err)
	}
	if then.Head() != 1 || len(then.Content) != 2 {
		t.Errorf("%+v", then)
	}
	if inv.Until(2) != inv || inv.Until(0).Encode() != nil || !reflect.DeepEqual(New(inv.ID).Encode(), []byte(nil)) {
		t.Error("the ends of Until")
	}
}

func TestSidecar(t *testing.T) {
	inventory := []byte("abc")
	side := Sidecar(inventory)
	// Source: FIPS 180-4 for the digest, OCFL 1.1 section 3.7 for the form.
	if want := "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad  inventory.json\n"; string(side) != want {
		t.Fatalf("%q", side)
	}
	if err := CheckSidecar(inventory, side); err != nil {
		t.Error(err)
	}
	for _, c := range []struct {
		why, inventory, sidecar, code string
	}{
		{"other bytes", "abd", string(side), "E060"},
		{"empty", "abc", "", "E061"},
		{"cut short", "abc", string(side[:40]), "E061"},
		{"no newline", "abc", string(side[:len(side)-1]), "E061"},
		{"two lines", "abc", string(side) + string(side), "E061"},
		{"capitals", "abc", strings.ToUpper(string(side[:64])) + string(side[64:]), "E061"},
		{"one space", "abc", strings.Replace(string(side), "  ", " ", 1), "E061"},
		{"another file", "abc", strings.Replace(string(side), "inventory", "record", 1), "E061"},
	} {
		if err := CheckSidecar([]byte(c.inventory), []byte(c.sidecar)); !errors.Is(err, ErrSidecar) || !strings.Contains(err.Error(), c.code) {
			t.Errorf("%s: %v", c.why, err)
		}
	}
}
