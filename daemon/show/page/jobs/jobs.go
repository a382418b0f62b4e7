// Package jobs runs what is begun from the page, in one archive one thing at a time,
// and tells those who look on how far it has come. Begin with [List.Begin].
package jobs

import (
	"context"
	"errors"
	"slices"
	"strconv"
	"sync"
	"time"

	"linecamp/daemon"
	"linecamp/manifest/words"
)

// List are the works that were begun in one archive.
type List struct {
	mu   sync.Mutex
	all  []*Job
	done sync.WaitGroup
}

// mostJobs is how many are remembered.
const mostJobs = 20

// Job is a work that was begun.
type Job struct {
	ID string
	Work
	Stop context.CancelFunc

	began time.Time

	mu     sync.Mutex
	ended  bool
	text   string // what came of it
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

// ErrBusy: one thing at a time.
var ErrBusy = errors.New("something else is under way in this archive; wait for it, or stop it first")

// Work is what is to be begun.
type Work struct {
	What string // in words: "Mirror"
	Line string // the command line that does the same
	Do   func(context.Context, daemon.Progress) (daemon.Report, error)
	Then func(context.Context)                    // after it went well, and before it has ended
	Tell func(daemon.Report, error) (text string) // what came of it, in words
}

// Begin begins a work, if none is under way. It goes on when the window is closed,
// until life ends; then, too, every copy is valid.
func (j *List) Begin(life context.Context, now func() time.Time, w Work) (*Job, error) {
	j.mu.Lock()
	defer j.mu.Unlock()
	number := 1
	if n := len(j.all); n > 0 {
		if j.all[n-1].under() {
			return nil, ErrBusy
		}
		last, _ := strconv.Atoi(j.all[n-1].ID)
		number = last + 1
	}
	ctx, cancel := context.WithCancel(life)
	x := &Job{ID: strconv.Itoa(number), Work: w, Stop: cancel, began: now(), moved: make(chan struct{})}
	j.all = append(j.all, x)
	if len(j.all) > mostJobs {
		j.all = j.all[1:]
	}
	j.done.Go(func() {
		defer cancel()
		r, err := w.Do(ctx, x.progress)
		if err == nil {
			w.Then(ctx)
		}
		x.end(r, err)
	})
	return x, nil
}

func (x *Job) under() bool {
	x.mu.Lock()
	defer x.mu.Unlock()
	return !x.ended
}

func (x *Job) progress(name string, done, total int64) {
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
func (x *Job) tell() {
	close(x.moved)
	x.moved = make(chan struct{})
}

func (x *Job) end(r daemon.Report, err error) {
	text := x.Tell(r, err)
	x.mu.Lock()
	defer x.mu.Unlock()
	x.ended, x.text, x.failed = true, text, err != nil
	if err == nil {
		x.wants, x.report = r.Wants(), r
	}
	x.tell()
}

// Find finds a job, nil if there is none.
func (j *List) Find(id string) *Job {
	j.mu.Lock()
	defer j.mu.Unlock()
	for _, x := range j.all {
		if x.ID == id {
			return x
		}
	}
	return nil
}

// LastMirror is the report of the newest mirror round that was run from the page.
func (j *List) LastMirror() (r daemon.MirrorReport, ok bool) {
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

// Wait waits for the work under way to end.
func (j *List) Wait() { j.done.Wait() }

// Row is a job for a view, and for those who look on.
type Row struct {
	ID      string    `json:"id"`
	What    string    `json:"what"`
	Line    string    `json:"-"`
	Began   time.Time `json:"-"`
	Under   bool      `json:"under_way"`
	Outcome string    `json:"outcome"`
	Wants   bool      `json:"-"` // it was not done, or something wants a person
	Text    string    `json:"-"`
	Tasks   []TaskRow `json:"tasks"`
}

// TaskRow is how far one copy has come.
type TaskRow struct {
	Name  string `json:"name"`
	Far   string `json:"far"`
	Done  int64  `json:"done"`
	Total int64  `json:"total"`
}

// Row is the job as it is now, and what is closed when it has moved.
func (x *Job) Row() (row Row, moved <-chan struct{}) {
	x.mu.Lock()
	defer x.mu.Unlock()
	row = Row{ID: x.ID, What: x.What, Line: x.Line, Began: x.began, Under: !x.ended, Text: x.text, Tasks: []TaskRow{}}
	switch {
	case row.Under:
		row.Outcome = "Under way"
	case x.failed:
		row.Outcome, row.Wants = "Not done", true
	case x.wants:
		row.Outcome, row.Wants = "Done; something needs you", true
	default:
		row.Outcome = "Done"
	}
	for _, t := range x.tasks {
		row.Tasks = append(row.Tasks, TaskRow{t.name, far(t.done, t.total), t.done, t.total})
	}
	return row, x.moved
}

// far says how far a task has come; its end is not always known.
func far(done, total int64) string {
	if total <= 0 {
		return words.Size(done)
	}
	return words.Size(done) + " of " + words.Size(total)
}

// Running is the work under way; nil where there is none.
func (j *List) Running() *Row {
	j.mu.Lock()
	defer j.mu.Unlock()
	if n := len(j.all); n > 0 && j.all[n-1].under() {
		row, _ := j.all[n-1].Row()
		return &row
	}
	return nil
}

// Rows are the works begun from the page, newest first.
func (j *List) Rows() (all []Row) {
	j.mu.Lock()
	defer j.mu.Unlock()
	for _, x := range slices.Backward(j.all) {
		row, _ := x.Row()
		all = append(all, row)
	}
	return all
}
