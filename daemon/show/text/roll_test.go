package text

import (
	"strings"
	"testing"

	"linecamp/daemon"
	"linecamp/daemon/attention"
)

// Well is said only of an archive all of which is recorded, and one of which
// nothing is kept stands first.
func TestSeveralArchivesWorstFirst(t *testing.T) {
	var b strings.Builder
	roll(&b, []Titled{
		{"draw", daemon.Status{Archive: "draw"}},
		{"north", daemon.Status{Archive: "north", Unrecorded: attention.Amount{Files: 54, Bytes: 1000}}},
		{"rim", daemon.Status{Archive: "rim", List: attention.List{Attention: []attention.Item{{Kind: attention.CopyUnreachable, What: "The bucket is out of reach."}, {Kind: attention.Years, What: "Years are short."}}}}},
		{"west", daemon.Status{Archive: "west", List: attention.List{Attention: []attention.Item{{Kind: attention.NothingKept, What: "Nothing of this archive is known to be kept."}}}}},
	})
	got := strings.Split(b.String(), "\n")
	for i, want := range []string{"west   ", "rim    ", "north  0 of 0 copies up to date; 54 files (1.0 kB) not recorded yet", "draw   0 of 0 copies up to date; all is well"} {
		if !strings.HasPrefix(got[i], want) {
			t.Errorf("line %d is %q, want %q", i+1, got[i], want)
		}
	}
}
