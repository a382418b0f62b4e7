package ocfl

import "strings"

// Cases for storage roots (specification section 4), from a root that keeps
// every rule.
var rootCases = []struct {
	name string
	spec string // of root and objects; "" is 1.1
	tree func(tree)
	want string
}{
	{name: "valid"},
	{name: "valid, 1.0", spec: "1.0"},
	{name: "valid, nothing in it", tree: func(t tree) { t.remove("stake-3"); t.remove("stake-4") }},
	{name: "valid, files of any kind at the top (E087)", tree: func(t tree) { t.file("ocfl_1.1.md", "the text"); t.file("1=ocfl_1.1", "?"); t.file("README", "") }},
	{name: "valid, a hierarchy", tree: func(t tree) { t.move("stake-3", "west/far/stake-3"); t.move("stake-4", "west/stake-4") }},
	{name: "valid, folders named like versions", tree: func(t tree) { t.move("stake-3", "v1/v1"); t.move("stake-4", "v2/v1") }},
	{name: "valid, a file at the top named like an inventory", tree: func(t tree) { t.file("inventory.json", "{}") }},
	{name: "valid, layout 0002", tree: func(t tree) {
		t.file("ocfl_layout.json", `{"extension": "0002-flat-direct-storage-layout", "description": "the id"}`)
		t.move("stake-3", "urn:example:stake-3")
		t.move("stake-4", "urn:example:stake-4")
	}},
	{name: "valid, layout 0006", tree: func(t tree) { layout0006(t, "Example:") }},
	{name: "valid, a layout that is not worked out", tree: func(t tree) {
		t.file("ocfl_layout.json", `{"extension": "0004-hashed-n-tuple-storage-layout", "description": "by hash"}`)
	}},
	{name: "valid, objects of 1.0 in a root of 1.1", tree: func(t tree) {
		b := one()
		b.spec, b.id = "1.0", "urn:example:stake-5"
		t.under("stake-5", b.tree())
	}},

	{name: "one id in two places", tree: func(t tree) {
		t.remove("stake-4")
		t.under("stake-5", with(two(), func(b *build) { b.id = "urn:example:stake-3" }).tree())
	}, want: "E037 E083"},
	{name: "no declaration", tree: func(t tree) { t.remove("0=ocfl_1.1") }, want: "E069"},
	{name: "layout not JSON", tree: func(t tree) { t.file("ocfl_layout.json", "flat") }, want: "E070"},
	{name: "layout not UTF-8", tree: func(t tree) {
		t.file("ocfl_layout.json", "{\"extension\": \"0004-hashed-n-tuple-storage-layout\", \"description\": \"\xe9\"}")
	}, want: "E070"},
	{name: "layout without description", tree: func(t tree) { t.file("ocfl_layout.json", `{"extension": "0004-hashed-n-tuple-storage-layout"}`) }, want: "E070"},
	{name: "layout without extension", tree: func(t tree) { t.file("ocfl_layout.json", `{"description": "flat"}`) }, want: "E070"},
	{name: "layout not registered", tree: func(t tree) { t.file("ocfl_layout.json", `{"extension": "our-own", "description": "flat"}`) }, want: "E071"},
	{name: "layout a number", tree: func(t tree) { t.file("ocfl_layout.json", `{"extension": 4, "description": "flat"}`) }, want: "E071"},
	{name: "a folder of other files", tree: func(t tree) { t.file("cards/2019/x.txt", "") }, want: "E072 E088"},
	{name: "an empty folder", tree: func(t tree) { t.folder("west/far") }, want: "E073"},
	{name: "an empty version folder", tree: func(t tree) { t.remove("stake-3"); t.under("stake-3", emptied()) }, want: "E073 W010"},
	{name: "an empty folder among extensions", tree: func(t tree) { t.folder("extensions/0005-mutable-head/empty") }, want: "E073"},
	{name: "extensions empty", tree: func(t tree) { t.folder("extensions") }, want: "E073"},
	{name: "an object's extensions empty", tree: func(t tree) { t.folder("stake-3/extensions") }, want: "E073"},
	{name: "a root in a root", tree: func(t tree) { t.under("west", root("1.1")) }, want: "E074"},
	{name: "two declarations", tree: func(t tree) { t.file("0=ocfl_1.0", "ocfl_1.0\n") }, want: "E076"},
	{name: "declaration without T=", tree: func(t tree) { t.move("0=ocfl_1.1", "ocfl_1.1") }, want: "E077"},
	{name: "declaration with T=1", tree: func(t tree) { t.move("0=ocfl_1.1", "1=ocfl_1.1") }, want: "E078"},
	{name: "declaration without version", tree: func(t tree) { t.move("0=ocfl_1.1", "0=ocfl") }, want: "E079"},
	{name: "declaration of a version unknown", tree: func(t tree) { t.remove("0=ocfl_1.1"); t.file("0=ocfl_3.0", "ocfl_3.0\n") }, want: "E079"},
	{name: "declaration with more in it", tree: func(t tree) { t.file("0=ocfl_1.1", "ocfl_1.1\n\n") }, want: "E080"},
	{name: "an object of a later version", spec: "1.0", tree: func(t tree) { t.remove("stake-3"); t.under("stake-3", one().tree()) }, want: "E081"},
	{name: "a file on the way to objects", tree: func(t tree) {
		t.move("stake-3", "west/stake-3")
		t.move("stake-4", "west/stake-4")
		t.file("west/x.txt", "")
	}, want: "E084"},
	{name: "a branch without object", tree: func(t tree) {
		t.move("stake-3", "west/stake-3")
		t.move("stake-4", "west/stake-4")
		t.file("west/cards/x.txt", "")
	}, want: "E072 E085"},
	{name: "1.0: a file among extensions", spec: "1.0", tree: func(t tree) { t.file("extensions/x.txt", "") }, want: "E086"},
	{name: "a link", tree: func(t tree) { t["stake-5"] = node{kind: Link} }, want: "E090"},
	{name: "a link in a hierarchy", tree: func(t tree) {
		t.move("stake-3", "west/stake-3")
		t.move("stake-4", "west/stake-4")
		t["west/stake-5"] = node{kind: Link}
	}, want: "E090"},
	{name: "one file in two objects by a hard link", tree: func(t tree) {
		t["stake-3/v1/content/a.txt"] = node{data: []byte(aText), same: "1"}
		t["stake-4/v1/content/a.txt"] = t["stake-3/v1/content/a.txt"]
	}, want: "E090"},
	{name: "a file among extensions", tree: func(t tree) { t.file("extensions/x.txt", "") }, want: "E112"},
	{name: "an object that is not valid", tree: func(t tree) { t.remove("stake-4/v1/content/a.txt") }, want: "E092"},
	{name: "an object elsewhere than layout 0002 says", tree: func(t tree) {
		t.file("ocfl_layout.json", `{"extension": "0002-flat-direct-storage-layout", "description": "the id"}`)
		t.move("stake-3", "urn:example:stake-3")
	}, want: "W014"},
	{name: "an object elsewhere than layout 0006 says", tree: func(t tree) { layout0006(t, ":"); t.move("stake-3", "stake-7") }, want: "W014"},
	{name: "objects at the top and in a hierarchy", tree: func(t tree) { t.move("stake-3", "west/stake-3") }, want: "W015"},
	{name: "an extension not registered", tree: func(t tree) { t.file("extensions/our-own/config.json", "{}") }, want: "W016"},
	{name: "1.0: an extension not registered", spec: "1.0", tree: func(t tree) { t.file("extensions/our-own/config.json", "{}") }, want: "W013"},
}

func layout0006(t tree, delimiter string) {
	t.file("ocfl_layout.json", `{"extension": "0006-flat-omit-prefix-storage-layout", "description": "without prefix"}`)
	t.file("extensions/0006-flat-omit-prefix-storage-layout/config.json", strings.ReplaceAll(`{"extensionName": "0006-flat-omit-prefix-storage-layout", "delimiter": "D"}`, "D", delimiter))
}

// emptied is an object whose second version has nothing in its folder.
func emptied() tree {
	b := quiet()
	b.id = "urn:example:stake-3"
	t := b.tree()
	t.remove("v2")
	t.folder("v2")
	return t
}
