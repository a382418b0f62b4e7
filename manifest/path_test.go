package manifest

import (
	"errors"
	"strings"
	"testing"
	"unicode"
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
	for text, want := range map[string]string{
		"2019-06-21/café plot.jpg":  "2019-06-21/café plot.jpg",
		"cafe\u0301":                "cafe\u0301",
		"北の牧場\u3000三番 🐄.jpg":        "北の牧場\u3000三番 🐄.jpg",
		"مرعى/שדה":                  "مرعى/שדה",
		"10\u00a0m":                 "10\u00a0m",
		"it's \"quoted\" \\u{202e}": "it's \"quoted\" \\u{202e}",
		"a\nb\tc\rd":                `a\u{a}b\u{9}c\u{d}d`,
		"\x1b[31mred\x07\x7f":       `\u{1b}[31mred\u{7}\u{7f}`,
		"\u009b31mred":              `\u{9b}31mred`, // the same in one character
		"caf\xe9":                   `caf\xe9`,      // no text
		"\x9b31m":                   `\x9b31m`,      // the same as a byte
		"\u202egpj":                 `\u{202e}gpj`,  // writes backwards
		"\u2066a\u2069":             `\u{2066}a\u{2069}`,
		"\u200fa\u061c":             `\u{200f}a\u{61c}`,
		"plot\u200b.jpg\ufeff":      `plot\u{200b}.jpg\u{feff}`,
		"plot\u3164":                `plot\u{3164}`, // a letter that nobody sees
		"a\u2028b\u2029c":           `a\u{2028}b\u{2029}c`,
		"\U000e0041":                `\u{e0041}`, // a tag
		"\ufffd":                    "\ufffd",
	} {
		if got := Printable(text); got != want {
			t.Errorf("Printable(%q) = %s, want %s", text, got, want)
		}
		if got := Printable(Printable(text)); got != want {
			t.Errorf("Printable twice of %q is %s", text, got)
		}
	}
}

// Whatever the bytes, nothing is left that is not seen.
func FuzzPrintable(f *testing.F) {
	f.Add("plot\u202e\x9b\n")
	f.Fuzz(func(t *testing.T, text string) {
		got := Printable(text)
		if !IsPrintable(got) || strings.ContainsFunc(got, func(c rune) bool { return unicode.Is(unicode.C, c) || unicode.Is(unicode.Bidi_Control, c) }) {
			t.Errorf("%q becomes %q", text, got)
		}
	})
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
