package names

import (
	"testing"
)

func TestUndoubled(t *testing.T) {
	for name, want := range map[string]string{
		"Copy of 2017": "2017", "copy of 2017": "2017", "Copy (2) of 2017": "2017", "2017 - Copy": "2017", "2017 - Copy (2)": "2017",
		"2017 copy": "2017", "2017 copy 3": "2017", "2017-copy": "2017", "2017_copy": "2017", "2017 (1)": "2017", "2017(2)": "2017",
		"2017 (copy)": "2017", "2017 (another copy)": "2017", "2017 (3rd copy)": "2017", "Copy of 2017 - Copy": "2017",
		"Copy of 6-21-19": "6-21-19",
		"2017":            "2017", "Copy": "Copy", "Copycat": "Copycat", "Stake 3 (old)": "Stake 3 (old)", "2017 (1999)": "2017 (1999)", "(1)": "(1)", "": "",
	} {
		if got := Undoubled(name); got != want {
			t.Errorf("%q doubles %q, want %q", name, got, want)
		}
	}
}
