package ocfl

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// LocalFolder is Files over a folder of this machine. It works through os.Root:
// no name and no link leads out of the folder.
type LocalFolder struct {
	path string
	root *os.Root
}

// OpenFolder opens a folder to be checked. Close it afterwards.
func OpenFolder(path string) (*LocalFolder, error) {
	root, err := os.OpenRoot(path)
	if err != nil {
		return nil, fmt.Errorf("%s cannot be checked: %w", path, err)
	}
	return &LocalFolder{path, root}, nil
}

func (l *LocalFolder) Name() string { return l.path }
func (l *LocalFolder) Close() error { return l.root.Close() }

func (l *LocalFolder) List(ctx context.Context, folder string) ([]Entry, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if folder == "" {
		folder = "."
	}
	f, err := l.root.OpenFile(filepath.FromSlash(folder), openFlags, 0)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	const atOnce = 4096
	var out []Entry
	for {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		names, err := f.ReadDir(atOnce)
		for _, e := range names {
			entry, err := entryOf(e)
			if errors.Is(err, fs.ErrNotExist) {
				continue // went away since
			}
			if err != nil {
				return nil, err
			}
			out = append(out, entry)
		}
		if err == io.EOF {
			return out, nil
		}
		if err != nil {
			return nil, err
		}
	}
}

func entryOf(e fs.DirEntry) (Entry, error) {
	switch t := e.Type(); {
	case t.IsDir():
		return Entry{Name: e.Name(), Kind: Folder}, nil
	case t&fs.ModeSymlink != 0:
		return Entry{Name: e.Name(), Kind: Link}, nil
	case !t.IsRegular():
		return Entry{Name: e.Name(), Kind: Special}, nil
	}
	info, err := e.Info()
	if err != nil {
		return Entry{}, err
	}
	return Entry{Name: e.Name(), Kind: File, Size: info.Size(), Same: hardLink(info)}, nil
}

func (l *LocalFolder) Open(ctx context.Context, name string) (io.ReadCloser, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	f, err := l.root.OpenFile(filepath.FromSlash(name), openFlags, 0)
	if err != nil {
		return nil, err
	}
	info, err := f.Stat()
	if err == nil && !info.Mode().IsRegular() {
		err = fmt.Errorf("it is not an ordinary file (%v)", info.Mode().Type())
	}
	if err != nil {
		f.Close()
		return nil, err
	}
	return f, nil
}
