package service

import (
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"
)

// A round leaves in the state folder how far it is, so that another process can
// show it. It is a courtesy: nothing depends on it, and what cannot be written is
// no reason to stop keeping photos.
const progressEvery = time.Second

func progressFile(dir, round string) string { return filepath.Join(dir, "progress-"+round+".json") }

// UnderWay is a round that some process runs.
type UnderWay struct {
	Round   string    `json:"round"`
	Process int       `json:"process"`
	Began   time.Time `json:"began"`
	Tasks   []Task    `json:"tasks"`
}

// Task is how far the round is with one copy, in bytes; Total 0 is unknown.
type Task struct {
	Name  string `json:"name"`
	Done  int64  `json:"done"`
	Total int64  `json:"total"`
}

// Under tells from now on that a round is under way, and how far it is whenever
// tell is called, until end is.
func Under(dir, round string, now func() time.Time) (tell func(task string, done, total int64), end func()) {
	file := progressFile(dir, round)
	var mu sync.Mutex
	u := UnderWay{Round: round, Process: os.Getpid(), Began: now().UTC(), Tasks: []Task{}}
	var last time.Time
	write := func() {
		last = now()
		b, err := json.Marshal(u)
		if err != nil || os.WriteFile(file+"~", b, 0o600) != nil || os.Rename(file+"~", file) != nil {
			os.Remove(file + "~")
		}
	}
	write()
	tell = func(task string, done, total int64) {
		mu.Lock()
		defer mu.Unlock()
		i := slices.IndexFunc(u.Tasks, func(t Task) bool { return t.Name == task })
		if i < 0 {
			i, u.Tasks = len(u.Tasks), append(u.Tasks, Task{Name: task})
		}
		u.Tasks[i].Done = done
		if total > 0 {
			u.Tasks[i].Total = total
		}
		if now().Sub(last) >= progressEvery {
			write()
		}
	}
	return tell, func() {
		mu.Lock()
		defer mu.Unlock()
		if at := RoundUnderWay(dir, round); at != nil && at.Process == u.Process && at.Began.Equal(u.Began) { // not one that began since
			os.Remove(file)
		}
	}
}

// RoundUnderWay is the round of a kind that some process runs, nil where none
// does. One that was killed runs no more.
func RoundUnderWay(dir, round string) *UnderWay {
	b, err := os.ReadFile(progressFile(dir, round))
	var u UnderWay
	if err != nil || json.Unmarshal(b, &u) != nil || u.Process <= 0 || !lives(u.Process) {
		return nil
	}
	return &u
}
