package rot

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"math"
	"os"
	"sync"
	"sync/atomic"
	"syscall"

	"golang.org/x/sync/errgroup"

	"linecamp/manifest"
	"linecamp/manifest/store/fault"
	"linecamp/manifest/walk"
	"linecamp/verify"
)

// Working re-reads the working folder against the newest manifests, which
// objects yields with their records. A file is altered only if its size and
// time are those of the record and its bytes are not; a file with another size
// or time whose bytes differ is a change that waits for the next mirror. Files
// that are not there are counted only: the years tell which of them matter.
func Working(ctx context.Context, folder string, objects iter.Seq2[*manifest.Inventory, *manifest.Record], o Options) (verify.CopyReport, error) {
	o.fill()
	w := &working{o: o, rep: verify.CopyReport{Copy: verify.WorkingName, Depth: verify.Full}}
	if o.Quick {
		w.rep.Depth = verify.Quick
	}
	root, err := os.OpenRoot(folder)
	if err != nil {
		return w.rep, fmt.Errorf("your folder cannot be read: %w", err)
	}
	defer root.Close()
	w.root = root
	ctx, w.stop = context.WithCancelCause(ctx)
	defer w.stop(nil)

	jobs := make(chan workingJob, 4*o.Workers)
	g, gctx := errgroup.WithContext(ctx)
	for range o.Workers {
		g.Go(func() error {
			for j := range jobs {
				if gctx.Err() == nil {
					w.file(gctx, j)
				}
			}
			return nil
		})
	}
	g.Go(func() error {
		defer close(jobs)
		for inv, rec := range objects {
			if rec == nil {
				continue // without a record nothing can be called altered
			}
			held := map[string]verify.Held{}
			if o.Memory != nil {
				if h, err := o.Memory.Held(verify.WorkingName, inv.Slug()); err == nil {
					held = h
				}
			}
			for logical, e := range rec.Paths {
				d, ok := inv.State(inv.Head())[logical]
				raw := verify.WorkingPath(rec, logical)
				if !ok || raw == "" || manifest.Reserved(logical) {
					continue
				}
				select {
				case jobs <- workingJob{inv: inv, rec: rec, logical: logical, raw: raw, entry: e, want: d, held: held[logical]}:
				case <-gctx.Done():
					return context.Cause(gctx)
				}
			}
		}
		return nil
	})
	err = g.Wait()
	w.remember("", verify.Held{}, true)
	if cause := context.Cause(ctx); cause != nil {
		err = cause
	}
	w.settle(folder, &err)
	return w.rep, err
}

type working struct {
	o    Options
	root *os.Root
	stop context.CancelCauseFunc
	done atomic.Int64

	mu    sync.Mutex
	rep   verify.CopyReport
	found map[string][]verify.Held
	n     int
}

type workingJob struct {
	inv     *manifest.Inventory
	rec     *manifest.Record
	logical string
	raw     string
	entry   manifest.Entry
	want    manifest.Digest
	held    verify.Held
}

// holds reports whether the site has those bytes on record: no rot makes one
// photo of another, but a person who renames them does.
func (j workingJob) holds(d manifest.Digest) bool {
	_, ok := j.inv.Content[d]
	return ok
}

func (w *working) file(ctx context.Context, j workingJob) {
	st, err := w.root.Lstat(j.raw)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		w.count(func(r *verify.CopyReport) { r.Absent++ })
		return
	case err != nil:
		w.damaged(j, verify.Unreadable, plain(err))
		return
	case !st.Mode().IsRegular(), walk.OnlineOnly(st):
		w.count(func(r *verify.CopyReport) { r.Waiting++ })
		return
	}
	w.count(func(r *verify.CopyReport) { r.Files++; r.Bytes += st.Size() })
	if st.Size() != j.entry.Bytes {
		w.count(func(r *verify.CopyReport) { r.Waiting++ })
		return
	}
	same := st.ModTime().Equal(j.entry.Modified)
	what := sha | xxh
	known := j.held.SHA256 == j.want && j.held.XXH64 != 0 && j.held.Size == st.Size()
	if w.o.Quick && known {
		what = xxh
	}
	got, err := w.read(ctx, j.raw, what)
	if err == nil && what == xxh && got.xxh != j.held.XXH64 {
		what = sha | xxh
		got, err = w.read(ctx, j.raw, what)
	}
	switch {
	case ctx.Err() != nil:
	case errors.Is(err, fs.ErrNotExist):
		w.count(func(r *verify.CopyReport) { r.Files--; r.Bytes -= st.Size(); r.Absent++ })
	case err != nil:
		w.damaged(j, verify.Unreadable, plain(err))
	case what == xxh:
		w.count(func(r *verify.CopyReport) { add(&r.Matched, got.size) })
	case got.sha == j.want:
		w.count(func(r *verify.CopyReport) { add(&r.ReadBack, got.size) })
		w.remember(j.inv.Slug(), verify.Held{Path: j.logical, SHA256: j.want, Size: got.size, XXH64: got.xxh, ReadBack: w.o.Now().UTC()}, false)
	case same && !j.holds(got.sha) && w.unchanged(j, st):
		w.damaged(j, verify.Altered, "its size and time are unchanged and its bytes are not; "+
			fmt.Sprintf("its SHA-256 is %s…, the manifest says %s…", got.sha.String()[:12], j.want.String()[:12]))
	default:
		w.count(func(r *verify.CopyReport) { r.Waiting++ })
	}
}

// unchanged reports whether a file still has the size and time it had before it
// was read: a file being written is not damaged.
func (w *working) unchanged(j workingJob, was fs.FileInfo) bool {
	st, err := w.root.Lstat(j.raw)
	return err == nil && st.Size() == was.Size() && st.ModTime().Equal(was.ModTime())
}

func (w *working) read(ctx context.Context, raw string, what sums) (digests, error) {
	f, err := w.root.OpenFile(raw, os.O_RDONLY|syscall.O_NONBLOCK, 0)
	if err != nil {
		return digests{}, err
	}
	defer f.Close()
	if st, err := f.Stat(); err != nil || !st.Mode().IsRegular() {
		return digests{}, fs.ErrNotExist
	}
	forget(f)
	defer forget(f)
	return digest(ctx, &forgetting{f: f}, math.MaxInt64, what, w.progress)
}

// forgetting lets the page cache forget a large file while it is read.
type forgetting struct {
	f     *os.File
	since int64
}

func (r *forgetting) Read(p []byte) (int, error) {
	n, err := r.f.Read(p)
	if r.since += int64(n); r.since >= 8<<20 {
		forget(r.f)
		r.since = 0
	}
	return n, err
}

var _ io.Reader = (*forgetting)(nil)

func (w *working) progress(n int64) {
	if w.o.Progress != nil {
		w.o.Progress(w.done.Add(n), 0)
	}
}

func (w *working) count(f func(*verify.CopyReport)) {
	w.mu.Lock()
	defer w.mu.Unlock()
	f(&w.rep)
}

func add(s *verify.Share, size int64) { s.Files++; s.Bytes += size }

func (w *working) damaged(j workingJob, kind, detail string) {
	w.count(func(r *verify.CopyReport) {
		r.Damage = append(r.Damage, verify.Damage{Site: verify.SiteOf(j.inv.Slug(), j.rec).Name(), Path: j.raw, Version: j.inv.Head(), Kind: kind,
			Detail: detail, Copy: verify.WorkingName, Object: j.inv.Slug(), Content: j.logical, Files: 1, Bytes: j.entry.Bytes})
	})
}

// remember keeps a finding, and writes all of them down now and then.
func (w *working) remember(object string, h verify.Held, all bool) {
	if w.o.Memory == nil {
		return
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.found == nil {
		w.found = map[string][]verify.Held{}
	}
	if object != "" {
		w.found[object] = append(w.found[object], h)
		w.n++
	}
	if !all && w.n < rememberEvery {
		return
	}
	for object, held := range w.found {
		if err := w.o.Memory.Remember(verify.WorkingName, object, held); err != nil {
			w.stop(fmt.Errorf("remembering what your folder holds: %w", err))
		}
	}
	w.found, w.n = nil, 0
}

// settle finishes the report. A working folder that went away took its files
// with it; that is no damage to them.
func (w *working) settle(folder string, err *error) {
	rep := &w.rep
	if len(rep.Damage) > 0 || rep.Absent > 0 {
		here, e1 := os.Stat(folder)
		opened, e2 := w.root.Stat(".")
		if e1 != nil || e2 != nil || !os.SameFile(here, opened) {
			*err = errors.Join(*err, fault.Say(ErrStopped, "your folder %s went away while it was read", folder))
			rep.Absent = 0
			rep.Damage = nil
		}
	}
	if *err != nil {
		rep.Error = plain(*err)
	}
	sortDamage(rep.Damage)
	if rep.Damage == nil {
		rep.Damage = []verify.Damage{}
	}
	looked := rep.ReadBack.Files + rep.Matched.Files + rep.Waiting
	for _, d := range rep.Damage {
		looked += d.Files
	}
	rep.Unread.Files = max(0, rep.Files-looked)
}
