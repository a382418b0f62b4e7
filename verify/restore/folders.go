package restore

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
)

// folder is a folder of the target, open while files go into it.
type folder struct {
	path string
	root *os.Root
	dir  *os.File
	refs int
	once chan struct{} // closed when it is ready
	err  error
}

// folder opens a folder of the target, making it if it is not there, and removes
// the temporary files an interrupted restore left in it. Release it.
func (d *delivery) folder(at string) (*folder, error) {
	d.mu.Lock()
	if d.folders == nil {
		d.folders = map[string]*folder{}
	}
	f := d.folders[at]
	if f != nil {
		f.refs++
		d.mu.Unlock()
		<-f.once
		if f.err != nil {
			d.release(f)
			return nil, f.err
		}
		return f, nil
	}
	if d.mustSync {
		if d.used == nil {
			d.used = map[string]bool{}
		}
		d.used[at] = true
	}
	f = &folder{path: at, refs: 1, once: make(chan struct{})}
	d.folders[at] = f
	d.mu.Unlock()
	f.err = f.open(d.target.root)
	close(f.once)
	if f.err != nil {
		d.release(f)
		return nil, f.err
	}
	return f, nil
}

func (f *folder) open(target *os.Root) error {
	err := target.MkdirAll(f.path, 0o777)
	if err != nil && !errors.Is(err, fs.ErrExist) {
		return err
	}
	st, err := target.Lstat(f.path)
	if err != nil {
		return err
	}
	if !st.IsDir() {
		return fmt.Errorf("%s is there and is not a folder", f.path)
	}
	if f.root, err = target.OpenRoot(f.path); err != nil {
		return err
	}
	if f.dir, err = f.root.Open("."); err != nil {
		f.root.Close()
		return err
	}
	entries, err := f.dir.ReadDir(-1)
	for _, e := range entries {
		if e.Type().IsRegular() && isTemp(e.Name()) {
			_ = f.root.Remove(e.Name())
		}
	}
	return err
}

func (d *delivery) hold(f *folder) {
	d.mu.Lock()
	defer d.mu.Unlock()
	f.refs++
}

func (d *delivery) release(f *folder) {
	d.mu.Lock()
	defer d.mu.Unlock()
	f.refs--
	if f.refs > 0 {
		return
	}
	delete(d.folders, f.path)
	if f.root != nil {
		f.dir.Close()
		f.root.Close()
	}
}
