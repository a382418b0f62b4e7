package service

import (
	"os"
	"testing"
	"time"
)

func TestARoundTellsHowFarItIs(t *testing.T) {
	dir := t.TempDir()
	at := time.Date(2026, 8, 15, 2, 30, 0, 0, time.UTC)
	now := func() time.Time { return at }
	if u := RoundUnderWay(dir, Mirror); u != nil {
		t.Fatalf("before it began: %+v", u)
	}
	tell, end := Under(dir, Mirror, now)
	if u := RoundUnderWay(dir, Mirror); u == nil || u.Process != os.Getpid() || !u.Began.Equal(at) || len(u.Tasks) != 0 {
		t.Errorf("begun: %+v", u)
	}
	tell("shelf", 10, 100) // within the second: not written yet
	at = at.Add(2 * time.Second)
	tell("bucket", 5, 0)
	tell("shelf", 50, 100)
	u := RoundUnderWay(dir, Mirror)
	if u == nil || len(u.Tasks) != 2 || u.Tasks[0] != (Task{"shelf", 10, 100}) || u.Tasks[1] != (Task{"bucket", 5, 0}) {
		t.Errorf("under way: %+v", u)
	}
	if u := RoundUnderWay(dir, Verify); u != nil {
		t.Errorf("another round: %+v", u)
	}
	// A later one has its place already.
	at = at.Add(time.Minute)
	_, later := Under(dir, Mirror, now)
	end()
	if u := RoundUnderWay(dir, Mirror); u == nil || !u.Began.Equal(at) {
		t.Errorf("the first one ended, and the later one is %+v", u)
	}
	later()
	if left, _ := os.ReadDir(dir); len(left) != 0 {
		t.Errorf("left behind: %v", left)
	}
	// One that was killed, or a file that is none.
	for _, text := range []string{`{"round":"mirror","process":999999999}`, `{"round":"mirror","process":-1}`, "no JSON", ""} {
		if err := os.WriteFile(progressFile(dir, Mirror), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if u := RoundUnderWay(dir, Mirror); u != nil {
			t.Errorf("%q: %+v", text, u)
		}
	}
}
