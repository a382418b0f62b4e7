package text

import (
	"strings"
	"testing"

	"linecamp/daemon/setup"
)

// Who took over is told what becomes of a copy of another history, and of a damaged seal.
func TestTakeOverSaysWhatIsNextForAPartedCopy(t *testing.T) {
	var b strings.Builder
	Print(&b, setup.Report{Archive: "draw", Author: &setup.AuthorReport{Machine: "office", Parted: []string{"loft"}}})
	for _, want := range []string{"loft", "`linecamp mirror` takes in what they have of another history", "`linecamp verify`, then `linecamp mend`"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("no %q in\n%s", want, &b)
		}
	}
	if strings.Contains(b.String(), "stay as they are") {
		t.Error(b.String())
	}
}
