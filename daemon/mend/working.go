package mend

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path"
	"strings"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
	"linecamp/manifest/wholefile"
	"linecamp/verify"
)

// working mends a file of the working folder.
func (m *mender) working(ctx context.Context, d verify.Damage) {
	if d.Kind != verify.Altered {
		m.unmended(d, false, "linecamp mends a file in your folder only if its bytes changed while its size and time did not; to bring this one back: `linecamp restore SITE --into FOLDER`")
		return
	}
	if m.Folder == "" {
		m.unmended(d, false, "your folder is out of reach")
		return
	}
	inv := m.newest(ctx, d.Object)
	if inv == nil {
		m.unmended(d, false, "no copy in reach has a readable manifest of this site")
		return
	}
	want, ok := inv.State(inv.Head())[d.Content]
	rec := m.record(ctx, inv)
	if rec == nil || !ok {
		m.unmended(d, false, "no copy in reach has the record that tells what this file was")
		return
	}
	w := workingFile{m: m, raw: verify.WorkingPath(rec, d.Content), entry: rec.Paths[d.Content], want: want}
	if w.raw == "" {
		m.unmended(d, false, "its path cannot be in your folder")
		return
	}
	root, err := os.OpenRoot(m.Folder)
	if err != nil {
		m.unmended(d, false, "your folder cannot be opened: %v", err)
		return
	}
	defer root.Close()
	w.root = root
	switch is, err := w.look(ctx); {
	case ctx.Err() != nil:
		return
	case err != nil:
		m.unmended(d, false, "it cannot be read: %v", err)
		return
	case is == isGood:
		m.mended(d, verify.WorkingName, true)
		return
	case is == isChanged:
		m.unmended(d, false, "it was changed since; the next `linecamp mirror` records it as it is now")
		return
	}
	n := need{digest: want}
	var why []string
	for _, p := range m.candidates(ctx, n, inv) {
		if p.from == verify.WorkingName {
			continue // a working file is only mended from a copy
		}
		err := w.replace(ctx, p)
		if ctx.Err() != nil {
			return
		}
		if err == nil {
			m.mended(d, p.from, false)
			m.rememberWorking(d, want, w.entry.Bytes)
			return
		}
		if errors.Is(err, errChanged) {
			m.unmended(d, false, "it was changed while it was being mended; it is left as it is")
			return
		}
		bad := p.bad(ctx, want)
		if ctx.Err() != nil {
			return
		}
		if bad == nil {
			m.unmended(d, false, notPlaced, p.from, err)
			return
		}
		why = append(why, p.from+": "+reason(bad))
	}
	if len(why) == 0 {
		why = []string{"no copy in reach has them"}
	}
	m.unmended(d, true, "NO GOOD BYTES could be taken from any copy in reach (%s)", strings.Join(why, "; "))
}

func (m *mender) rememberWorking(d verify.Damage, want manifest.Digest, size int64) {
	if m.Memory != nil {
		_ = m.Memory.Remember(verify.WorkingName, d.Object, []verify.Held{{Path: d.Content, SHA256: want, Size: size, ReadBack: m.Now().UTC()}})
	}
}

type workingFile struct {
	m     *mender
	root  *os.Root
	raw   string
	entry manifest.Entry
	want  manifest.Digest
}

type condition int

const (
	isAltered condition = iota
	isGood
	isChanged
)

var errChanged = errors.New("changed meanwhile")

// look tells what the file is now.
func (w *workingFile) look(ctx context.Context) (condition, error) {
	if !w.untouched() {
		return isChanged, nil
	}
	f, err := w.root.Open(w.raw)
	if err != nil {
		return isAltered, err
	}
	defer f.Close()
	got, _, err := manifest.Copy(ctx, nil, f)
	switch {
	case err != nil:
		return isAltered, err
	case got == w.want:
		return isGood, nil
	case !w.untouched():
		return isChanged, nil
	}
	return isAltered, nil
}

// untouched reports whether size and time are those of the record.
func (w *workingFile) untouched() bool {
	st, err := w.root.Lstat(w.raw)
	return err == nil && st.Mode().IsRegular() && st.Size() == w.entry.Bytes && st.ModTime().Equal(w.entry.Modified)
}

// replace writes good bytes beside the file, keeps the bad ones aside, and puts
// the good ones in the file's place, with its time and permissions.
func (w *workingFile) replace(ctx context.Context, p place) error {
	src, err := p.open(ctx)
	if err != nil {
		return err
	}
	defer src.Close()
	st, err := w.root.Lstat(w.raw)
	if err != nil {
		return err
	}
	temp := path.Join(path.Dir(w.raw), wholefile.DraftName())
	draft, err := wholefile.BeginIn(w.root, temp, w.raw, st.Mode().Perm())
	if err != nil {
		return err
	}
	defer draft.Drop()
	got, _, err := manifest.Copy(ctx, draft, src)
	if err != nil {
		return err
	}
	if got != w.want {
		return store.ErrDigest
	}
	if err := draft.Finish(); err != nil {
		return err
	}
	if err := w.root.Chtimes(temp, time.Time{}, w.entry.Modified); err != nil {
		return err
	}
	if err := w.setAside(ctx); err != nil {
		return fmt.Errorf("the bad bytes could not be kept: %w", err)
	}
	if !w.untouched() {
		return errChanged
	}
	if err := draft.Replace(); err != nil {
		return err
	}
	return w.readBack(ctx)
}

// setAside copies the bad bytes into the folder for them.
func (w *workingFile) setAside(ctx context.Context) error {
	src, err := w.root.Open(w.raw)
	if err != nil {
		return err
	}
	defer src.Close()
	dst, err := w.m.asideFile(w.raw)
	if err != nil {
		return err
	}
	defer dst.Close()
	_, n, err := manifest.Copy(ctx, dst, src)
	if err == nil && n != w.entry.Bytes {
		err = errChanged
	}
	if err == nil {
		err = errors.Join(dst.Sync(), syncFolder(w.m.Aside))
	}
	if err != nil {
		_ = os.Remove(dst.Name())
	}
	return err
}

// syncFolder makes the names in a folder last through a power cut: the bad bytes
// are kept for good before others take their place.
func syncFolder(name string) error {
	f, err := os.Open(name)
	if err != nil {
		return err
	}
	defer f.Close()
	return wholefile.SyncOpen(f)
}

func (w *workingFile) readBack(ctx context.Context) error {
	f, err := w.root.Open(w.raw)
	if err != nil {
		return err
	}
	defer f.Close()
	got, _, err := manifest.Copy(ctx, nil, f)
	if err == nil && got != w.want {
		err = fault.Say(store.ErrDigest, "it was written again and still reads back wrong; the drive may be failing")
	}
	return err
}
