package tomlline

import (
	"strings"
	"testing"

	"github.com/BurntSushi/toml"
)

func TestLinesOfKeys(t *testing.T) {
	text := `# a comment = "not a key"
a = """
b = 1 # still text
""""
'c d' = [ # a list
  "x", ']', # ]
]
"e" = { f = 1, g = [ { h = 2 } ] }
[t.u]   # [[no]]
v.w = '''
x''''
[[copy]]
name = "a\"b"
[[copy]]
[copy.more]
name = 'back\'
[[copy.list]]
z = 2026-07-02T02:30:00Z
[[copy.list]]
z = 1
`
	l := find(text)
	for path, want := range map[string]int{
		"a": 2, "c d": 5, "e": 8, "e.g.h": 8, "t.u": 9, "t.u.v": 10, "t.u.v.w": 10,
		"copy": 12, "copy[0]": 12, "copy[0].name": 13, "copy[0].absent": 12,
		"copy[1]": 14, "copy[1].more": 15, "copy[1].more.name": 16,
		"copy[1].list[0].z": 18, "copy[1].list[1].z": 20, "absent": 1,
	} {
		if got := l.At(path); got != want {
			t.Errorf("%s: line %d, want %d", path, got, want)
		}
	}
	if _, ok := l["b"]; ok {
		t.Error("a line of a long text was taken for a key")
	}
}

// Wherever the decoder accepts a text, it and find must see the same keys.
func FuzzLinesAgreeWithTheDecoder(f *testing.F) {
	f.Add("a = 1 # one\n[[b]]\nc = 'x'\n[b.d]\ne = [ \"]\", 2 ]\n")
	f.Add("a=\"\"\"x\\\"\"\"\"\n[[b]]\n'c'.d={e=[1,\n2]}\n")
	f.Fuzz(func(t *testing.T, text string) {
		var tree map[string]any
		meta, err := toml.Decode(text, &tree)
		if err != nil || strings.Contains(text, "{") || strings.HasPrefix(text, "\xef\xbb\xbf") || strings.HasPrefix(text, "\xff\xfe") {
			return // inline tables have no lines of their own
		}
		l := find(text)
		plain := map[string]bool{}
		for path := range l {
			plain[Shown(path)] = true
		}
		for _, k := range meta.Keys() {
			path := ""
			for _, part := range k {
				path = Join(path, part)
			}
			if !plain[Shown(path)] {
				t.Errorf("no line for %q in %q: %v", path, text, l)
			}
		}
	})
}
