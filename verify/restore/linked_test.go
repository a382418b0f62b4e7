package restore

import (
	"os"
	"path/filepath"
	"testing"

	"linecamp/manifest/store"
)

// A folder that is yet to be made lies where the links above it lead.
func TestATargetBehindALinkIsInTheCopyThatTheLinkLeadsTo(t *testing.T) {
	dir := t.TempDir()
	copied := filepath.Join(dir, "shelf", "line-camp")
	if err := os.MkdirAll(copied, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(copied, store.RootNamaste), []byte("ocfl_1.1\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	link := filepath.Join(dir, "link")
	if err := os.Symlink(copied, link); err != nil {
		t.Skip(err)
	}
	site := filepath.Join(dir, "site") // leads to a folder of the copy, above which the copy's name is not seen
	if err := os.Mkdir(filepath.Join(copied, "windmill--stake-3"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(filepath.Join(copied, "windmill--stake-3"), site); err != nil {
		t.Skip(err)
	}
	for _, into := range []string{copied, link, filepath.Join(link, "back"), filepath.Join(link, "back", "deeper"), site, filepath.Join(site, "back"), filepath.Join(site, "back", "deeper")} {
		if at, inside := insideCopy(into); !inside {
			t.Errorf("%s is taken to lie outside; at %q", into, at)
		}
	}
	if at, inside := insideCopy(filepath.Join(dir, "elsewhere", "back")); inside {
		t.Errorf("a folder beside it is taken to lie in %s", at)
	}
}
