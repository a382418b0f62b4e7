package restore

import (
	"path"
	"strings"
	"testing"
	"unicode/utf8"

	"linecamp/manifest"
)

// A path that is not refused lies inside the target, and is none of ours.
func FuzzRefuse(f *testing.F) {
	for _, s := range []string{"a/b.jpg", "../../etc/passwd", "/etc/passwd", "a//b", "a/./b", ".linecamp/record.json", "CON", "a\x00", "", tempPrefix + "1"} {
		f.Add(s, s)
	}
	f.Fuzz(func(t *testing.T, dest, own string) {
		if refuse(dest, own) != "" {
			return
		}
		if path.Join("/top", dest) != "/top/"+dest || strings.Contains(dest, "\x00") || manifest.Reserved(dest) || strings.Contains(dest, tempPrefix) && isTemp(path.Base(dest)) {
			t.Fatalf("not refused: %q", dest)
		}
		if out := versioned(dest, 3, nil); utf8.ValidString(dest) && (refuse(out, out) != "" || path.Dir(out) != path.Dir(dest) || len(path.Base(out)) > maxName+16) {
			t.Fatalf("%q became %q", dest, out)
		}
	})
}
