package manifest

import (
	"errors"
	"strings"
	"testing"
	"unicode/utf8"

	"pgregory.net/rapid"
)

func TestCheckPath(t *testing.T) {
	for _, good := range []string{
		"a", "2019-06-21/plot.jpg", " ", "a b/c", "...", "a\nb", "a\\b", "C:", "~", "é", "e\u0301", "🐄.jpg",
		"CON", "a.", strings.Repeat("x", 255), ".linecamp/record.json", "-rf", "\"'", "\u2028", "\ufffd",
	} {
		if err := CheckPath(good); err != nil {
			t.Errorf("CheckPath(%q) = %v", good, err)
		}
	}
	for bad, rule := range map[string]string{
		"": "E052", "/": "E053", "/a": "E053", "a/": "E053", "a//b": "E052", ".": "E052", "..": "E052",
		"a/../b": "E052", "./a": "E052", "a/.": "E052", "../../etc/passwd": "E052", "a\x00b": "NUL",
		"caf\xe9": "UTF-8", "\xed\xa0\x80": "UTF-8",
	} {
		if err := CheckPath(bad); !errors.Is(err, ErrPath) || !strings.Contains(err.Error(), rule) {
			t.Errorf("CheckPath(%q) = %v, want ErrPath that names %s", bad, err, rule)
		}
	}
}

func TestPrintable(t *testing.T) {
	for path, want := range map[string]string{
		"2019-06-21/café plot.jpg": "2019-06-21/café plot.jpg",
		"a\nb":                     `"a\nb"`,
		"\x1b[31mred":              `"\x1b[31mred"`,
		"caf\xe9":                  `"caf\xe9"`,
		"\u202egpj":                `"\u202egpj"`, // writes backwards
		"it's \"quoted\"":          "it's \"quoted\"",
	} {
		if got := Printable(path); got != want {
			t.Errorf("Printable(%q) = %s, want %s", path, got, want)
		}
	}
}

func TestLogical(t *testing.T) {
	// The hex digits are of sha256sum over the raw name, for instance
	// printf 'caf\351.jpg' | sha256sum.
	for _, c := range []struct {
		raw, want string
		escaped   bool
	}{
		{"2019-06-21/plot.jpg", "2019-06-21/plot.jpg", false},
		{"e\u0301t\u00e9/a", "e\u0301t\u00e9/a", false}, // never normalised
		{"a\nb\"c", "a\nb\"c", false},
		{"\ufffd", "\ufffd", false},
		{"a/.linecamp/b", "a/.linecamp/b", false}, // reserved at the top only
		{".linecampx", ".linecampx", false},
		{".LINECAMP/b", ".LINECAMP/b", false},
		{"caf\xe9.jpg", "caf\ufffd~9872863e.jpg", true},
		{"2019/caf\xe9/caf\xe9.jpg", "2019/caf\ufffd~dafd66c0/caf\ufffd~9872863e.jpg", true},
		{".linecamp/record.json", ".linecamp~daa94729/record.json", true},
		{".linecamp", ".linecamp~daa94729", true},
	} {
		got, escaped := Logical(c.raw)
		if got != c.want || escaped != c.escaped {
			t.Errorf("Logical(%q) = %q, %v; want %q, %v", c.raw, got, escaped, c.want, c.escaped)
		}
	}
}

// Whatever bytes a file system gives, the logical path is one that a state can
// hold, has as many elements, is not reserved, and is itself never escaped.
func TestLogicalHolds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		element := rapid.SliceOfN(rapid.ByteRange(1, 255), 1, 12)
		n := rapid.IntRange(1, 4).Draw(t, "depth")
		var elements []string
		for range n {
			e := strings.ReplaceAll(string(element.Draw(t, "name")), "/", "_")
			if e == "." || e == ".." {
				e = ".linecamp"
			}
			elements = append(elements, e)
		}
		raw := strings.Join(elements, "/")
		logical, escaped := Logical(raw)
		if err := CheckPath(logical); err != nil {
			t.Fatal(err)
		}
		if Reserved(logical) {
			t.Fatalf("%q became the reserved %q", raw, logical)
		}
		if strings.Count(logical, "/") != n-1 {
			t.Fatalf("%q became %q, with other folders", raw, logical)
		}
		if escaped == (utf8.ValidString(raw) && elements[0] != ".linecamp") {
			t.Fatalf("%q became %q, escaped %v", raw, logical, escaped)
		}
		if again, twice := Logical(logical); twice || again != logical {
			t.Fatalf("%q became %q and then %q", raw, logical, again)
		}
	})
}
