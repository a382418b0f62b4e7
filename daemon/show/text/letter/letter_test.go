package letter

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"linecamp/daemon/attention"
	"linecamp/daemon/notice"
	"linecamp/daemon/notice/desk"
	"linecamp/manifest"
	"linecamp/manifest/words"
)

var (
	now  = time.Date(2026, 11, 2, 12, 0, 0, 0, time.UTC)
	item = attention.Item{Kind: attention.CopyUnreachable, What: "shelf is out of reach.", Since: now.Add(-26 * time.Hour), Next: "bring it within reach, then run `linecamp mirror`"}
)

func TestNoticesSayWhatSinceWhenAndWhatToDo(t *testing.T) {
	state := &notice.State{Copies: []notice.Copy{{Copy: "shelf", State: "current", Files: 3, Bytes: 3000, ReadBack: 3, Oldest: &item.Since}, {Copy: "bucket", State: "behind", Files: 2, Bytes: 2000}},
		Years: map[string]int{"whole": 4, "short": 1}, Seal: "9 2026-11-28 df59-11ca-8fea-da47-794e-ce1b-0ad5-c4df"}
	for name, tt := range map[string]struct {
		n       notice.Notice
		subject string
		says    []string
	}{
		"something wants a person": {notice.Notice{Kind: notice.Wants, New: []attention.Item{item}}, "linecamp, Saltbush Draw: something needs you",
			[]string{"New:\n  Since Sun Nov 1, 2026, 10:00: shelf is out of reach.\n      Next: bring it within reach, then run `linecamp mirror --archive draw`\n", "on the computer office"}},
		"two things": {notice.Notice{Kind: notice.Wants, New: []attention.Item{item}, Standing: []attention.Item{item}}, "linecamp, Saltbush Draw: 2 things need you",
			[]string{"Told before, and still so:\n  Since"}},
		"new damage": {notice.Notice{Kind: notice.Wants, New: []attention.Item{item}, Damage: []notice.Damage{{Copy: "working", Files: 3, Paths: []string{"A/b.jpg"}, At: now}}},
			"linecamp, Saltbush Draw: 3 files found damaged", []string{"your folder: 3 files, on Mon Nov 2, 2026, 12:00\n    A/b.jpg\n    and 2 more\n", "linecamp mend --archive draw"}},
		"well again": {notice.Notice{Kind: notice.WellAgain, Ended: []notice.Ended{{Item: item, Until: now}}, LeftOut: 2}, "linecamp, Saltbush Draw: all is well again",
			[]string{"No longer so:\n  From Sun Nov 1, 2026, 10:00 until Mon Nov 2, 2026, 12:00: shelf is out of reach.\n  and 2 things before\n"}},
		"the word of the month": {notice.Notice{Kind: notice.AllWell, State: state}, "linecamp, Saltbush Draw: all is well",
			[]string{"shelf: up to date, 3 files (3.0 kB), every one read back, the oldest 26 hours ago", "bucket: behind, 2 files (2.0 kB), none read back yet", "Years: 4 whole, 1 short.", state.Seal}},
		"late":    {notice.Notice{Kind: notice.Wants, New: []attention.Item{item}, Unsent: &item.Since}, "linecamp, Saltbush Draw: something needs you", []string{"No notice could be sent since Sun Nov 1, 2026, 10:00."}},
		"a trial": {notice.Notice{Kind: notice.Trial, Standing: []attention.Item{item}}, "linecamp, Saltbush Draw: a trial", []string{"What needs a person now:\n  Since"}},
	} {
		t.Run(name, func(t *testing.T) {
			tt.n.Archive, tt.n.Name, tt.n.Machine, tt.n.At = "draw", "Saltbush Draw", "office", now
			subject, text := Write(tt.n, words.Line{Archive: "draw"})
			if subject != tt.subject {
				t.Errorf("the subject is %q", subject)
			}
			for _, want := range tt.says {
				if !strings.Contains(text, want) {
					t.Errorf("it lacks %q:\n%s", want, text)
				}
			}
		})
	}
}

// Whatever names stand in it, a letter has no control characters, and its subject is
// one line.
func TestHostileNamesStayInTheirLine(t *testing.T) {
	evil := "Stake\r\nBcc: x@evil.example\x1b[2J\u202e"
	i := attention.Item{What: evil, Next: evil, Path: evil, Copy: evil}
	n := notice.Notice{Kind: notice.Wants, Archive: evil, Name: evil, Machine: evil, New: []attention.Item{i}, Ended: []notice.Ended{{Item: i}},
		Damage: []notice.Damage{{Copy: evil, Files: 1, Paths: []string{evil}}}, State: &notice.State{Copies: []notice.Copy{{Copy: evil, State: evil}}, Seal: "9 2026-11-28 df59"}}
	subject, text := Write(n, words.Line{})
	if !manifest.IsPrintable(subject) {
		t.Errorf("the subject is %q", subject)
	}
	for line := range strings.SplitSeq(text, "\n") {
		if !manifest.IsPrintable(line) {
			t.Errorf("a line is %q", line)
		}
		if strings.HasPrefix(line, "Bcc") {
			t.Errorf("a name began a line: %q", line)
		}
	}
	var b bytes.Buffer
	Tried(&b, desk.TryReport{Archive: evil, Tried: []desk.Tried{{Way: evil, Error: evil}}})
	if strings.ContainsAny(b.String(), "\x1b\r") {
		t.Errorf("it says %q", b.String())
	}
}
