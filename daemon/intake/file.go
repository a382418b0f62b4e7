package intake

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/wholefile"
	"linecamp/manifest/words"
)

// errGone: the card cannot be found any more.
var errGone = errors.New("the card was pulled out")

// errOther: other bytes stand under the name.
var errOther = errors.New("another file has got this name meanwhile; it was left alone")

// File copies what is planned. What goes wrong with one file is in its Reason
// and never stops the rest; an error is ctx's. What is Filed was read back.
// Run again, intake finds what is filed by its content and carries on.
func (p *Plan) File(ctx context.Context) error {
	p.Filed = true
	card, err := os.OpenRoot(p.Card)
	if err != nil {
		p.fail(errGone)
		return nil
	}
	defer card.Close()
	var total, done int64
	p.each(func(_ *Visit, f *File) { total += f.Bytes })
	gone := false
	folders := map[string]*os.Root{}
	defer func() {
		for _, r := range folders {
			r.Close()
		}
	}()
	p.each(func(v *Visit, f *File) {
		if ctx.Err() != nil {
			return
		}
		if gone {
			f.State, f.Reason = Failed, errGone.Error()
			return
		}
		a := v.archive
		if folders[a.Folder] == nil {
			r, err := os.OpenRoot(a.Folder)
			if err != nil {
				f.State, f.Reason = Failed, "your folder cannot be opened: "+words.Reason(err)
				return
			}
			folders[a.Folder] = r
		}
		if err := carry(ctx, card, f, folders[a.Folder]); err != nil {
			if _, lost := os.Stat(p.Card); lost != nil {
				gone, err = true, errGone
			}
			f.State, f.Reason = Failed, words.Reason(err)
			return
		}
		f.State = Filed
		done += f.Bytes
		if p.o.Progress != nil {
			p.o.Progress(done, total)
		}
	})
	return ctx.Err()
}

func (p *Plan) fail(err error) {
	p.each(func(_ *Visit, f *File) { f.State, f.Reason = Failed, err.Error() })
}

// each calls do for every file that is still only planned.
func (p *Plan) each(do func(*Visit, *File)) {
	for i := range p.Visits {
		for k := range p.Visits[i].Files {
			if f := &p.Visits[i].Files[k]; f.State == Planned {
				do(&p.Visits[i], f)
			}
		}
	}
}

// carry copies one file: under a temporary name, written out, read back, and
// then named.
func carry(ctx context.Context, card *os.Root, f *File, folder *os.Root) error {
	from, to := filepath.FromSlash(f.file.Path), filepath.FromSlash(f.dest)
	dir := filepath.FromSlash(path.Dir(f.dest))
	if err := folder.MkdirAll(dir, 0o777); err != nil {
		return err
	}
	// The name is one that a tally takes for litter of desktops, so that a round
	// never records half a photo, not even after a crash.
	temp := filepath.Join(dir, "._linecamp-"+f.file.SHA256.String()[:16])
	if err := folder.Remove(temp); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	defer folder.Remove(temp) // gone already when all went well
	if err := pour(ctx, card, from, folder, temp, f.file.SHA256); err != nil {
		return err
	}
	if err := settle(ctx, folder, temp, to, f.file.Modified, f.file.SHA256); err != nil {
		return err
	}
	syncFolders(folder, dir)
	return nil
}

// pour copies the bytes and makes sure they are those that were planned.
func pour(ctx context.Context, card *os.Root, from string, folder *os.Root, temp string, want manifest.Digest) error {
	in, err := card.OpenFile(from, openFlags, 0)
	if err != nil {
		return fmt.Errorf("it cannot be read from the card any more: %w", err)
	}
	defer in.Close()
	if info, err := in.Stat(); err != nil || !info.Mode().IsRegular() {
		return errors.New("it is no longer a regular file on the card")
	}
	out, err := folder.OpenFile(temp, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return err
	}
	got, _, err := manifest.Copy(ctx, out, in)
	if err == nil {
		err = out.Sync()
	}
	if cerr := out.Close(); err == nil {
		err = cerr
	}
	if err != nil {
		return err
	}
	if got != want {
		return errors.New("its bytes on the card are not those that were read a moment ago; the card may be failing: copy it again, first thing")
	}
	return nil
}

// settle reads the copy back, gives it the time the photo had on the card, and
// its name.
func settle(ctx context.Context, folder *os.Root, temp, to string, modified time.Time, want manifest.Digest) error {
	if err := readBack(ctx, folder, temp, want); err != nil {
		return err
	}
	if err := folder.Chtimes(temp, modified, modified); err != nil {
		return err
	}
	err := wholefile.Name(folder, temp, to)
	if !errors.Is(err, fs.ErrExist) {
		return err
	}
	if readBack(ctx, folder, to, want) == nil {
		return nil // filed already, by a run that was cut short
	}
	return errOther
}

func readBack(ctx context.Context, folder *os.Root, name string, want manifest.Digest) error {
	f, err := folder.OpenFile(name, openFlags, 0)
	if err != nil {
		return err
	}
	defer f.Close()
	if info, err := f.Stat(); err != nil || !info.Mode().IsRegular() {
		return errOther
	}
	forget(f)
	got, _, err := manifest.Copy(ctx, nil, f)
	if err != nil {
		return err
	}
	if got != want {
		return errors.New("what was read back from your folder's disk is not what was written; check that disk before anything else")
	}
	return nil
}

// syncFolders makes new names last, where folders can be synced.
func syncFolders(folder *os.Root, dir string) {
	for {
		_ = wholefile.SyncFolder(folder, dir)
		if dir == "." {
			return
		}
		dir = filepath.Dir(dir)
	}
}
