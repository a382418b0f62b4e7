package store

import (
	"path"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"linecamp/manifest"
)

// An identity that is accepted keeps the rules and says the same written again.
func FuzzDecodeIdentity(f *testing.F) {
	f.Add(encodeIdentity(Identity{"6f0c1f3e-9d0b-4c59-8a3f-0b6e3b1c7a11", "saltbush-draw", "b81e62a0-6a4f-4b8c-b6c9-5b3a3b0f7d22", time.Unix(1, 0)}))
	f.Add([]byte(`{"name":"../../etc/passwd"}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		id, err := decodeIdentity(b)
		if err != nil {
			return
		}
		if manifest.ArchiveName(id.Archive) != nil || !uuidForm.MatchString(id.ArchiveID) || !uuidForm.MatchString(id.CopyID) {
			t.Fatalf("accepted %+v", id)
		}
		again, err := decodeIdentity(encodeIdentity(id))
		if err != nil || again.ArchiveID != id.ArchiveID || again.Archive != id.Archive || again.CopyID != id.CopyID {
			t.Fatalf("%+v became %+v, %v", id, again, err)
		}
	})
}

// A key or a content path that is accepted stays inside the root.
func FuzzCheckKey(f *testing.F) {
	for _, s := range []string{"a/b", "../../etc/passwd", "/etc/passwd", "a/../b", "a//b", "v1/content/x", ".", ""} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if CheckKey(s) == nil && (!filepath.IsLocal(filepath.FromSlash(s)) || path.Clean(s) != s || strings.Contains(s, "\x00")) {
			t.Fatalf("accepted the key %q", s)
		}
		if IsObjectName(s) && (strings.ContainsAny(s, "/\\.") || VersionNumber(s) > 0 && s[0] != 'v') {
			t.Fatalf("accepted the object %q", s)
		}
		if n := VersionNumber(s); n > 0 && VersionName(n) != s {
			t.Fatalf("%q is version %d", s, n)
		}
	})
}
