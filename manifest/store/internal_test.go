package store

import (
	"context"
	"errors"
	"io"
	"os"
	"path"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"linecamp/manifest"
)

func TestFindDriveAmongMounts(t *testing.T) {
	top := t.TempDir()
	make := func(folder, id string) {
		if err := os.MkdirAll(filepath.Dir(folder), 0o777); err != nil {
			t.Fatal(err)
		}
		d, err := NewDrive(folder)
		if err != nil {
			t.Fatal(err)
		}
		defer d.Close()
		err = d.Init(t.Context(), Identity{ArchiveID: strings.Replace(id, "1", "2", 1), Archive: "saltbush-draw", CopyID: id, Created: time.Now()})
		if err != nil {
			t.Fatal(err)
		}
	}
	id := func(n string) string { return n + "0000000-0000-0000-0000-000000000000" }
	make(filepath.Join(top, "one"), id("1"))                      // the mount point itself
	make(filepath.Join(top, "two [x]", "below"), id("2"))         // one level down, under another name
	make(filepath.Join(top, "three", "a", "b", "camp"), id("3"))  // where the hint's end says
	make(filepath.Join(top, "three", "deep", "er", "c"), id("4")) // neither
	mounts := []string{filepath.Join(top, "none"), filepath.Join(top, "one"), filepath.Join(top, "two [x]"), filepath.Join(top, "three")}
	for n, want := range map[string]string{
		"1": "one", "2": "two [x]/below", "3": "three/a/b/camp", "4": "",
	} {
		got, err := findDrive(id(n), "/media/office/a/b/camp", mounts)
		if want == "" {
			if err == nil {
				t.Errorf("%s: found at %s", n, got)
			}
			continue
		}
		if err != nil || got != filepath.Join(top, filepath.FromSlash(want)) {
			t.Errorf("%s: %q, %v, want %s", n, got, err, want)
		}
	}
}

func FuzzParseCredentials(f *testing.F) {
	f.Add("access = \"a\"\nsecret = \"b\"\n")
	f.Add("access = 'a'\r\n[x]\nsecret = \"\"\"b\"\"\"")
	f.Fuzz(func(t *testing.T, text string) {
		access, secret, session, err := parseCredentials(text)
		if err == nil && (access == "" || secret == "" || strings.ContainsAny(access+secret+session, " \n\r\x00")) {
			t.Fatalf("accepted %q, %q, %q", access, secret, session)
		}
		if err != nil && len(err.Error()) > 120 {
			t.Fatalf("a long message may quote the file: %v", err)
		}
	})
}

// A torn marker is of a rename that never began; a whole one round-trips.
func FuzzReadMarker(f *testing.F) {
	f.Add([]byte(""))
	f.Add(marker(nil))
	f.Add([]byte(strings.Repeat("a", 64) + "  v1/content/x y.jpg\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		put, ok := readMarker(b)
		if !ok {
			return
		}
		again, ok := readMarker(marker(put))
		if !ok || len(again) != len(put) {
			t.Fatalf("%q became %v and then %v", b, put, again)
		}
	})
}

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

// What a service says it checked is taken only as a whole SHA-256.
func FuzzReported(f *testing.F) {
	f.Add("47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU=", "")
	f.Add("", "COMPOSITE")
	f.Fuzz(func(t *testing.T, sum, mode string) {
		if d := reported(sum, mode); !d.IsZero() && (strings.EqualFold(mode, "COMPOSITE") || len(sum) < 44) {
			t.Fatalf("%q, %q: %v", sum, mode, d)
		}
	})
}

// A key or a content path that is accepted stays inside the root.
func FuzzCheckKey(f *testing.F) {
	for _, s := range []string{"a/b", "../../etc/passwd", "/etc/passwd", "a/../b", "a//b", "v1/content/x", ".", ""} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if checkKey(s) == nil && (!filepath.IsLocal(filepath.FromSlash(s)) || path.Clean(s) != s || strings.Contains(s, "\x00")) {
			t.Fatalf("accepted the key %q", s)
		}
		if isObjectName(s) && (strings.ContainsAny(s, "/\\.") || versionNumber(s) > 0 && s[0] != 'v') {
			t.Fatalf("accepted the object %q", s)
		}
		if n := versionNumber(s); n > 0 && versionName(n) != s {
			t.Fatalf("%q is version %d", s, n)
		}
	})
}

// Nothing is read or written of a file that the drive cannot hold.
func TestPutWhatTheDriveCannotHold(t *testing.T) {
	d, err := NewDrive(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	d.most = 9
	b, err := d.Begin(t.Context(), "stake-3", 1)
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	c := Bytes([]byte("ten bytes."))
	c.Open = func(context.Context) (io.ReadCloser, error) { t.Error("it was read"); return nil, io.EOF }
	if _, err := b.Put(t.Context(), "v1/content/film.mp4", c); !errors.Is(err, ErrTooLarge) {
		t.Errorf("got %v, want ErrTooLarge", err)
	}
	if _, err := b.Put(t.Context(), "v1/content/plot.jpg", Bytes([]byte("nine byte"))); err != nil {
		t.Error(err)
	}
}
