package keys

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"linecamp/daemon/config"
)

// One key reaches every copy only where no drive is among them and all buckets have
// the same; a key that cannot be read is not known.
func TestWhereOneKeyReachesEveryCopy(t *testing.T) {
	file := func(id string) string {
		name := filepath.Join(t.TempDir(), "keys.toml")
		if err := os.WriteFile(name, fmt.Appendf(nil, "access = %q\nsecret = \"x\"\n", id), 0o600); err != nil {
			t.Fatal(err)
		}
		return name
	}
	bucket := func(name, credentials string) config.Copy {
		return config.Copy{Name: name, Kind: config.KindS3, Credentials: credentials}
	}
	drive := config.Copy{Name: "shelf", Kind: config.KindDrive}
	one, same, other := file("winch"), file("winch"), file("capstan")
	for name, tt := range map[string]struct {
		copies []config.Copy
		said   string
	}{
		"no copy":                {nil, ""},
		"a drive alone":          {[]config.Copy{drive}, ""},
		"one bucket alone":       {[]config.Copy{bucket("a", one)}, "one key reaches every copy (a)"},
		"two of one key":         {[]config.Copy{bucket("a", one), bucket("b", same)}, "one key reaches every copy (a, b)"},
		"a key for each":         {[]config.Copy{bucket("a", one), bucket("b", other)}, ""},
		"two of one, and others": {[]config.Copy{bucket("a", one), bucket("b", same), bucket("c", other)}, ""},
		"a drive beside":         {[]config.Copy{bucket("a", one), drive, bucket("b", same)}, ""},
		"one cannot be read":     {[]config.Copy{bucket("a", one), bucket("b", one+".gone")}, "is not known"},
	} {
		if said := Shared(tt.copies); (said == "") != (tt.said == "") || !strings.Contains(said, tt.said) {
			t.Errorf("%s: %q, want %q", name, said, tt.said)
		}
	}
}

func TestOnlyWhatAPersonCanActOnIsAdvised(t *testing.T) {
	for _, tt := range []struct {
		known Known
		lines int
	}{
		{Known{MayDelete: No, KeepsVersions: Yes}, 0}, {Known{MayDelete: Yes, KeepsVersions: Yes}, 1},
		{Known{MayDelete: No, KeepsVersions: No}, 1}, {Known{MayDelete: Unknown, KeepsVersions: Unknown}, 2},
	} {
		if said := tt.known.Advice("bucket"); len(said) != tt.lines {
			t.Errorf("%+v: %q", tt.known, said)
		}
	}
}
