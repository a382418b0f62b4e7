package ledger

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/klauspost/compress/zstd"

	"linecamp/verify"
)

// The sample was written by the release that kept damage under copies' names:
// "Shelf" has an altered photo, "bucket" a stray, "old-bucket" (renamed since)
// lost a photo and has a stray, and the working folder an altered photo.
func sample(t *testing.T) string {
	t.Helper()
	packed, err := os.ReadFile(filepath.Join("testdata", "format-2.db.zst"))
	ok(t, err)
	d, err := zstd.NewReader(nil)
	ok(t, err)
	defer d.Close()
	b, err := d.DecodeAll(packed, nil)
	ok(t, err)
	dir := t.TempDir()
	ok(t, os.WriteFile(filepath.Join(dir, "ledger.db"), b, 0o600))
	return dir
}

func TestDamageKeptUnderNamesMovesToIDs(t *testing.T) {
	const (
		shelf  = "3f6c0d52-8a31-4c1e-9d57-0b6a4f2e7c19"
		bucket = "b81e1a02-5f0c-4a55-8d11-6a2f7f1f0c33"
		loft   = "77aa0d52-8a31-4c1e-9d57-0b6a4f2e7c42"
	)
	type row struct{ copy, kind, content string }
	altered := row{shelf, verify.Altered, "v1/content/2019-06-21/plot.jpg"}
	stray := row{bucket, verify.Stray, "holiday.jpg"}
	working := row{verify.WorkingName, verify.Altered, ""}
	gone := "v2/content/2020-06-21/plot.jpg"
	for name, c := range map[string]struct {
		ids  map[string]string
		want []row
	}{
		"the names are as they were": {map[string]string{"Shelf": shelf, "bucket": bucket, "loft": loft, "old-bucket": "5d6c0d52-8a31-4c1e-9d57-0b6a4f2e7c19"},
			[]row{altered, stray, working, {"5d6c0d52-8a31-4c1e-9d57-0b6a4f2e7c19", verify.Gone, gone}, {"5d6c0d52-8a31-4c1e-9d57-0b6a4f2e7c19", verify.Stray, "holiday.jpg"}}},
		"one was renamed: it counts for whichever holds that version": {map[string]string{"Shelf": shelf, "bucket": bucket, "loft": loft},
			[]row{altered, stray, working, {bucket, verify.Gone, gone}}},
		"all were renamed: it counts for each that holds that version": {map[string]string{"barn": shelf, "cloud": bucket, "attic": loft},
			[]row{altered, {bucket, verify.Altered, altered.content}, {loft, verify.Altered, altered.content}, {bucket, verify.Gone, gone}, working}},
	} {
		t.Run(name, func(t *testing.T) {
			dir := sample(t)
			for range 2 { // opened again, nothing changes
				l := open(t, dir)
				if l.SetAside() != "" {
					t.Fatal("the old ledger was set aside")
				}
				ok(t, l.KeyByID(c.ids))
				all, err := l.Damage()
				ok(t, err)
				got := map[row]int{}
				for _, d := range all {
					got[row{d.Copy, d.Kind, d.Content}]++
				}
				for _, w := range c.want {
					if got[w] != 1 {
						t.Errorf("%v is there %d times", w, got[w])
					}
					delete(got, w)
				}
				if len(got) > 0 {
					t.Errorf("besides there is %v", got)
				}
				if f, err := l.Figures(shelf); err != nil || total(f).ReadBackFiles != 1 {
					t.Errorf("what was read back: %+v, %v", f, err)
				}
				shut(t, l)
			}
		})
	}
}
