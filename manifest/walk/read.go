package walk

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"runtime"
	"slices"
	"strings"
	"sync"
	"time"

	"linecamp/manifest/store/fault"
)

// Read walks a working folder and gives each the files of every folder that has some,
// in the order of their names. each is called from several goroutines at once. A fault
// in one file or folder is told in Found or in the file's Reason and never stops the
// rest; an error means that there is no result: [ErrNoFolder], a working folder that
// cannot be listed, or ctx ended. What was read until then is in the cache all the same.
func Read(ctx context.Context, o Options, each func(dir string, files []File)) (*Found, error) {
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Workers <= 0 {
		o.Workers = runtime.GOMAXPROCS(0)
	}
	if info, err := os.Stat(o.Folder); errors.Is(err, fs.ErrNotExist) {
		return nil, fault.Say(ErrNoFolder, "your folder %s is not there; check that its drive is connected and the path is right", o.Folder)
	} else if err == nil && !info.IsDir() {
		return nil, fault.Say(ErrNoFolder, "your folder %s is a file, not a folder", o.Folder)
	} else if err != nil {
		return nil, fmt.Errorf("your folder %s cannot be looked at: %w", o.Folder, err)
	}
	w := &walker{ctx: ctx, o: o, each: each, folders: []step{{}}}
	w.wake = sync.NewCond(&w.mu)
	w.run()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if w.err != nil {
		return nil, fmt.Errorf("your folder %s cannot be listed: %w", o.Folder, w.err)
	}
	slices.Sort(w.found.Unlisted)
	for _, list := range [][]Waiting{w.found.Waiting, w.found.Passed} {
		slices.SortStableFunc(list, func(a, b Waiting) int { return strings.Compare(a.Path, b.Path) })
	}
	return &w.found, nil
}

// A walker lists folders and reads files with a fixed number of goroutines.
// Files wait in one line and folders in another, and files go first: so few
// folders are open at once, and one folder with thousands of files keeps every
// core busy as well as thousands of folders do.
type walker struct {
	ctx  context.Context
	o    Options
	each func(dir string, files []File)

	mu      sync.Mutex
	wake    *sync.Cond
	folders []step // last in, first out: keeps the line short
	files   []job
	busy    int // goroutines at work, which may add to the lines
	found   Found
	err     error // the working folder itself could not be listed

	progress sync.Mutex
	hashed   int
	bytes    int64
	told     int64
}

// A step is a folder to list, with what its parent saw of it.
type step struct {
	path string
	saw  stat
}

// A job is a file to read.
type job struct {
	in *listing
	i  int
}

func (w *walker) run() {
	stop := context.AfterFunc(w.ctx, func() {
		w.mu.Lock()
		defer w.mu.Unlock()
		w.wake.Broadcast()
	})
	defer stop()
	var all sync.WaitGroup
	for range w.o.Workers {
		all.Go(w.work)
	}
	all.Wait()
}

func (w *walker) work() {
	r := newReader()
	w.mu.Lock()
	defer w.mu.Unlock()
	for {
		switch {
		case len(w.files) > 0:
			// After ctx ends the line still empties, since every folder's
			// last file closes the folder; reading a file ends at once.
			j := w.files[len(w.files)-1]
			w.files = w.files[:len(w.files)-1]
			w.busy++
			w.mu.Unlock()
			w.readFile(r, j)
			w.mu.Lock()
			w.busy--
		case len(w.folders) > 0 && w.ctx.Err() == nil:
			s := w.folders[len(w.folders)-1]
			w.folders = w.folders[:len(w.folders)-1]
			w.busy++
			w.mu.Unlock()
			w.list(s)
			w.mu.Lock()
			w.busy--
		case w.busy == 0:
			w.wake.Broadcast()
			return
		default:
			w.wake.Wait()
		}
	}
}
