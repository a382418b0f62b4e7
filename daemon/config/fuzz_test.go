package config

import (
	"strings"
	"testing"
)

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
