package text

import (
	"fmt"
	"strings"
	"testing"

	"linecamp/daemon/show/screen"
	"linecamp/verify"
	"linecamp/verify/restore"
)

// The next step can be taken as it stands, also where a finding has several files.
func TestWhatToExplainIsSpelledOut(t *testing.T) {
	for _, tt := range []struct {
		paths []string
		want  string
	}{
		{[]string{"a b.jpg"}, "  The reason, once: linecamp explain 'a b.jpg' 'the reason'\n"},
		{[]string{"a.jpg", "b.jpg"}, "  The reason, once for each:\n    linecamp explain a.jpg 'the reason'\n    linecamp explain b.jpg 'the reason'\n"},
	} {
		for _, kind := range []string{verify.FoundMisdated, verify.FoundSwapped, verify.FoundElsewhere, verify.FoundTwice} {
			var b strings.Builder
			Print(&b, verify.Report{Judged: true, Findings: []verify.Finding{{Kind: kind, Paths: tt.paths}}})
			if !strings.HasSuffix(b.String(), tt.want) {
				t.Errorf("%s: %s", kind, b.String())
			}
		}
	}
}

func TestPrintRestore(t *testing.T) {
	rep := restore.Report{Archive: "saltbush-draw", Into: "/tmp/x", Files: 3, Bytes: 1234}
	var out strings.Builder
	Print(&out, rep)
	if strings.Count(out.String(), "\n") != 1 || !strings.Contains(out.String(), "1.2 kB") {
		t.Errorf("printed %q", out.String())
	}
	for i := range 40 {
		rep.Failed = append(rep.Failed, restore.Failed{Path: fmt.Sprintf("f%d\n", i), Reason: "x"})
	}
	out.Reset()
	Print(&out, rep)
	if n := strings.Count(out.String(), "\n"); n > 24 || !strings.Contains(out.String(), "NOT restored") {
		t.Errorf("%d lines: %s", n, out.String())
	}
}

// A year of a joined site is brought back from the object that has it.
func TestJoinedYearIsRestoredFromItsObject(t *testing.T) {
	var b strings.Builder
	Print(&b, verify.Report{Judged: true, Years: []verify.Year{
		{Site: "B", Pasture: "Windmill", Object: "windmill--b", Year: 2007, State: verify.Recoverable, From: []string{"windmill--a"}},
		{Site: "B", Pasture: "Windmill", Object: "windmill--b", Year: 2016, State: verify.Recoverable}}})
	for _, want := range []string{"linecamp restore windmill--a --year 2007", "linecamp restore Windmill/B --year 2016"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("no %q in\n%s", want, &b)
		}
	}
}

// Where nothing is due, the command that shows the next season is spelled out.
func TestDueSaysWhatComesNext(t *testing.T) {
	var b strings.Builder
	Print(screen.Writer(&b, screen.Line{Archive: "saltbush-draw"}), verify.DueReport{Ahead: 3051,
		Next: &verify.DueVisit{Site: "Stake 3", Pasture: "Windmill", Opens: "2034-06-10", Closes: "2034-07-10"}})
	if want := "opens on 2034-06-10, at Windmill / Stake 3. To see it: linecamp due --within 3051d --archive saltbush-draw"; !strings.Contains(b.String(), want) {
		t.Errorf("no %q in\n%s", want, &b)
	}
}
