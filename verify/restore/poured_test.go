package restore

import (
	"bytes"
	"io"
	"os"
	"path/filepath"
	"testing"

	"linecamp/manifest"
)

// What the system copied counts only where it is what the manifest says; else the target
// is empty again and both files are at their beginning, so that streaming tells the rest.
func TestWhatTheSystemCopiedIsDigested(t *testing.T) {
	text := bytes.Repeat([]byte("grama and bare ground "), 100_000)
	for name, c := range map[string]struct {
		there []byte
		size  int64
		want  manifest.Digest
		bare  bool // the source is no file
		done  bool
	}{
		"as recorded":               {there: text, size: int64(len(text)), want: manifest.Sum(text), done: true},
		"other bytes":               {there: text, size: int64(len(text)), want: manifest.Sum([]byte("x"))},
		"cut short":                 {there: text[:1000], size: int64(len(text)), want: manifest.Sum(text)},
		"longer than it says":       {there: text, size: 1000, want: manifest.Sum(text)},
		"no file of a drive":        {there: text, size: int64(len(text)), want: manifest.Sum(text), bare: true},
		"nothing in it":             {want: manifest.Sum(nil)},
		"too large to be in memory": {there: text, size: mostPoured + 1, want: manifest.Sum(text)},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			must := func(err error) {
				t.Helper()
				if err != nil {
					t.Fatal(err)
				}
			}
			must(os.WriteFile(filepath.Join(dir, "from"), c.there, 0o666))
			from, err := os.Open(filepath.Join(dir, "from"))
			must(err)
			defer from.Close()
			to, err := os.Create(filepath.Join(dir, "to"))
			must(err)
			defer to.Close()
			var src io.Reader = from
			if c.bare {
				src = bytes.NewReader(c.there)
			}
			told := int64(0)
			d := &delivery{progress: func(done, _ int64) { told = done }}
			done, err := d.poured(t.Context(), to, src, c.size, c.want)
			must(err)
			got, err := os.ReadFile(to.Name())
			must(err)
			if pour(t.Context(), nil, nil, 0) != nil {
				c.done = false // this system cannot
			}
			if done != c.done || done != bytes.Equal(got, text) || !done && (len(got) > 0 || told > 0) || done && told != c.size {
				t.Fatalf("done: %v, %d bytes in the target, %d told", done, len(got), told)
			}
			if done {
				return
			}
			rest, err := io.ReadAll(src)
			if at, serr := to.Seek(0, io.SeekCurrent); err != nil || serr != nil || !bytes.Equal(rest, c.there) || at != 0 {
				t.Errorf("the source goes on with %d bytes, the target at %d (%v, %v)", len(rest), at, err, serr)
			}
		})
	}
}
