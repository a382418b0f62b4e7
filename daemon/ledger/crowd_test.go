package ledger

import (
	"fmt"
	"os"
	"os/exec"
	"sync"
	"testing"
	"time"

	"linecamp/manifest/walk"
	"linecamp/verify"
)

// Many goroutines on two handles, beside a process of its own.
func TestSeveralAtOnce(t *testing.T) {
	if dir := os.Getenv("LINECAMP_TEST_LEDGER"); dir != "" {
		l := open(t, dir)
		crowd(t, "child", l)
		shut(t, l)
		return
	}
	dir := t.TempDir()
	child := exec.Command(os.Args[0], "-test.run=^TestSeveralAtOnce$")
	child.Env = append(os.Environ(), "LINECAMP_TEST_LEDGER="+dir)
	ok(t, child.Start())
	var all sync.WaitGroup
	for _, who := range []string{"one", "two"} {
		all.Go(func() {
			l, err := Open(dir) // both at once, the file may not be there yet
			if err != nil {
				t.Error(err)
				return
			}
			crowd(t, who, l)
			shut(t, l)
		})
	}
	all.Wait()
	if err := child.Wait(); err != nil {
		t.Fatal("the other process:", err)
	}
	l := open(t, dir)
	defer shut(t, l)
	if l.SetAside() != "" {
		t.Error("the ledger was set aside")
	}
	shared, err := l.Held("shelf", "shared")
	ok(t, err)
	for _, who := range []string{"one", "two", "child"} {
		for i := range crowdSize {
			if h := shared[fmt.Sprintf("v1/content/%s-%d", who, i)]; !h.ReadBack.Equal(day(1)) || h.ETag != "e" {
				t.Fatalf("%s %d is %+v", who, i, h)
			}
			if got, err := l.Folder(fmt.Sprintf("%s/%d", who, i)); err != nil || len(got) != 1 {
				t.Fatalf("folder of %s: %v, %v", who, got, err)
			}
		}
	}
	if n, err := l.Spent("bucket", time.Time{}); err != nil || n != 3*crowdSize {
		t.Errorf("counted %d, %v", n, err)
	}
}

const crowdSize = 60

func crowd(t *testing.T, who string, l *Ledger) {
	fail := func(err error) {
		if err != nil {
			t.Error(err)
		}
	}
	var all sync.WaitGroup
	for i := range crowdSize {
		all.Go(func() {
			h := held(fmt.Sprintf("v1/content/%s-%d", who, i), who)
			h.ETag = "e"
			fail(l.Remember("shelf", "shared", []verify.Held{h}))
			if i%10 == 0 {
				fail(l.Flush())
			}
			h.ETag, h.ReadBack = "", day(1)
			fail(l.Remember("shelf", "shared", []verify.Held{h}))
			got, err := l.Held("shelf", "shared")
			fail(err)
			if g := got[h.Path]; g.ETag != "e" || !g.ReadBack.Equal(day(1)) {
				t.Errorf("%s: not what was just remembered: %+v", h.Path, g)
			}
			at := fmt.Sprintf("%s/%d", who, i)
			fail(l.SetFolder(at, []walk.Known{some("x")}))
			if got, err := l.Folder(at); err != nil || len(got) != 1 {
				t.Errorf("%s: %v, %v", at, got, err)
			}
			fail(l.Spend("bucket", 1, day(1)))
			_, err = l.Begin("mirror", day(1))
			fail(err)
		})
	}
	all.Wait()
}
