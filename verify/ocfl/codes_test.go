package ocfl

import (
	"flag"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
)

var writeCodes = flag.Bool("write-codes", false, "write CODES.md anew")

// CODES.md says of every code of the published list which cases try it, or why
// none can.
func TestTableOfCodes(t *testing.T) {
	by := map[string][]string{}
	for _, c := range objectCases {
		for _, code := range strings.Fields(c.want) {
			by[code] = append(by[code], "TestObjects/"+c.name)
		}
	}
	for _, c := range rootCases {
		for _, code := range strings.Fields(c.want) {
			by[code] = append(by[code], "TestRoots/"+c.name)
		}
	}
	var b strings.Builder
	b.WriteString(`# Which rules of OCFL are checked, and by which test

The codes are those of the published list (ocfl.io/1.1/spec/validation-codes.html). A case breaks one rule, and a test wants just
that code. Written by ` + "`go test ./verify/ocfl -run TableOfCodes -write-codes`" + `; the same test fails when this page is out of date.

| code | checked by | cases in all |
| --- | --- | --- |
`)
	for _, l := range allCodes {
		for n := l.first; n <= l.last; n++ {
			code := fmt.Sprintf("%c%03d", l.letter, n)
			switch cases := by[code]; {
			case slices.Contains(l.absent, n):
				continue
			case len(cases) > 0:
				// The case that breaks nothing else, where there is one, comes first.
				fmt.Fprintf(&b, "| %s | `%s` | %d |\n", code, strings.ReplaceAll(only(code, cases), "|", `\|`), len(cases))
			default:
				fmt.Fprintf(&b, "| %s | not checked: %s | |\n", code, notTestable[code])
			}
		}
	}
	const file = "CODES.md"
	if *writeCodes {
		if err := os.WriteFile(file, []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	have, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if string(have) != b.String() {
		t.Errorf("%s is out of date; write it with -write-codes", file)
	}
}

// only is the case of some that wants this code and no other, else the first.
func only(code string, cases []string) string {
	for _, c := range objectCases {
		if c.want == code && slices.Contains(cases, "TestObjects/"+c.name) {
			return "TestObjects/" + c.name
		}
	}
	for _, c := range rootCases {
		if c.want == code && slices.Contains(cases, "TestRoots/"+c.name) {
			return "TestRoots/" + c.name
		}
	}
	return cases[0]
}
