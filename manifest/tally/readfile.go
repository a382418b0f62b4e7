package tally

import (
	"errors"
	"io/fs"
	"os"
)

// readFile reads one file and, if it was the folder's last, finishes the folder.
func (w *walker) readFile(r *reader, j job) {
	s := &j.in.files[j.i]
	size := w.content(r, j.in, j.i)
	s.reason = w.verdict(s)
	w.mu.Lock()
	if size >= 0 {
		w.res.HashedFiles++
		w.res.HashedBytes += size
	}
	j.in.left--
	last := j.in.left == 0
	w.mu.Unlock()
	w.tell(1, 0)
	if last {
		w.finish(j.in)
	}
}

// verdict lets a file that changed under the reader be taken as it is once it
// has waited for long enough.
func (w *walker) verdict(s *sighting) string {
	if s.reason != reasonChanging || patience(w.o.Cache, s.Path, w.o.Now()) {
		return s.reason
	}
	s.loose = true
	return ""
}

// content opens a file once, and reads from that its hashes and what else
// it tells. What goes wrong is the sighting's reason. It returns how many bytes were read, -1
// if the file was not.
func (w *walker) content(r *reader, l *listing, i int) int64 {
	s, saw := &l.files[i], &l.stats[i]
	if w.ctx.Err() != nil {
		s.reason = "reading was stopped"
		return -1
	}
	f, err := l.open.open(s.Path[nameAt(s.Path):])
	if errors.Is(err, fs.ErrNotExist) {
		s.reason = reasonVanished
		return -1
	}
	if err != nil {
		s.reason = cannot("opened", err)
		return -1
	}
	defer f.Close()
	before, err := statOf(f)
	if err != nil {
		s.reason = cannot("looked at", err)
		return -1
	}
	if before.what != regular || before.inode != saw.inode || before.device != saw.device {
		s.reason = reasonChanging // something else stands there now
		return -1
	}
	var size int64
	s.SHA256, s.XXH64, size, err = r.hash(w.ctx, f, func(n int) { w.tell(0, int64(n)) })
	if err != nil {
		s.reason = cannot("read", err)
		return size
	}
	s.Facts = factsOf(f, s.form, extension(s.Path[nameAt(s.Path):]), size)
	w.after(s, saw, f, size)
	return size
}

// after looks once more at a file that was read.
func (w *walker) after(s *sighting, saw *stat, f *os.File, size int64) {
	now, err := statOf(f)
	if err != nil || !now.same(saw) || size != now.size {
		s.reason = reasonChanging
		s.Size = size
	}
}

// tell reports progress. Calls never overlap.
func (w *walker) tell(files int, bytes int64) {
	if w.o.Progress == nil {
		return
	}
	w.progress.Lock()
	defer w.progress.Unlock()
	w.hashed += files
	w.bytes += bytes
	if files > 0 || w.bytes-w.told >= 16<<20 {
		w.told = w.bytes
		w.o.Progress(w.hashed, w.bytes)
	}
}
