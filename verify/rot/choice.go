package rot

import (
	"container/heap"
	"context"
	"slices"
	"sync"
	"time"

	"linecamp/verify"
)

// choice picks what is downloaded from S3 within an allowance: what was never
// read first, then what was read longest ago. It holds no more files than the
// allowance has room for; the rest is only asked about.
type choice struct {
	mu    sync.Mutex
	files oldest
	size  int64 // of files
	left  int64 // bytes that may be downloaded
}

type chosenFile struct {
	job  job
	read time.Time // zero: never
}

// oldest is a heap with the file read last on top.
type oldest []chosenFile

func (h oldest) Len() int { return len(h) }
func (h oldest) Less(i, j int) bool {
	if c := h[i].read.Compare(h[j].read); c != 0 {
		return c > 0
	}
	return h[i].job.key() > h[j].job.key()
}
func (h oldest) Swap(i, j int) { h[i], h[j] = h[j], h[i] }
func (h *oldest) Push(x any)   { *h = append(*h, x.(chosenFile)) }
func (h *oldest) Pop() any {
	last := len(*h) - 1
	x := (*h)[last]
	(*h)[last] = chosenFile{}
	*h = (*h)[:last]
	return x
}

// offer takes a file into the choice and returns those that it left no room
// for, to be asked about only.
func (c *choice) offer(j job, held verify.Held) []job {
	c.mu.Lock()
	defer c.mu.Unlock()
	var out []job
	leave := func(j job) {
		j.confirm = true
		out = append(out, j)
	}
	size := j.info.Size
	if size > c.left {
		leave(j) // larger than all that may be read: it must not keep the others out
		return out
	}
	read := held.ReadBack
	if held.SHA256 != j.want || held.ETag != j.info.ETag {
		read = time.Time{} // not what was read then
	}
	heap.Push(&c.files, chosenFile{j, read})
	c.size += size
	for c.size > c.left {
		f := heap.Pop(&c.files).(chosenFile)
		c.size -= f.job.info.Size
		leave(f.job)
	}
	return out
}

// send hands the chosen files out, longest unread first.
func (c *choice) send(ctx context.Context, r *check) {
	c.mu.Lock()
	files := c.files
	c.files = nil
	c.left -= c.size
	c.size = 0
	c.mu.Unlock()
	slices.SortFunc(files, func(a, b chosenFile) int { return a.read.Compare(b.read) })
	for i, f := range files {
		if !r.post(ctx, f.job) {
			for _, f := range files[i+1:] {
				f.job.object.finish(r)
			}
			return
		}
	}
}

// take takes n bytes from the allowance for a file that was not chosen; only
// what no chosen file needs.
func (c *choice) take(n int64) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.size+n > c.left {
		return false
	}
	c.left -= n
	return true
}
