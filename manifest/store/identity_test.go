package store_test

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"linecamp/manifest/store"
	"linecamp/manifest/store/drive"
)

// Whoever does what is said of a damaged identity, with README.txt in hand, has the
// copy back.
func TestDamagedIdentityByHand(t *testing.T) {
	for _, text := range []string{"#", "", `{"extensionName": "linecamp-root", "archive": 3}`, `{"extensionName": "linecamp-root"} {}`} {
		dir := t.TempDir()
		d, err := drive.New(dir)
		must(t, err)
		defer d.Close()
		must(t, d.Init(t.Context(), testID))
		file := filepath.Join(dir, filepath.FromSlash(store.IdentityKey))
		must(t, os.WriteFile(file, []byte(text), 0o666))
		_, err = store.ReadIdentity(t.Context(), d)
		wantErr(t, err, store.ErrNoRoot)
		for _, word := range []string{"invalid character", "EOF", "unmarshal", "JSON"} {
			if strings.Contains(err.Error(), word) {
				t.Errorf("%q is told in the parser's words: %v", text, err)
			}
		}
		write := regexp.MustCompile(`\{.*\}`).FindString(err.Error())
		readme, err := os.ReadFile(filepath.Join(dir, store.ReadmeKey))
		must(t, err)
		for word, line := range map[string]string{`"ARCHIVE ID"`: "archive id", `"ARCHIVE"`: "archive", `"COPY ID"`: "copy id"} {
			value := regexp.MustCompile(`(?m)^  ` + line + ` {2,}(\S+)$`).FindSubmatch(readme)
			if value == nil {
				t.Fatalf("README.txt does not tell the %s", line)
			}
			write = strings.ReplaceAll(write, word, `"`+string(value[1])+`"`)
		}
		must(t, os.WriteFile(file, []byte(write), 0o666))
		got, err := store.ReadIdentity(t.Context(), d)
		must(t, err)
		got.Created = testID.Created // nothing is decided by it, so nobody is asked for it
		if got != testID {
			t.Errorf("written by hand it is %+v", got)
		}
	}
}
