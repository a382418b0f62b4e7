package text

import (
	"strings"
	"testing"

	"linecamp/daemon/intake"
	"linecamp/daemon/intake/maywipe"
	"linecamp/daemon/mend"
	"linecamp/daemon/mirror/gone"
	waits "linecamp/daemon/mirror/plan"
	"linecamp/daemon/mirror/report"
	"linecamp/daemon/reach"
)

func said(report any) string {
	var b strings.Builder
	Print(&b, report)
	return b.String()
}

func TestMirrorSays(t *testing.T) {
	r := report.Report{Copies: []report.CopyState{{Copy: "shelf", State: reach.Current}}}
	edited, asked, lost := r, r, r
	edited.Edits = []report.Edit{{Path: "W/2019/plot.jpg", Visit: "2019"}}
	asked.Asks = []report.Ask{waits.AskUnfiled}
	lost.Copies = []report.CopyState{{Copy: "shelf", State: reach.Current, Gone: []gone.Gone{{Site: "North / Windmill", Files: 2, To: 2, Again: true}}}}
	for _, c := range []struct {
		r          report.Report
		has, never string
	}{
		{r, "Nothing new to record", "of a past year"},
		{edited, "1 photo of a past year was changed. The earlier picture is kept too:", "Waiting"},
		{asked, "may not be understood", "Waiting"},
		{lost, "gone from there, and was sent again: North / Windmill (2 files)", "linecamp mend"},
	} {
		if got := said(c.r); !strings.Contains(got, c.has) || strings.Contains(got, c.never) {
			t.Errorf("%q is not in, or %q is in\n%s", c.has, c.never, got)
		}
	}
}

// What nobody has comes first.
func TestMendSaysWhatIsLostFirst(t *testing.T) {
	got := said(mend.Report{Mended: []mend.Mended{{Copy: "shelf", Path: "a", From: "bucket"}}, Unmended: []mend.Unmended{{Copy: "shelf", Path: "b", Nowhere: true}}})
	if !strings.HasPrefix(got, "LOST") || !strings.Contains(got, "shelf: a  from bucket") {
		t.Errorf("%s", got)
	}
}

func TestIntakeSaysWhatIsFiledAndWhatIsNot(t *testing.T) {
	got := said(&intake.Plan{Filed: true, Card: "/card", Visits: []intake.Visit{{Number: 1, Site: "Stake 3", Date: "2026-06-24", Files: []intake.File{
		{From: "1.jpg", To: "a/1.jpg", State: intake.Filed}, {From: "2.jpg", State: intake.Failed, Reason: "the card is no longer there"}, {From: "3.jpg", State: intake.Failed, Reason: "the card is no longer there"}}}}})
	for _, want := range []string{"Filed 1 file", "2 files could NOT be filed", "the card is no longer there", "Run the same command again"} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is not in\n%s", want, got)
		}
	}
}

func TestMayWipeSaysYesOrNo(t *testing.T) {
	for may, want := range map[bool]string{true: "/card may be wiped.", false: "/card may NOT be wiped yet."} {
		if got := said(&maywipe.Answer{Card: "/card", MayWipe: may}); !strings.HasPrefix(got, want) {
			t.Errorf("%v: %s", may, got)
		}
	}
}
