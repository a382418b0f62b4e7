package ocfl

import "linecamp/verify/ocfl/inventory"

import (
	"strings"
	"testing"
)

// Published digests of nothing, from OCFL 1.1 section 3.4 and community
// extension 0009 (they give the beginnings of the longer ones), and of "abc",
// from FIPS 180-4's examples, RFC 1321 appendix A.5 and RFC 7693 appendix A.
func TestAlgorithms(t *testing.T) {
	for _, c := range []struct {
		name, of, begins string
		digits           int
	}{
		{"md5", "", "d41d8cd98f00b204e9800998ecf8427e", 32},
		{"sha1", "", "da39a3ee5e6b4b0d3255bfef95601890afd80709", 40},
		{"sha256", "", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4", 64},
		{"sha512", "", "cf83e1357eefb8bdf1542850d66d8007d620e405", 128},
		{"blake2b-512", "", "786a02f742015903c6c6fd852552d272912f4740", 128},
		{"blake2b-160", "", "3345524abf6bbe1809449224b5972c41790b6cf2", 40},
		{"blake2b-256", "", "0e5751c026e543b2e8ab2eb06099daa1d1e5df47", 64},
		{"blake2b-384", "", "b32811423377f52d7862286ee1a72ee540524380", 96},
		{"sha512/256", "", "c672b8d1ef56ed28ab87c3622c5114069bdd3ad7", 64},
		{"size", "", "0", 1},
		{"md5", "abc", "900150983cd24fb0d6963f7d28e17f72", 32},
		{"sha1", "abc", "a9993e364706816aba3e25717850c26c9cd0d89d", 40},
		{"sha256", "abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad", 64},
		{"blake2b-512", "abc", "ba80a53f981c4d0d6a2797b69f12f6e94c212f14685ac4b74b12bb6fdbffa2d17d87c5392aab792dc252d5de4533cc9518d38aa8dbf1925ab92386edd4009923", 128},
		{"size", strings.Repeat("x", 1234), "1234", 4},
	} {
		got := digestOf(c.name, c.of)
		if !strings.HasPrefix(got, c.begins) || len(got) != c.digits {
			t.Errorf("%s of %q is %s", c.name, c.of, got)
		}
		if a := inventory.Algorithms[c.name]; !a.Written(got) || a.Written(got+"0") && c.name != "size" || a.Written("x"+got[1:]) {
			t.Errorf("%s: the form of its digests is not told", c.name)
		}
	}
	for _, bad := range []string{"", "01", "+1", "-1", "1.0", " 1", "0x1"} {
		if inventory.Algorithms["size"].Written(bad) {
			t.Errorf("%q passes for a size", bad)
		}
	}
}

// Each algorithm is really held against the bytes: right digests pass in either
// case, and the same digests of other bytes do not.
func TestFixity(t *testing.T) {
	for name := range inventory.Algorithms {
		for _, c := range []struct{ text, want string }{{aText, ""}, {bText, "E093"}} {
			for _, change := range []func(string) string{strings.ToLower, strings.ToUpper} {
				files := testCase{edit: fixities(name, m{change(digestOf(name, c.text)): []any{aPath}})}.files()
				check(t, files, c.want)
			}
		}
	}
}
