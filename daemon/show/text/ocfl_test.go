package text

import (
	"slices"
	"strings"
	"testing"

	"linecamp/verify/ocfl"
)

func TestOCFLSays(t *testing.T) {
	stray := func(name string) ocfl.Finding {
		return ocfl.Finding{Code: "E023", Path: "v1/content/" + name, Detail: "the manifest does not name this file"}
	}
	bad := ocfl.Report{Root: "/copy", Objects: []ocfl.Object{{Path: "stake-3", ID: "urn:example:stake-3", Valid: true},
		{Path: "stake-4", ID: "urn:example:stake-4", Errors: []ocfl.Finding{stray("1"), stray("2"), stray("3"), stray("4"), stray("5\x1b[31m"), stray("6"), stray("7"),
			{Code: "E092", Path: "v1/content/a.txt", Detail: "v1/inventory.json names this file, and it is not there"}}}},
		Warnings: []ocfl.Finding{{Code: "W016", Path: "extensions/our-own", Detail: "no extension is registered under this name"}}}
	const said = `/copy is NOT valid as an OCFL storage root: 1 of 2 objects not valid.

Errors in stake-4 (urn:example:stake-4):
  E023  stake-4/v1/content/1: the manifest does not name this file
  E023  stake-4/v1/content/2: the manifest does not name this file
  E023  stake-4/v1/content/3: the manifest does not name this file
  E023  stake-4/v1/content/4: the manifest does not name this file
  E023  stake-4/v1/content/5\u{1b}[31m: the manifest does not name this file
  E023  and 2 more
  E092  stake-4/v1/content/a.txt: v1/inventory.json names this file, and it is not there

Warnings, which do not make it invalid:
  W016  extensions/our-own: no extension is registered under this name
`
	for name, c := range map[string]struct {
		r    ocfl.Report
		want string
	}{
		"root":       {ocfl.Report{Root: "/copy", Valid: true, Objects: bad.Objects}, "/copy is valid: an OCFL storage root with 2 objects.\n"},
		"object":     {ocfl.Report{Root: "/copy", Valid: true, Objects: []ocfl.Object{{Path: ".", Valid: true}}}, "/copy is valid: an OCFL object.\n"},
		"empty root": {ocfl.Report{Root: "/copy", Valid: true}, "/copy is valid: an OCFL storage root without objects.\n"},
		"faults":     {bad, said},
		"no object": {ocfl.Report{Root: "/copy", Objects: []ocfl.Object{{Path: ".", Errors: []ocfl.Finding{{Code: "E063", Detail: "it has no inventory"}}}}},
			"/copy is NOT valid as an OCFL object.\n\nErrors in the object .:\n  E063  .: it has no inventory\n"},
	} {
		var b strings.Builder
		c.r.Objects = slices.Clone(c.r.Objects)
		if c.r.Valid {
			for i := range c.r.Objects {
				c.r.Objects[i].Errors = nil
			}
		}
		if Print(&b, c.r); b.String() != c.want {
			t.Errorf("%s:\n%s", name, &b)
		}
	}
}
