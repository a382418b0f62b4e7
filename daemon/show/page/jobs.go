package page

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"linecamp/daemon"
	"linecamp/daemon/show/text"
	"linecamp/manifest/words"
)

// jobs are the works that were begun from the page, in one archive: one at a time.
type jobs struct {
	mu   sync.Mutex
	all  []*job
	done sync.WaitGroup
}

// mostJobs is how many are remembered.
const mostJobs = 20

// job is one work.
type job struct {
	id    string
	what  string // in words: "Mirror"
	line  string // the command line that does the same
	began time.Time
	stop  context.CancelFunc

	mu     sync.Mutex
	ended  time.Time
	text   string // the report, or what went wrong
	failed bool
	wants  bool
	report daemon.Report // nil where there is none
	tasks  []*task
	moved  chan struct{} // closed when something changed, and made anew
}

type task struct {
	name        string
	done, total int64
}

var errBusy = fmt.Errorf("%w now: something else is under way in this archive; wait for it, or stop it first", errAsked)

// begin begins a work, if none is under way. It goes on when the window is closed,
// until life ends; then, too, every copy is valid.
func (j *jobs) begin(life context.Context, b *book, what, line string, do func(context.Context, daemon.Progress) (daemon.Report, error)) (*job, error) {
	j.mu.Lock()
	defer j.mu.Unlock()
	if n := len(j.all); n > 0 && j.all[n-1].under() {
		return nil, errBusy
	}
	number := 1
	if n := len(j.all); n > 0 {
		last, _ := strconv.Atoi(j.all[n-1].id)
		number = last + 1
	}
	ctx, cancel := context.WithCancel(life)
	x := &job{id: strconv.Itoa(number), what: what, line: line, began: b.now(), stop: cancel, moved: make(chan struct{})}
	j.all = append(j.all, x)
	if len(j.all) > mostJobs {
		j.all = j.all[1:]
	}
	j.done.Go(func() {
		defer cancel()
		r, err := do(ctx, x.progress)
		if err == nil {
			_, _ = b.read(ctx, true) // so that what is shown next has it
		}
		x.end(b, r, err)
	})
	return x, nil
}

func (x *job) under() bool {
	x.mu.Lock()
	defer x.mu.Unlock()
	return x.ended.IsZero()
}

func (x *job) progress(name string, done, total int64) {
	x.mu.Lock()
	defer x.mu.Unlock()
	i := slices.IndexFunc(x.tasks, func(t *task) bool { return t.name == name })
	if i < 0 {
		i, x.tasks = len(x.tasks), append(x.tasks, &task{name: name})
	}
	x.tasks[i].done = done
	if total > 0 {
		x.tasks[i].total = total
	}
	x.tell()
}

// tell wakes those who look on. x.mu is held.
func (x *job) tell() {
	close(x.moved)
	x.moved = make(chan struct{})
}

func (x *job) end(b *book, r daemon.Report, err error) {
	var out bytes.Buffer
	if r != nil && err == nil {
		text.Print(words.Writer(&out, b.Line), r)
	}
	x.mu.Lock()
	defer x.mu.Unlock()
	x.ended = b.now()
	switch {
	case errors.Is(err, context.Canceled):
		x.text, x.failed = "Stopped. What was kept stays kept, nothing is half-written under its name, and the next run carries on from here.", true
	case err != nil:
		x.text, x.failed = sentence(errors.New(b.Line.Text(words.Plain(err.Error())))), true
	default:
		x.text, x.wants, x.report = strings.TrimSpace(out.String()), r.Wants(), r
	}
	x.tell()
}

func (j *jobs) find(id string) *job {
	j.mu.Lock()
	defer j.mu.Unlock()
	for _, x := range j.all {
		if x.id == id {
			return x
		}
	}
	return nil
}

// lastMirror is the report of the newest mirror round that was run from the page.
func (j *jobs) lastMirror() (r daemon.MirrorReport, ok bool) {
	j.mu.Lock()
	defer j.mu.Unlock()
	for _, x := range slices.Backward(j.all) {
		x.mu.Lock()
		r, ok = x.report.(daemon.MirrorReport)
		x.mu.Unlock()
		if ok {
			return r, true
		}
	}
	return r, false
}

// wait waits for the work under way to end.
func (j *jobs) wait() { j.done.Wait() }

// jobRow is a job for a view, and for those who look on.
type jobRow struct {
	ID      string    `json:"id"`
	What    string    `json:"what"`
	Line    string    `json:"-"`
	Began   string    `json:"-"`
	Under   bool      `json:"under_way"`
	Outcome string    `json:"outcome"`
	Wants   bool      `json:"-"` // it was not done, or something wants a person
	Text    string    `json:"-"`
	Tasks   []taskRow `json:"tasks"`
}

type taskRow struct {
	Name  string `json:"name"`
	Far   string `json:"far"`
	Done  int64  `json:"done"`
	Total int64  `json:"total"`
}

func (x *job) row() (row jobRow, moved <-chan struct{}) {
	x.mu.Lock()
	defer x.mu.Unlock()
	row = jobRow{ID: x.id, What: x.what, Line: x.line, Began: clock(x.began), Under: x.ended.IsZero(), Text: x.text, Tasks: []taskRow{}}
	switch {
	case row.Under:
		row.Outcome = "Under way"
	case x.failed:
		row.Outcome, row.Wants = "Not done", true
	case x.wants:
		row.Outcome, row.Wants = "Done; something wants you", true
	default:
		row.Outcome = "Done"
	}
	for _, t := range x.tasks {
		row.Tasks = append(row.Tasks, taskRow{t.name, far(t.done, t.total), t.done, t.total})
	}
	return row, x.moved
}

// far says how far a task has come; its end is not always known.
func far(done, total int64) string {
	if total <= 0 {
		return sizeOf(done)
	}
	return sizeOf(done) + " of " + sizeOf(total)
}

// running is the work under way; nil where there is none.
func (j *jobs) running() *jobRow {
	j.mu.Lock()
	defer j.mu.Unlock()
	if n := len(j.all); n > 0 && j.all[n-1].under() {
		row, _ := j.all[n-1].row()
		return &row
	}
	return nil
}

// rows are the works begun from the page, newest first.
func (j *jobs) rows() (all []jobRow) {
	j.mu.Lock()
	defer j.mu.Unlock()
	for _, x := range slices.Backward(j.all) {
		row, _ := x.row()
		all = append(all, row)
	}
	return all
}
