package restore

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
)

// delivery is one run of Run.
type delivery struct {
	target   *target
	sources  *sources
	progress func(done, total int64)
	came     func(Came)
	stop     context.CancelCauseFunc
	mustSync bool // each file by itself, where the system cannot sync all at once

	done, total atomic.Int64
	planned     atomic.Bool

	mu      sync.Mutex
	report  *Report
	folders map[string]*folder
	used    map[string]bool // folders, where each is to be synced
}

func (d *delivery) fail(show, reason string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.report.Failed = append(d.report.Failed, Failed{Path: show, Reason: reason})
}

const mostNotes = 20

func (d *delivery) note(s string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if len(d.report.Trouble) < mostNotes {
		d.report.Trouble = append(d.report.Trouble, s)
	}
}

func (d *delivery) addMissing(m Missing) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.report.Missing = append(d.report.Missing, m)
}

// delivered counts a file that stands under its name with the right bytes. A
// file whose time is not known is there, and still named as not quite restored.
func (d *delivery) delivered(it item, size int64, already bool) {
	if d.came != nil {
		d.came(Came{Path: it.show, Raw: it.dest, Digest: it.digest})
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	d.report.Files++
	d.report.Bytes += size
	if already {
		d.report.Already++
	}
	if it.modified.IsZero() {
		d.report.Failed = append(d.report.Failed, Failed{Path: it.show, Reason: "its bytes are here, but its time is not: the record that has it is lost on every copy in reach"})
	}
}

func (d *delivery) advance(n int64) {
	if d.progress == nil || n == 0 {
		return
	}
	done, total := d.done.Add(n), int64(0)
	if d.planned.Load() {
		total = d.total.Load()
	}
	d.progress(done, total)
}

// written is a file under its temporary name, checked and complete.
type written struct {
	item   item
	folder *folder
	temp   string
	size   int64
}

// deliver writes one file under a temporary name and passes it on to be named.
func (d *delivery) deliver(ctx context.Context, it item, out chan<- written) {
	f, err := d.folder(path.Dir(it.dest))
	if err != nil {
		d.targetFault(it, "its folder cannot be made", err)
		return
	}
	defer func() { d.release(f) }()
	name := path.Base(it.dest)
	if _, err := f.root.Lstat(name); err == nil {
		d.occupied(ctx, f, name, it)
		return
	} else if !errors.Is(err, fs.ErrNotExist) {
		d.targetFault(it, "its name cannot be used here", err)
		return
	}
	var reasons []string
	altered := false
	for _, s := range d.sources.all {
		for _, content := range it.contents {
			if s.gone.Load() || ctx.Err() != nil {
				continue
			}
			temp, size, err := d.write(ctx, s, it, content, f)
			if errors.Is(err, store.ErrDigest) && !s.Root.Can().Local {
				temp, size, err = d.write(ctx, s, it, content, f) // the link may have changed them
			}
			var t targetError
			switch {
			case err == nil:
				d.hold(f)
				out <- written{it, f, temp, size}
				return
			case ctx.Err() != nil:
				return
			case errors.As(err, &t):
				d.targetFault(it, "it cannot be written", t.error)
				return
			}
			if !errors.Is(err, fs.ErrNotExist) && !errors.Is(err, store.ErrDigest) {
				s.suspect(ctx, err)
			}
			altered = altered || errors.Is(err, store.ErrDigest)
			reasons = append(reasons, s.Name+": "+why(err))
		}
	}
	if ctx.Err() != nil {
		return
	}
	if !d.sources.left() {
		d.stop(fault.Say(store.ErrNotHere, "no copy is left to restore from (%s)", strings.Join(d.sources.trouble(), "; ")))
		return
	}
	if len(reasons) == 0 {
		reasons = []string{"the manifest names no place where its bytes are"}
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	d.report.Failed = append(d.report.Failed, Failed{it.show, "no copy in reach has its bytes: " + strings.Join(reasons, "; "), altered})
}

// why says in words why a source did not have the bytes.
func why(err error) string {
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "it is not there"
	case errors.Is(err, store.ErrDigest):
		return "the bytes there are not those of the manifest"
	}
	return oneLine(err)
}

// targetError is an error of the folder restored into, not of a source.
type targetError struct{ error }

func (e targetError) Unwrap() error { return e.error }

// targetFault is a failure on the side that is written to. One that will hit
// every other file too stops the whole restore.
func (d *delivery) targetFault(it item, what string, err error) {
	for _, all := range []error{syscall.ENOSPC, syscall.EROFS, syscall.EIO, errQuota} {
		if errors.Is(err, all) {
			d.stop(fmt.Errorf("restoring into %s stopped at %s: %w", d.target.name, it.show, err))
			return
		}
	}
	d.fail(it.show, what+": "+oneLine(err))
}

// occupied is for a name that is taken: the same bytes are a file delivered
// already, anything else stays as it is.
func (d *delivery) occupied(ctx context.Context, f *folder, name string, it item) {
	same, size, err := d.same(ctx, f, name, it)
	switch {
	case ctx.Err() != nil:
	case err != nil:
		d.targetFault(it, "something is there already and cannot be read", err)
	case !same:
		d.fail(it.show, "a different file is there already; it was left as it is. Move it away, or restore into another folder")
	default:
		if !it.modified.IsZero() {
			_ = f.root.Chtimes(name, time.Time{}, it.modified)
		}
		d.delivered(it, size, true)
		d.advance(size)
	}
}

// same reports whether a name in the target is an ordinary file with the bytes
// of it.
func (d *delivery) same(ctx context.Context, f *folder, name string, it item) (bool, int64, error) {
	st, err := f.root.Lstat(name)
	if err != nil {
		return false, 0, err
	}
	if !st.Mode().IsRegular() || (!it.modified.IsZero() && st.Size() != it.size) {
		return false, 0, nil
	}
	file, err := f.root.OpenFile(name, openFlags, 0)
	if err != nil {
		return false, 0, err
	}
	defer file.Close()
	got, size, err := manifest.Copy(ctx, nil, file)
	return err == nil && got == it.digest, size, err
}

// write streams one file from a source into a new temporary file and checks it
// on the way. On any error nothing is left behind.
func (d *delivery) write(ctx context.Context, s *source, it item, content string, f *folder) (temp string, size int64, err error) {
	src, info, err := s.Root.Open(ctx, it.object+"/"+content)
	if err != nil {
		return "", 0, err
	}
	defer src.Close()
	if !it.modified.IsZero() && info.Size != it.size {
		return "", 0, store.ErrDigest // and so nothing that is endless fills the target
	}
	name := newTemp()
	dst, err := f.root.OpenFile(name, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return "", 0, targetError{err}
	}
	defer func() {
		if err != nil {
			dst.Close()
			_ = f.root.Remove(name)
		}
	}()
	size = info.Size
	done, err := d.poured(ctx, dst, src, size, it.digest)
	if err == nil && !done {
		size, err = d.streamed(ctx, dst, io.LimitReader(src, info.Size+1), it.digest)
	}
	if err != nil {
		return "", 0, err
	}
	if d.mustSync {
		if err := dst.Sync(); err != nil {
			return "", 0, targetError{err}
		}
	} else {
		startWriting(dst)
	}
	if err := dst.Close(); err != nil {
		return "", 0, targetError{err}
	}
	if !it.modified.IsZero() {
		if err := f.root.Chtimes(name, time.Time{}, it.modified); err != nil {
			return "", 0, targetError{err}
		}
	}
	return name, size, nil
}

// streamed copies bytes and digests them on the way.
func (d *delivery) streamed(ctx context.Context, dst *os.File, src io.Reader, want manifest.Digest) (int64, error) {
	got, size, err := manifest.Copy(ctx, onTarget{dst, d.advance}, src)
	if err == nil && got != want {
		err = store.ErrDigest
	}
	if err != nil {
		d.advance(-size)
	}
	return size, err
}

// mostPoured bounds what is read again behind a copy: it should be in memory still.
const mostPoured = 64 << 20

// poured has the system copy a file of a drive, which costs half of what streaming it
// through this process does, and then digests what stands in the target. Where that comes
// to nothing, the target is empty again, and streaming tells what is wrong.
func (d *delivery) poured(ctx context.Context, dst *os.File, src io.Reader, size int64, want manifest.Digest) (done bool, err error) {
	from, ok := src.(*os.File)
	if !ok || size == 0 || size > mostPoured {
		return false, nil
	}
	if pour(ctx, dst, from, size) == nil {
		startWriting(dst)
		if _, err := dst.Seek(0, io.SeekStart); err == nil {
			if got, n, err := manifest.Copy(ctx, nil, dst); err == nil && n == size && got == want {
				d.advance(size)
				return true, nil
			}
		}
	}
	if _, err := from.Seek(0, io.SeekStart); err != nil {
		return false, err
	}
	if _, err = dst.Seek(0, io.SeekStart); err == nil {
		err = dst.Truncate(0)
	}
	if err != nil {
		err = targetError{err}
	}
	return false, err
}

// onTarget writes to a file of the target, whose errors are targetErrors, and
// tells of what it wrote.
type onTarget struct {
	io.Writer
	progress func(int64)
}

func (w onTarget) Write(b []byte) (int, error) {
	n, err := w.Writer.Write(b)
	if err != nil {
		return n, targetError{err}
	}
	w.progress(int64(n))
	return n, nil
}

// Temporary names: in the folder of the file, so that naming it is one rename.
const (
	tempPrefix = ".linecamp-restore-"
	tempDigits = 16
)

func newTemp() string {
	var b [tempDigits / 2]byte
	rand.Read(b[:])
	return tempPrefix + hex.EncodeToString(b[:])
}

// isTemp reports whether a name is one that newTemp makes.
func isTemp(name string) bool {
	rest, ok := strings.CutPrefix(name, tempPrefix)
	if !ok || len(rest) != tempDigits {
		return false
	}
	_, err := hex.DecodeString(rest)
	return err == nil && strings.ToLower(rest) == rest
}
