package main

import (
	"fmt"
	"io"
	"os"
	"sync"
	"time"

	"github.com/vbauerster/mpb/v8"
	"github.com/vbauerster/mpb/v8/decor"
	"golang.org/x/term"

	"linecamp/manifest"
)

// bars shows how far each task has come, one line a task. It is only ever made
// for a person at a terminal.
type bars struct {
	screen *mpb.Progress
	mu     sync.Mutex
	tasks  map[string]*task
}

type task struct {
	bar   *mpb.Bar
	total int64
}

// progress starts the bars where a person looks on. The function it returns
// may be called from several goroutines; end clears the lines before a report
// is printed. Elsewhere both do nothing, and the function is nil.
func (t *tool) progress() (show func(task string, done, total int64), end func()) {
	f, ok := t.bars.(*os.File)
	if !ok || t.quiet || !term.IsTerminal(int(f.Fd())) {
		return nil, func() {}
	}
	b := newBars(f)
	return b.show, b.end
}

func newBars(w io.Writer, more ...mpb.ContainerOption) *bars {
	o := append([]mpb.ContainerOption{mpb.WithOutput(w), mpb.WithWidth(34), mpb.WithRefreshRate(200 * time.Millisecond)}, more...)
	return &bars{screen: mpb.New(o...), tasks: map[string]*task{}}
}

func (b *bars) show(name string, done, total int64) {
	b.mu.Lock()
	defer b.mu.Unlock()
	k := b.tasks[name]
	if k == nil {
		k = &task{bar: b.screen.New(0, mpb.BarStyle().Lbound("").Filler("=").Tip("=").Padding(".").Rbound(""),
			mpb.BarRemoveOnComplete(),
			mpb.PrependDecorators(decor.Name(manifest.Printable(name), decor.WCSyncSpaceR)),
			mpb.AppendDecorators(decor.Any(howFar)),
		)}
		b.tasks[name] = k
	}
	if total > 0 && total != k.total {
		k.total = total
		k.bar.SetTotal(total, false)
	}
	k.bar.SetCurrent(done)
}

// howFar says in bytes how far a task has come; its end is not always known.
func howFar(s decor.Statistics) string {
	if s.Total <= 0 {
		return " " + amount(s.Current)
	}
	return " " + amount(s.Current) + " of " + amount(s.Total)
}

func amount(n int64) string {
	f, unit := float64(n), "bytes"
	for _, u := range []string{"kB", "MB", "GB", "TB"} {
		if f < 999.5 {
			break
		}
		f, unit = f/1000, u
	}
	if unit == "bytes" {
		return fmt.Sprintf("%d bytes", n)
	}
	return fmt.Sprintf("%.1f %s", f, unit)
}

// end takes the lines away.
func (b *bars) end() {
	b.mu.Lock()
	for _, k := range b.tasks {
		k.bar.Abort(true)
	}
	b.mu.Unlock()
	b.screen.Wait()
}
