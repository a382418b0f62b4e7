package archive

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"

	"linecamp/manifest/wholefile"
)

// standingFile is where the state folder has how the archive stood when all was well. It
// is taken away when a round begins, when one ends otherwise than well, and as soon as
// something wants a person.
const standingFile = "standing.json"

const lookFile = "standing-*.look" // of a look that is not done

// Look is one look at how the archive stands. What it comes to can be kept with
// [Look.Keep], unless [Archive.Doubt] was called since it began.
type Look struct{ file, as string }

// BeginLook begins one. Where nothing can be kept, neither will that be.
func (a *Archive) BeginLook() Look {
	f, err := os.CreateTemp(a.Dir, lookFile)
	if err != nil {
		return Look{}
	}
	f.Close()
	return Look{f.Name(), filepath.Join(a.Dir, standingFile)}
}

// Keep keeps what the look came to. The look's file is there only as long as nothing gave
// reason to doubt, and the one rename both asks for it and keeps it.
func (l Look) Keep(b []byte) error {
	if l.file == "" {
		return nil
	}
	f, err := os.OpenFile(l.file, os.O_WRONLY, 0)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	_, err = f.Write(b)
	if err = errors.Join(err, f.Close()); err == nil {
		err = os.Rename(l.file, l.as)
	}
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}

// End is for every look, kept or not.
func (l Look) End() {
	if l.file != "" {
		_ = os.Remove(l.file)
	}
}

// Doubt takes away what is kept of how the archive stood, and has every look under way
// keep nothing.
func (a *Archive) Doubt() {
	looks, _ := filepath.Glob(filepath.Join(a.Dir, lookFile))
	removed := false
	for _, f := range append(looks, filepath.Join(a.Dir, standingFile)) { // in this order: a look may be kept meanwhile
		err := os.Remove(f)
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			_ = os.Truncate(f, 0) // what cannot be read is not believed
		}
		removed = removed || err == nil
	}
	if !removed {
		return
	}
	if dir, err := os.OpenRoot(a.Dir); err == nil { // a power cut must not bring it back
		_ = wholefile.SyncFolder(dir, ".")
		dir.Close()
	}
}

// Standing reads what is kept in a state folder.
func Standing(dir string) ([]byte, error) { return os.ReadFile(filepath.Join(dir, standingFile)) }
