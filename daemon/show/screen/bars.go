package screen

import (
	"io"
	"os"
	"sync"
	"time"

	"github.com/vbauerster/mpb/v8"
	"github.com/vbauerster/mpb/v8/decor"
	"golang.org/x/term"

	"linecamp/manifest"
	"linecamp/manifest/words"
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

// Bars starts bars on w, where w is a terminal that a person looks at. Show says how
// far a task is, in bytes, with a total of 0 where that is not known; it may be
// called from several goroutines. End clears the lines before a report is printed.
// Elsewhere end does nothing, and show is nil.
func Bars(w io.Writer) (show func(task string, done, total int64), end func()) {
	f, ok := w.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
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
		return " " + words.Size(s.Current)
	}
	return " " + words.Size(s.Current) + " of " + words.Size(s.Total)
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
