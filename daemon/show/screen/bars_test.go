package screen

import (
	"bytes"
	"strings"
	"sync"
	"testing"

	"github.com/vbauerster/mpb/v8"
	"github.com/vbauerster/mpb/v8/decor"
)

func TestHowFar(t *testing.T) {
	for _, c := range []struct {
		s    decor.Statistics
		want string
	}{
		{decor.Statistics{Current: 0, Total: 0}, " 0 bytes"},
		{decor.Statistics{Current: 1_500_000, Total: 0}, " 1.5 MB"},
		{decor.Statistics{Current: 1_500_000, Total: 3_000_000_000}, " 1.5 MB of 3.0 GB"},
	} {
		if got := howFar(c.s); got != c.want {
			t.Errorf("%+v: %q, want %q", c.s, got, c.want)
		}
	}
}

// Bars are fed from several goroutines, totals become known late, and taking
// the lines away must end whatever state the tasks are in.
func TestBarsEnd(t *testing.T) {
	var out bytes.Buffer
	b := newBars(&out, mpb.ForceAutoRefresh())
	var all sync.WaitGroup
	for _, name := range []string{"shelf-drive", "bucket", "working"} {
		all.Go(func() {
			for i := range int64(200) {
				b.show(name, i*1000, max(0, i-50)*10_000)
			}
		})
	}
	all.Wait()
	b.end()
	for _, name := range []string{"shelf-drive", "bucket", "working"} {
		if !strings.Contains(out.String(), name) {
			t.Errorf("no bar was drawn for %s", name)
		}
	}
}

func TestNoBarsWithoutATerminal(t *testing.T) {
	var out bytes.Buffer
	show, end := Bars(&out)
	if show != nil {
		t.Error("bars would be drawn where no terminal is")
	}
	end()
	if out.Len() > 0 {
		t.Errorf("printed %q", out.String())
	}
}
