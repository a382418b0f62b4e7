package walk

import (
	"errors"
	"io/fs"

	"linecamp/manifest/facts"
)

// readFile reads one file and, if it was the folder's last, finishes the folder.
func (w *walker) readFile(r *reader, j job) {
	size := w.content(r, j.in, &j.in.files[j.i])
	w.verdict(j.in, &j.in.files[j.i])
	w.mu.Lock()
	if size >= 0 {
		w.found.HashedFiles++
		w.found.HashedBytes += size
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
func (w *walker) verdict(l *listing, f *File) {
	if f.Reason == reasonChanging && !hasPatience(w.o.Cache, in(l.path, f.Name), w.o.Now()) {
		f.Reason, f.loose = "", true
	}
}

// content opens a file once, and reads from that its hashes and what else
// it tells. What goes wrong is the file's Reason. It returns how many bytes were read, -1
// if the file was not.
func (w *walker) content(r *reader, l *listing, f *File) int64 {
	if w.ctx.Err() != nil {
		f.Reason = "reading was stopped"
		return -1
	}
	open, err := l.open.open(f.Name)
	if errors.Is(err, fs.ErrNotExist) {
		f.Reason = reasonVanished
		return -1
	}
	if err != nil {
		f.Reason = cannot("opened", err)
		return -1
	}
	defer open.Close()
	before, err := statOf(open)
	if err != nil {
		f.Reason = cannot("looked at", err)
		return -1
	}
	if before.what != regular || before.inode != f.saw.inode || before.device != f.saw.device {
		f.Reason = reasonChanging // something else stands there now
		return -1
	}
	var size int64
	f.SHA256, f.XXH64, size, err = r.hash(w.ctx, open, func(n int) { w.tell(0, int64(n)) })
	if err != nil {
		f.Reason = cannot("read", err)
		return size
	}
	f.Facts = facts.Of(open, f.Name, size)
	if now, err := statOf(open); err != nil || !now.same(&f.saw) || size != now.size {
		f.Reason, f.Size = reasonChanging, size
	}
	return size
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
