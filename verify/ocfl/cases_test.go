package ocfl

import (
	"bytes"
	"strings"
)

// Each case starts from an object that keeps every rule and breaks one thing of
// the specification's text (ocfl.io/1.1/spec). want is everything that is then
// found, by code; a second code is there where the same files break two rules.
type testCase struct {
	name  string
	build *build     // one() if nil
	edit  func(m)    // the newest inventory, before its sidecar is made
	tree  func(tree) // the files afterwards
	want  string
}

func version1(inv m) m   { return inv["versions"].(m)["v1"].(m) }
func state1(inv m) m     { return version1(inv)["state"].(m) }
func manifestOf(inv m) m { return inv["manifest"].(m) }
func set(key string, v any) func(m) {
	return func(inv m) { inv[key] = v }
}
func setV(key string, v any) func(m) {
	return func(inv m) { version1(inv)[key] = v }
}
func without(key string) func(m)  { return func(inv m) { delete(inv, key) } }
func withoutV(key string) func(m) { return func(inv m) { delete(version1(inv), key) } }
func fixities(alg string, block any) func(m) {
	return set("fixity", m{alg: block})
}
func with(b *build, change func(*build)) *build { change(b); return b }
func rawEdit(from, to string) *build {
	return with(one(), func(b *build) {
		b.raw = func(_ int, inv []byte) []byte {
			if !bytes.Contains(inv, []byte(from)) {
				panic("nothing to replace: " + from)
			}
			return bytes.ReplaceAll(inv, []byte(from), []byte(to))
		}
	})
}

var (
	aDigest = digestOf("sha512", aText)
	aPath   = "v1/content/a.txt"
	twin    = func(t tree) { t.file("v1/content/twin.txt", aText) }
	// quiet has a second version that adds no content.
	quiet = func() *build {
		return with(two(), func(b *build) { b.versions[1] = map[string]string{"a.txt": aText} })
	}
	padded = func(names ...string) *build {
		return with(one(), func(b *build) {
			b.names = names
			for len(b.versions) < len(names) {
				b.versions = append(b.versions, b.versions[0])
			}
		})
	}
)

var objectCases = []testCase{
	{name: "valid"},
	{name: "valid, two versions", build: two()},
	{name: "valid, 1.0", build: with(two(), func(b *build) { b.spec = "1.0" })},
	{name: "valid, from 1.0 to 1.1 (3.7.1)", build: with(two(), func(b *build) { b.specs = map[int]string{1: "1.0"} })},
	{name: "valid, contentDirectory (3.3.1)", build: with(two(), func(b *build) { b.dirs = map[int]string{0: "data"} })},
	{name: "valid, upper case digests (3.4)", build: with(one(), func(b *build) {
		b.raw = func(_ int, inv []byte) []byte {
			return bytes.ReplaceAll(inv, []byte(aDigest), []byte(strings.ToUpper(aDigest)))
		}
	})},
	{name: "valid, a digest with two content paths", edit: func(inv m) { manifestOf(inv)[aDigest] = []any{aPath, "v1/content/twin.txt"} }, tree: twin},
	{name: "valid, an algorithm changed between versions", build: with(two(), func(b *build) { b.algs = map[int]string{1: "sha256"} }), want: "W004"},
	{name: "valid, sha256 in every version is advised against once", build: with(two(), func(b *build) { b.alg = "sha256" }), want: "W004"},
	{name: "the newest inventory in the folder of an older version", build: two(), tree: func(t tree) {
		for _, f := range []string{"inventory.json", "inventory.json.sha512"} {
			t.file("v1/"+f, string(t["v2/"+f].data))
		}
	}, want: "E040"},
	{name: "the inventory of an older version in the folder of a newer one", build: with(two(), func(b *build) { b.versions = append(b.versions, b.versions[1]) }), tree: func(t tree) {
		for _, f := range []string{"inventory.json", "inventory.json.sha512"} {
			t.file("v2/"+f, string(t["v1/"+f].data))
		}
	}, want: "E023 E040"},
	{name: "valid, logs may be empty (3.8)", tree: func(t tree) { t.folder("logs") }},
	{name: "valid, registered extension (3.9)", tree: func(t tree) { t.file("extensions/0005-mutable-head/head/x", "x") }},
	{name: "valid, a sidecar with a tab and no line break (3.6)", tree: func(t tree) {
		t.file("inventory.json.sha512", digestOf("sha512", string(t["inventory.json"].data))+"\tinventory.json")
	}},
	{name: "valid, empty fixity (3.5.4)", edit: set("fixity", m{})},
	{name: "valid, nothing stored", build: with(one(), func(b *build) { b.versions[0] = nil })},

	{name: "a file nobody knows", tree: func(t tree) { t.file("notes.txt", "") }, want: "E001"},
	{name: "a folder nobody knows", tree: func(t tree) { t.file("vault/notes.txt", "") }, want: "E001"},
	{name: "a sidecar of another algorithm beside the right one", tree: func(t tree) { t.file("inventory.json.md5", "") }, want: "E001"},
	{name: "no declaration", tree: func(t tree) { t.remove("0=ocfl_object_1.1") }, want: "E003"},
	{name: "two declarations", tree: func(t tree) { t.file("0=ocfl_object_1.0", "ocfl_object_1.0\n") }, want: "E003"},
	{name: "a folder as declaration", tree: func(t tree) { t.move("0=ocfl_object_1.1", "0=ocfl_object_1.1/x") }, want: "E001 E003"},
	{name: "declaration without T=", tree: func(t tree) { t.move("0=ocfl_object_1.1", "ocfl_object_1.1") }, want: "E004"},
	{name: "declaration with T=1", tree: func(t tree) { t.move("0=ocfl_object_1.1", "1=ocfl_object_1.1") }, want: "E005"},
	{name: "declaration of a root", tree: func(t tree) { t.move("0=ocfl_object_1.1", "0=ocfl_1.1") }, want: "E006"},
	{name: "declaration of a version unknown", tree: func(t tree) {
		t.remove("0=ocfl_object_1.1")
		t.file("0=ocfl_object_7.3", "ocfl_object_7.3\n")
	}, want: "E006"},
	{name: "declaration without line break", tree: func(t tree) { t.file("0=ocfl_object_1.1", "ocfl_object_1.1") }, want: "E007"},
	{name: "no version", edit: func(inv m) { inv["versions"], inv["manifest"] = m{}, m{} }, tree: func(t tree) { t.remove("v1") }, want: "E008"},
	{name: "no version folder", tree: func(t tree) { t.remove("v1") }, want: "E008"},
	{name: "begins with v2", build: rawEdit(`"v1`, `"v2`), tree: func(t tree) { t.move("v1", "v2") }, want: "E009"},
	{name: "first folder gone", build: quiet(), tree: func(t tree) { t.remove("v1") }, want: "E009"},
	{name: "no v2", build: with(two(), func(b *build) {
		b.raw = func(n int, inv []byte) []byte { return bytes.ReplaceAll(inv, []byte(`"v2`), []byte(`"v3`)) }
	}), tree: func(t tree) { t.move("v2", "v3") }, want: "E010"},
	{name: "folder of v2 gone", build: two(), tree: func(t tree) { t.remove("v2") }, want: "E010"},
	{name: "v10 where v01 was", build: padded("v01", "v02", "v03", "v04", "v05", "v06", "v07", "v08", "v09", "v10"), want: "E011 W001"},
	{name: "padded after not", build: padded("v1", "v02"), want: "E012"},
	{name: "padded to another length", build: padded("v01", "v002"), want: "E012 W001"},
	{name: "content path of another folder name", build: rawEdit(`"v1/content/a`, `"v01/content/a`), want: "E014 E023"},
	{name: "content path in a version to come", edit: func(inv m) { manifestOf(inv)[aDigest] = []any{aPath, "v2/content/a.txt"} }, want: "E014"},
	{name: "file beside the inventory of a version", tree: func(t tree) { t.file("v1/readme.txt", "") }, want: "E015"},
	{name: "no content folder", tree: func(t tree) { t.remove("v1/content") }, want: "E016"},
	{name: "contentDirectory with a slash", edit: set("contentDirectory", "a/b"), want: "E017"},
	{name: "contentDirectory ..", edit: set("contentDirectory", ".."), want: "E018"},
	{name: "contentDirectory .", edit: set("contentDirectory", "."), want: "E018"},
	{name: "contentDirectory empty", edit: set("contentDirectory", ""), want: "E108"},
	{name: "contentDirectory not from the first version on", build: with(two(), func(b *build) { b.dirs = map[int]string{2: "content"} }), want: "E019"},
	{name: "contentDirectory changes", build: with(two(), func(b *build) { b.dirs = map[int]string{1: "data", 2: "files"} }), want: "E020"},
	{name: "contentDirectory goes", build: with(two(), func(b *build) { b.dirs = map[int]string{1: "data"} }), want: "E020"},
	{name: "another content folder without the key", build: rawEdit(`"v1/content`, `"v1/data`), tree: func(t tree) { t.move("v1/content", "v1/data") }, want: "E021 W002"},
	{name: "a file the manifest lacks", tree: func(t tree) { t.file("v1/content/more.txt", "") }, want: "E023"},
	{name: "a file the manifest of its own version lacks", build: two(), tree: func(t tree) {
		twin(t)
		for _, f := range []string{"", "v2"} {
			t.rewrite(f, func(inv m) { manifestOf(inv)[aDigest] = []any{aPath, "v1/content/twin.txt"} })
		}
	}, want: "E023"},
	{name: "empty folder in the content", tree: func(t tree) { t.folder("v1/content/empty/deeper") }, want: "E024"},
	{name: "content by md5", build: with(one(), func(b *build) { b.alg = "md5" }), want: "E025"},
	{name: "digestAlgorithm a number", edit: set("digestAlgorithm", 512), want: "E025"},
	{name: "sha1 not in hex", edit: fixities("sha1", m{strings.Repeat("z", 40): []any{aPath}}), want: "E029"},
	{name: "sha256 cut short", edit: fixities("sha256", m{digestOf("sha256", aText)[:40]: []any{aPath}}), want: "E030"},
	{name: "sha512 in the manifest not in hex", build: rawEdit(aDigest, strings.Repeat("z", 128)), want: "E031"},
	{name: "blake2b-512 not in hex", edit: fixities("blake2b-512", m{"=": []any{aPath}}), want: "E032"},
	{name: "not JSON", build: rawEdit(`"head":`, `"head"`), want: "E033"},
	{name: "not an object", build: with(one(), func(b *build) { b.raw = func(int, []byte) []byte { return []byte("[]") } }), want: "E033"},
	{name: "empty file", build: with(one(), func(b *build) { b.raw = func(int, []byte) []byte { return nil } }), want: "E033"},
	{name: "not UTF-8", build: rawEdit("office", "offic\xe9"), want: "E033"},
	{name: "half a surrogate pair", build: rawEdit("round", `\ud800`), want: "E033"},
	{name: "something after the end", build: with(one(), func(b *build) { b.raw = func(_ int, inv []byte) []byte { return append(inv, '{') } }), want: "E033"},
	{name: "byte-order mark", build: with(one(), func(b *build) { b.raw = func(_ int, inv []byte) []byte { return append([]byte("\ufeff"), inv...) } }), want: "E033"},
	{name: "a key twice", build: rawEdit(`"head":`, `"id": "urn:other", "head":`), want: "E033"},
	{name: "a version twice", build: rawEdit(`"versions": {`, `"versions": {"v1": {},`), want: "E033 E048 W007"},
	{name: "a digest twice in a state", build: rawEdit(`"state": {`, `"state": {"`+aDigest+`": ["c.txt"],`), want: "E033"},
	{name: "contentDirectory a number", edit: set("contentDirectory", 1), want: "E033"},
	{name: "a state that is an array", edit: setV("state", []any{}), want: "E033"},
	{name: "an address that is a number", edit: setV("user", m{"name": "office", "address": 1}), want: "E033"},
	{name: "nested beyond reason", build: rawEdit(`"round"`, strings.Repeat("[", 1000)+strings.Repeat("]", 1000)), want: "E033"},
	{name: "Inventory.json", tree: func(t tree) { t.move("inventory.json", "Inventory.json") }, want: "E034"},
	{name: "INVENTORY.JSON in a version", build: two(), tree: func(t tree) { t.move("v1/inventory.json", "v1/INVENTORY.JSON") }, want: "E034 W010"},
	{name: "a sidecar alone in a version", build: two(), tree: func(t tree) { t.remove("v1/inventory.json") }, want: "E015 W010"},
	{name: "a content path with other slashes", build: rawEdit(aPath, `v1\\content\\a.txt`), want: "E023 E035"},
	{name: "no id", edit: without("id"), want: "E036"},
	{name: "no type", edit: without("type"), want: "E036"},
	{name: "no digestAlgorithm", edit: without("digestAlgorithm"), want: "E036"},
	{name: "no head", edit: without("head"), want: "E036"},
	{name: "empty id", edit: set("id", ""), want: "E037"},
	{name: "id a number", edit: set("id", 3), want: "E037"},
	{name: "type of another version", edit: set("type", "https://ocfl.io/1.0/spec/#inventory"), want: "E038"},
	{name: "type of nothing known", edit: set("type", "https://ocfl.io/1.1/spec/"), want: "E038"},
	{name: "digests of another algorithm", build: with(one(), func(b *build) { b.alg = "sha256"; b.edit = func(_ int, inv m) { inv["digestAlgorithm"] = "sha512" } }), want: "E039"},
	{name: "head is not the newest", build: with(two(), func(b *build) {
		b.edit = func(n int, inv m) {
			if n == 2 {
				inv["head"] = "v1"
			}
		}
	}), want: "E040"},
	{name: "head a number", edit: set("head", 1), want: "E040"},
	{name: "head of an old inventory", build: two(), tree: func(t tree) { t.rewrite("v1", set("head", "v2")) }, want: "E040"},
	{name: "no manifest", edit: without("manifest"), want: "E041"},
	{name: "content path not from the top", build: rawEdit(aPath, "content/a.txt"), want: "E023 E042"},
	{name: "no versions", edit: without("versions"), want: "E043"},
	{name: "Versions", build: rawEdit(`"versions"`, `"Versions"`), want: "E044"},
	{name: "versions an array", edit: set("versions", []any{}), want: "E045"},
	{name: "a version with another name", edit: func(inv m) { inv["versions"].(m)["one"] = version1(inv) }, want: "E046"},
	{name: "a folder the inventory does not have", build: quiet(), tree: func(t tree) { t.pack("", t["v1/inventory.json"].data, "sha512") }, want: "E046"},
	{name: "a folder the inventory calls otherwise", build: rawEdit(`"v1"`, `"v01"`), want: "E046"},
	{name: "a version that is a string", edit: func(inv m) { inv["versions"].(m)["v1"] = "v1" }, want: "E047"},
	{name: "no created", edit: withoutV("created"), want: "E048"},
	{name: "no state", edit: withoutV("state"), want: "E048"},
	{name: "created without time zone", edit: setV("created", "2019-06-21T10:00:00"), want: "E049"},
	{name: "created on a day there is not", edit: setV("created", "2019-02-29T10:00:00Z"), want: "E049"},
	{name: "created a number", edit: setV("created", 2019), want: "E049"},
	{name: "state with a digest the manifest lacks", edit: func(inv m) { state1(inv)[strings.Repeat("0", 128)] = []any{"c.txt"} }, want: "E050"},
	{name: "state with a digest in another case", edit: func(inv m) {
		s := state1(inv)
		s[strings.ToUpper(aDigest)] = s[aDigest]
		delete(s, aDigest)
	}, want: "E050"},
	{name: "state with a path alone", edit: func(inv m) { state1(inv)[aDigest] = "a.txt" }, want: "E051"},
	{name: "state with a number as path", edit: func(inv m) { state1(inv)[aDigest] = []any{"a.txt", 7} }, want: "E051"},
	{name: "logical path ..", edit: func(inv m) { state1(inv)[aDigest] = []any{"../etc/passwd"} }, want: "E052"},
	{name: "logical path .", edit: func(inv m) { state1(inv)[aDigest] = []any{"./a.txt"} }, want: "E052"},
	{name: "logical path with nothing between slashes", edit: func(inv m) { state1(inv)[aDigest] = []any{"a//b"} }, want: "E052"},
	{name: "logical path empty", edit: func(inv m) { state1(inv)[aDigest] = []any{""} }, want: "E052"},
	{name: "logical path from the top", edit: func(inv m) { state1(inv)[aDigest] = []any{"/etc/passwd"} }, want: "E053"},
	{name: "logical path of a folder", edit: func(inv m) { state1(inv)[aDigest] = []any{"a.txt/"} }, want: "E053"},
	{name: "user without name", edit: setV("user", m{"address": "mailto:office@example.org"}), want: "E054"},
	{name: "user a string", edit: setV("user", "office"), want: "E054"},
	{name: "Fixity", edit: set("Fixity", m{}), want: "E055"},
	{name: "fixity by an algorithm unknown", edit: fixities("crc7", m{"00": []any{aPath}}), want: "E056"},
	{name: "fixity by an algorithm an unknown extension may define (3.4)", edit: fixities("crc7", m{"00": []any{aPath}}), tree: func(t tree) { t.file("extensions/our-digests/config.json", "{}") }, want: "W013"},
	{name: "fixity block an array", edit: fixities("md5", []any{}), want: "E057"},
	{name: "fixity with a path alone", edit: fixities("md5", m{digestOf("md5", aText): aPath}), want: "E057"},
	{name: "fixity of a file the manifest lacks", edit: fixities("md5", m{digestOf("md5", aText): []any{"v1/content/c.txt"}}), want: "E057"},
	{name: "fixity md5 not in hex", edit: fixities("md5", m{"z": []any{aPath}}), want: "E057"},
	{name: "no sidecar", tree: func(t tree) { t.remove("inventory.json.sha512") }, want: "E058"},
	{name: "no sidecar in a version", tree: func(t tree) { t.remove("v1/inventory.json.sha512") }, want: "E058"},
	{name: "sidecar of another algorithm", tree: func(t tree) { t.move("inventory.json.sha512", "inventory.json.sha256") }, want: "E059"},
	{name: "sidecar with another digest", tree: func(t tree) { t.file("inventory.json.sha512", aDigest+" inventory.json\n") }, want: "E060"},
	{name: "sidecar without name", tree: func(t tree) { t.file("inventory.json.sha512", aDigest+"\n") }, want: "E061"},
	{name: "sidecar with a star", tree: func(t tree) { t.file("inventory.json.sha512", aDigest+" *inventory.json\n") }, want: "E061"},
	{name: "sidecar beyond all size", tree: func(t tree) { t.file("inventory.json.sha512", aDigest+strings.Repeat(" ", 1<<20)+"inventory.json\n") }, want: "E061"},
	{name: "no inventory", tree: func(t tree) { t.remove("inventory.json") }, want: "E063"},
	{name: "the inventory at the top differs", build: two(), tree: func(t tree) { t.rewrite("", setV("message", "other words")) }, want: "E064 W011"},
	{name: "an old inventory with another state", build: two(), tree: func(t tree) {
		t.rewrite("v1", func(inv m) { state1(inv)[aDigest] = []any{"c.txt"} })
	}, want: "E066"},
	{name: "an old inventory with less", build: two(), tree: func(t tree) {
		t.rewrite("v1", func(inv m) { state1(inv)[aDigest] = []any{} })
	}, want: "E066"},
	{name: "another state where the algorithm changed", build: with(two(), func(b *build) { b.algs = map[int]string{1: "sha256"} }), tree: func(t tree) {
		t.rewrite("v1", func(inv m) {
			a, b := digestOf("sha256", aText), digestOf("sha256", bText)
			s := state1(inv)
			s[a], s[b] = s[b], s[a]
		})
	}, want: "E066 W004"},
	{name: "a file among extensions", tree: func(t tree) { t.file("extensions/readme.txt", "") }, want: "E067"},
	{name: "an object in an object", tree: func(t tree) { t.under("inner/deeper", one().tree()) }, want: "E082"},
	{name: "a pipe in the content", tree: func(t tree) { t["v1/content/pipe"] = node{kind: Special} }, want: "E089"},
	{name: "a link in the content", tree: func(t tree) { t["v1/content/link"] = node{kind: Link} }, want: "E090"},
	{name: "a link in place of a file", tree: func(t tree) { t[aPath] = node{kind: Link} }, want: "E090"},
	{name: "a link in place of a version", tree: func(t tree) { t.remove("v1"); t["v1"] = node{kind: Link} }, want: "E008 E090"},
	{name: "a hard link", edit: func(inv m) { manifestOf(inv)[aDigest] = []any{aPath, "v1/content/twin.txt"} }, tree: func(t tree) {
		t[aPath] = node{data: []byte(aText), same: "1"}
		t["v1/content/twin.txt"] = t[aPath]
	}, want: "E090"},
	{name: "a file gone", tree: func(t tree) { t.remove(aPath) }, want: "E092"},
	{name: "a file altered", tree: func(t tree) { t.file(aPath, "First photo\n") }, want: "E092"},
	{name: "a manifest with a path alone", edit: func(inv m) { manifestOf(inv)[aDigest] = aPath }, want: "E023 E092"},
	{name: "a manifest without path", edit: func(inv m) { manifestOf(inv)[aDigest] = []any{} }, want: "E023 E092"},
	{name: "an old manifest with another digest", build: two(), tree: func(t tree) {
		t.rewrite("v1", func(inv m) {
			a, b := aDigest, digestOf("sha512", bText)
			man := manifestOf(inv)
			man[a], man[b] = man[b], man[a]
		})
	}, want: "E092"},
	{name: "fixity of other bytes", edit: fixities("md5", m{digestOf("md5", bText): []any{aPath}}), want: "E093"},
	{name: "fixity of another size", edit: fixities("size", m{"11": []any{aPath}}), want: "E093"},
	{name: "message a number", edit: setV("message", 5), want: "E094"},
	{name: "a logical path twice", edit: func(inv m) { state1(inv)[aDigest] = []any{"a.txt", "sub/b.txt"} }, want: "E095"},
	{name: "a logical path below a file", edit: func(inv m) { state1(inv)[aDigest] = []any{"a.txt", "a.txt-1", "a.txt/b"} }, want: "E095"},
	{name: "a digest in both cases", edit: func(inv m) { manifestOf(inv)[strings.ToUpper(aDigest)] = []any{"v1/content/twin.txt"} }, tree: twin, want: "E096"},
	{name: "a fixity digest in both cases", edit: fixities("md5", m{digestOf("md5", aText): []any{aPath}, strings.ToUpper(digestOf("md5", aText)): []any{aPath}}), want: "E097"},
	{name: "a number as content path", edit: func(inv m) { manifestOf(inv)[aDigest] = []any{aPath, 1} }, want: "E098"},
	{name: "a content path that climbs", edit: func(inv m) { manifestOf(inv)[aDigest] = []any{aPath, "v1/content/../../../etc/passwd"} }, want: "E099"},
	{name: "a content path from the top", edit: func(inv m) { manifestOf(inv)[aDigest] = []any{aPath, "/etc/passwd"} }, want: "E100"},
	{name: "a content path of a folder", edit: func(inv m) { manifestOf(inv)[aDigest] = []any{aPath, "v1/content/sub/"} }, want: "E100"},
	{name: "a content path twice", edit: func(inv m) { manifestOf(inv)[aDigest] = []any{aPath, aPath} }, want: "E101"},
	{name: "a content path below a file", edit: func(inv m) { manifestOf(inv)[aDigest] = []any{aPath, aPath + "/b"} }, want: "E092 E101"},
	{name: "a key unknown", edit: set("color", "red"), want: "E102"},
	{name: "a key unknown in a version", edit: setV("color", []any{m{"a": 1.5e3}, nil, true, false}), want: "E102"},
	{name: "a key unknown in a user", edit: setV("user", m{"name": "office", "address": "mailto:office@example.org", "desk": 1}), want: "E102"},
	{name: "back to an older specification", build: with(two(), func(b *build) { b.spec, b.specs = "1.0", map[int]string{1: "1.1"} }), want: "E103"},
	{name: "a version folder without v", tree: func(t tree) { t.file("2/content/a.txt", "") }, want: "E104"},
	{name: "version 0", tree: func(t tree) { t.file("v0/content/a.txt", "") }, want: "E105"},
	{name: "version 1.1", tree: func(t tree) { t.file("v1.1/content/a.txt", "") }, want: "E105"},
	{name: "manifest an array", edit: set("manifest", []any{}), want: "E106"},
	{name: "a manifest with what no state uses", edit: func(inv m) { manifestOf(inv)[digestOf("sha512", "more")] = []any{"v1/content/more.txt"} }, tree: func(t tree) { t.file("v1/content/more.txt", "more") }, want: "E107"},
	{name: "another id before", build: two(), tree: func(t tree) { t.rewrite("v1", set("id", "urn:example:other")) }, want: "E110"},
	{name: "fixity null", edit: set("fixity", nil), want: "E111"},
	{name: "fixity an array", edit: set("fixity", []any{}), want: "E111"},

	{name: "padded", build: padded("v001", "v002"), want: "W001"},
	{name: "another folder in a version", tree: func(t tree) { t.file("v1/drafts/x", "") }, want: "W002"},
	{name: "a content folder for nothing", build: quiet(), tree: func(t tree) { t.folder("v2/content") }, want: "W003"},
	{name: "sha256", build: with(two(), func(b *build) { b.alg = "sha256" }), want: "W004"},
	{name: "id no URI", edit: set("id", "stake 3"), want: "W005"},
	{name: "no message", edit: withoutV("message"), want: "W007"},
	{name: "no user", edit: withoutV("user"), want: "W007"},
	{name: "no address", edit: setV("user", m{"name": "office"}), want: "W008"},
	{name: "address no URI", edit: setV("user", m{"name": "office", "address": "office@example.org"}), want: "W009"},
	{name: "a version without inventory", build: two(), tree: func(t tree) { t.remove("v1/inventory.json"); t.remove("v1/inventory.json.sha512") }, want: "W010"},
	{name: "an old inventory with other words", build: two(), tree: func(t tree) { t.rewrite("v1", setV("message", "other words")) }, want: "W011"},
	{name: "an old inventory with another user", build: two(), tree: func(t tree) { t.rewrite("v1", setV("user", m{"name": "barn"})) }, want: "W011"},
	{name: "an extension not registered", tree: func(t tree) { t.file("extensions/our-own/config.json", "{}") }, want: "W013"},

	// What 1.0 calls otherwise, or does not ask for.
	{name: "1.0: a version folder without v", build: with(one(), func(b *build) { b.spec = "1.0" }), tree: func(t tree) { t.file("2/content/a.txt", "") }, want: "E001"},
	{name: "1.0: manifest an array", build: with(one(), func(b *build) { b.spec = "1.0" }), edit: set("manifest", []any{}), want: "E033"},
	{name: "1.0: a manifest with what no state uses", build: with(one(), func(b *build) { b.spec = "1.0" }), edit: func(inv m) { manifestOf(inv)[digestOf("sha512", "more")] = []any{"v1/content/more.txt"} }, tree: func(t tree) { t.file("v1/content/more.txt", "more") }},
	{name: "1.0: another id before", build: with(two(), func(b *build) { b.spec = "1.0" }), tree: func(t tree) { t.rewrite("v1", set("id", "urn:example:other")) }, want: "E037"},
	{name: "1.0: fixity null", build: with(one(), func(b *build) { b.spec = "1.0" }), edit: set("fixity", nil), want: "E057"},
	{name: "1.0: type of 1.1", build: with(one(), func(b *build) { b.spec = "1.0"; b.specs = map[int]string{1: "1.1"} }), want: "E038"},
}
