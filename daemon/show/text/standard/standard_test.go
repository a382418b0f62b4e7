package standard

import (
	"strings"
	"testing"

	"linecamp/verify/bag"
)

// A bag comes from somebody else: no name in it forges a line or turns the screen about.
func TestABagsNamesAreShown(t *testing.T) {
	var b strings.Builder
	Bag(&b, bag.Report{
		Bag:       "bag\x1b[2J",
		Errors:    []bag.Fault{{Rule: "3", Path: "data/a\nb is a complete and valid bag", Detail: "is not there\u202e"}},
		Advice:    []bag.Fault{{Rule: "6", Detail: "x\ry"}},
		Unchecked: []string{"manifest-md5.txt\n"},
	})
	if s := b.String(); strings.ContainsAny(s, "\x1b\r\u202e") || strings.Contains(s, "\nb is") || strings.Contains(s, "txt\n was") {
		t.Errorf("%q", s)
	}
}
