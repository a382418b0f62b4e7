package config

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
	l := findLines(text)
	for path, want := range map[string]int{
		"a": 2, "c d": 5, "e": 8, "e.g.h": 8, "t.u": 9, "t.u.v": 10, "t.u.v.w": 10,
		"copy": 12, "copy[0]": 12, "copy[0].name": 13, "copy[0].absent": 12,
		"copy[1]": 14, "copy[1].more": 15, "copy[1].more.name": 16,
		"copy[1].list[0].z": 18, "copy[1].list[1].z": 20, "absent": 1,
	} {
		if got := l.at(path); got != want {
			t.Errorf("%s: line %d, want %d", path, got, want)
		}
	}
	if _, ok := l["b"]; ok {
		t.Error("a line of a long text was taken for a key")
	}
}

// Wherever the decoder accepts a text, it and findLines must see the same keys.
func FuzzLinesAgreeWithTheDecoder(f *testing.F) {
	f.Add(example)
	f.Add("a=\"\"\"x\\\"\"\"\"\n[[b]]\n'c'.d={e=[1,\n2]}\n")
	f.Fuzz(func(t *testing.T, text string) {
		var tree map[string]any
		meta, err := toml.Decode(text, &tree)
		if err != nil || strings.Contains(text, "{") || strings.HasPrefix(text, "\xef\xbb\xbf") || strings.HasPrefix(text, "\xff\xfe") {
			return // inline tables have no lines of their own
		}
		l := findLines(text)
		plain := map[string]bool{}
		for path := range l {
			plain[shown(path)] = true
		}
		for _, k := range meta.Keys() {
			path := ""
			for _, part := range k {
				path = join(path, part)
			}
			if !plain[shown(path)] {
				t.Errorf("no line for %q in %q: %v", path, text, l)
			}
		}
	})
}

func FuzzParse(f *testing.F) {
	f.Setenv("XDG_STATE_HOME", f.TempDir())
	f.Add([]byte(example))
	f.Add([]byte("\xef\xbb\xbfarchive='a'\r\n[[copy]]\r\nkind='s3'\r\nurl='https://u:p@h/b'\r\n"))
	f.Add([]byte("archive='a'\n[views]\n''=['x']\n[schedule]\nmirror='*/0 0-99 ? jan-feb mon'\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		a, err := parse("/nowhere/a.toml", b)
		if err != nil {
			e, ok := err.(*Error)
			if !ok || len(e.Problems) == 0 || e.Error() == "" {
				t.Fatalf("%#v", err)
			}
			for _, p := range e.Problems {
				if p.Line < 0 || p.Line > strings.Count(string(b), "\n")+1 || p.Text == "" {
					t.Fatalf("%+v", p)
				}
			}
			return
		}
		// What was read can be written, and reads the same again.
		again, err := parse("/nowhere/a.toml", a.encode())
		if err != nil {
			t.Fatalf("%v\n%s", err, a.encode())
		}
		if got, want := again.encode(), a.encode(); string(got) != string(want) {
			t.Fatalf("written\n%s\nthen\n%s", want, got)
		}
	})
}
