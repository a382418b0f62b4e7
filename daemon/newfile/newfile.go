// Package newfile gives a file that is written and complete its name, and never
// one that something else has: what people keep in a folder is not written over.
package newfile

import (
	"errors"
	"io/fs"
	"os"
)

// Name names the file temp, which lies in the same folder. The error wraps
// fs.ErrExist where something has that name, whatever it is; temp stays then.
func Name(root *os.Root, temp, name string) error {
	// A link is refused where a name is taken; a rename would replace.
	err := root.Link(temp, name)
	if err == nil {
		_ = root.Remove(temp) // what stays of it is the same file under a second name
		return nil
	}
	if errors.Is(err, fs.ErrExist) {
		return err
	}
	// Drives formatted for cameras and desktops have no links.
	switch _, there := root.Lstat(name); {
	case there == nil:
		return &os.LinkError{Op: "rename", Old: temp, New: name, Err: fs.ErrExist}
	case !errors.Is(there, fs.ErrNotExist):
		return there
	}
	return root.Rename(temp, name)
}
