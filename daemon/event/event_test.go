package event

import (
	"bytes"
	"errors"
	"log/slog"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"linecamp/daemon/attention"
	"linecamp/verify"
)

var at = time.Date(2026, 11, 2, 12, 0, 0, 0, time.UTC)

// one is an event of each type, with words that the log has to show.
var one = map[string]struct {
	event Event
	log   []string
}{
	"round-began": {RoundBegan{Round: "mirror"}, []string{"level=INFO", "round=mirror"}},
	"round-ended": {RoundEnded{Round: "verify", Began: at, Outcome: Wants, Copies: []Copy{{Copy: "shelf", Files: 3, Damaged: 1}},
		Attention: []attention.Item{{Kind: attention.Damage, What: "1 damaged file is on record.", Since: at, Next: "mend"}}},
		[]string{"level=WARN", "round=verify", "copy=shelf", "damaged=1", "1 damaged file is on record."}},
	"damage-found":        {DamageFound{"shelf", 1, []verify.Damage{{Path: "A/b\x1b.jpg", Kind: verify.Altered}}}, []string{"level=WARN", "copy=shelf", `A/b\\u{1b}.jpg`}},
	"damage-gone":         {DamageGone{"shelf", 1, []verify.Damage{{Path: "A/b.jpg", Kind: verify.Altered}}}, []string{"level=INFO", "A/b.jpg"}},
	"copy-went-away":      {CopyWentAway{"shelf", "away", "it is not plugged in"}, []string{"level=INFO", "copy=shelf", "state=away", "it is not plugged in"}},
	"copy-came-back":      {CopyCameBack{"shelf"}, []string{"level=INFO", "copy=shelf"}},
	"copy-became-current": {CopyBecameCurrent{"shelf"}, []string{"level=INFO", "copy=shelf"}},
	"attention-arose":     {AttentionArose{attention.Item{Kind: attention.FolderGone, What: "The folder is gone.", Since: at, Next: "look"}}, nil},
	"attention-ended":     {AttentionEnded{attention.Item{Kind: attention.FolderGone, What: "The folder is gone.", Since: at}}, []string{"level=INFO", "The folder is gone."}},
	"waits":               {Waits{Reason: "too much at once", Person: true, Files: 7, Path: "A/b.jpg"}, []string{"level=WARN", "too much at once", "files=7", "A/b.jpg"}},
	"missed":              {Missed{4}, []string{"level=WARN", "events=4"}},
}

func TestEveryEventIsLoggedAndKept(t *testing.T) {
	if len(one) != len(types) {
		t.Fatalf("%d events are tried, and there are %d", len(one), len(types))
	}
	for name, tt := range one {
		t.Run(name, func(t *testing.T) {
			var log bytes.Buffer
			told := Told{at, "saltbush-draw", tt.event}
			Log(slog.New(slog.NewTextHandler(&log, nil)))(told)
			for _, want := range tt.log {
				if !strings.Contains(log.String(), want) {
					t.Errorf("the log lacks %q:\n%s", want, log.String())
				}
			}
			if strings.Contains(log.String(), "\x1b") {
				t.Errorf("a control character came into the log: %q", log.String())
			}
			dir := t.TempDir()
			File(dir)(told)
			n := 0
			for got, err := range Read(dir) {
				if n++; err != nil || !reflect.DeepEqual(got, told) || got.Event.name() != name {
					t.Errorf("read back %+v, %v; want %+v", got, err, told)
				}
			}
			if n != 1 {
				t.Errorf("%d events read back", n)
			}
		})
	}
}

func TestFailedRoundIsAnErrorInTheLog(t *testing.T) {
	var log bytes.Buffer
	Log(slog.New(slog.NewTextHandler(&log, nil)))(Told{at, "saltbush-draw", RoundEnded{Round: "mirror", Outcome: Failed, Detail: "no space is left"}})
	if !strings.Contains(log.String(), "level=ERROR") || !strings.Contains(log.String(), "no space is left") {
		t.Errorf("the log says %s", log.String())
	}
}

func TestFileIsBounded(t *testing.T) {
	dir := t.TempDir()
	keep := File(dir)
	long := strings.Repeat("x", 100_000)
	for i := range 40 {
		keep(Told{at, "saltbush-draw", Waits{Reason: long, Files: i}})
	}
	size := int64(0)
	for _, name := range []string{FileName, FileName + ".before"} {
		info, err := os.Stat(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		size += info.Size()
	}
	if size > 2*mostFile+400_000 {
		t.Errorf("the file grew to %d bytes", size)
	}
	last := -1
	for e, err := range Read(dir) {
		if err != nil {
			t.Fatal(err)
		}
		n := e.Event.(Waits).Files
		if last >= 0 && n != last+1 {
			t.Errorf("event %d follows %d", n, last)
		}
		last = n
	}
	if last != 39 {
		t.Errorf("the newest event is %d", last)
	}
}

func TestTornLineIsPassedOver(t *testing.T) {
	dir := t.TempDir()
	keep := File(dir)
	keep(Told{at, "a", CopyCameBack{"shelf"}})
	f, err := os.OpenFile(filepath.Join(dir, FileName), os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	f.WriteString("{\"at\":\"20\n{\"event\":\"moonrise\",\"what\":{}}\n")
	f.Close()
	keep(Told{at, "a", CopyCameBack{"barn"}})
	var good, torn int
	for _, err := range Read(dir) {
		switch {
		case err == nil:
			good++
		case errors.Is(err, ErrLine):
			torn++
		default:
			t.Fatal(err)
		}
	}
	if good != 2 || torn != 2 {
		t.Errorf("%d events and %d torn lines", good, torn)
	}
}

// One sink hangs, one panics each time: the third gets all, in order, and whoever
// tells is not held up.
func TestOneSinkHoldsUpNoOther(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var log bytes.Buffer
		var got, late []Told
		gate := make(chan struct{})
		out := NewOut("saltbush-draw", time.Now, slog.New(slog.NewTextHandler(&log, nil)),
			func(x Told) { <-gate; late = append(late, x) },
			func(Told) { panic("no paper") },
			func(x Told) { got = append(got, x) })
		const all = mostQueued + 50
		for i := range all {
			out.Tell(Waits{Files: i})
			synctest.Wait()
		}
		began := time.Now()
		out.Close()
		if took := time.Since(began); took != closeTime {
			t.Errorf("Close waited %v for the sink that hangs", took)
		}
		if len(got) != all {
			t.Fatalf("the third sink got %d of %d", len(got), all)
		}
		for i, x := range got {
			if x.Event.(Waits).Files != i {
				t.Fatalf("event %d is %+v", i, x)
			}
		}
		if !strings.Contains(log.String(), "no paper") {
			t.Error("the panic is not in the log")
		}
		close(gate)
		synctest.Wait()
		// One is in its hands, as many as may wait follow, and then it is told how
		// many it missed.
		if len(late) != mostQueued+2 || late[len(late)-1].Event != (Missed{49}) {
			t.Errorf("the slow sink got %d, the last %+v", len(late), late[len(late)-1])
		}
	})
}
