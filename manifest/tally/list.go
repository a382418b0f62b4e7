package tally

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"sort"
	"time"
)

// A sighting is a file with what its path says.
type sighting struct {
	File
	said
	reason string    // why it waits; "" if it does not
	lead   *sighting // the photo this is a companion of
	loose  bool      // read though it may still change: not to be remembered
}

// A listing is one folder and the files in it.
type listing struct {
	at    *folder
	open  *handle
	files []sighting
	stats []stat // of files, index by index; nil once the folder is finished
	now   time.Time
	below []step
	aside []Waiting // links and special files
	todo  []int     // files to read
	left  int       // of these, those not read yet; under walker.mu

	known  []Known // what the cache has, in order of names; what is behind the name looked at is cut off
	had    int     // how many it had
	used   int     // how many of those still hold
	keep   []Known // what stays known though it was not seen: the listing broke off
	litter int
}

var errReplaced = errors.New("it was replaced while it was being read")

// list lists one folder, takes what is known from the cache and queues the
// rest for reading.
func (w *walker) list(s step) {
	h, err := w.openFolder(s)
	if err != nil {
		w.unlisted(s.path, err)
		return
	}
	names, broken := h.list()
	if broken != nil {
		w.unlisted(s.path, broken)
	}
	sort.Strings(names)
	l := &listing{at: w.layout.folder(s.path), open: h, now: w.o.Now(), known: w.recall(s.path)}
	l.had = len(l.known)
	l.files = make([]sighting, 0, len(names))
	l.stats = make([]stat, 0, len(names))
	prefix := s.path
	if prefix != "" {
		prefix += "/"
	}
	for _, name := range names {
		for len(l.known) > 0 && l.known[0].Name < name {
			l.pass(broken != nil)
		}
		w.look(l, prefix+name, name)
	}
	for len(l.known) > 0 {
		l.pass(broken != nil)
	}
	l.left = len(l.todo)
	if l.left == 0 {
		w.finish(l)
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	w.res.Passed = append(w.res.Passed, l.aside...)
	w.res.Litter += l.litter
	// The last one in is the first one out, so that folders are read, and
	// asked of the cache, roughly in the order of their names.
	for i := len(l.below) - 1; i >= 0; i-- {
		w.folders = append(w.folders, l.below[i])
	}
	l.below, l.aside = nil, nil
	for _, i := range l.todo {
		w.files = append(w.files, job{l, i})
	}
	w.wake.Broadcast()
}

// openFolder opens a folder and makes sure it is the one its parent saw.
func (w *walker) openFolder(s step) (*handle, error) {
	if s.path == "" {
		h, err := openTop(w.o.Folder)
		if err != nil {
			return nil, err
		}
		if self, err := h.self(); err == nil {
			w.res.Device = self.device
		}
		return h, nil
	}
	h, err := openBelow(filepath.Join(w.o.Folder, filepath.FromSlash(s.path)))
	if err != nil {
		return nil, err
	}
	if self, err := h.self(); err != nil || self.inode != s.saw.inode || self.device != s.saw.device {
		h.close()
		if err == nil {
			err = errReplaced
		}
		return nil, err
	}
	return h, nil
}

// recall asks the cache for a folder. What it cannot say is read again.
func (w *walker) recall(dir string) []Known {
	if w.o.Cache == nil {
		return nil
	}
	known, err := w.o.Cache.Folder(dir)
	if err != nil {
		w.cacheFault(err)
		return nil
	}
	byName := func(i, j int) bool { return known[i].Name < known[j].Name }
	if !sort.SliceIsSorted(known, byName) {
		sort.Slice(known, byName)
	}
	return known
}

// pass leaves a known file behind that was not seen.
func (l *listing) pass(keep bool) {
	if keep {
		l.keep = append(l.keep, l.known[0])
	}
	l.known = l.known[1:]
}

// look looks at one name of a folder.
func (w *walker) look(l *listing, path, name string) {
	st, err := l.open.lstat(name)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		l.add(sighting{File: File{Path: path}, said: l.at.file(name), reason: reasonVanished}, stat{})
	case err != nil:
		l.add(sighting{File: File{Path: path}, said: l.at.file(name), reason: cannot("looked at", err)}, stat{})
	case st.what == directory && litterFolder(name), st.what == regular && litterFile(name):
		l.litter++
	case st.what == directory:
		l.below = append(l.below, step{path, st})
	case st.what == link:
		l.aside = append(l.aside, Waiting{Path: path, Reason: "a symbolic link, which linecamp does not follow"})
	case st.what == special:
		l.aside = append(l.aside, Waiting{Path: path, Reason: "not a regular file, which linecamp does not open"})
	default:
		w.regular(l, path, name, st)
	}
}

// regular takes a file's hashes from what is known, lets it wait, or marks it
// for reading.
func (w *walker) regular(l *listing, path, name string, st stat) {
	s := sighting{File: File{Path: path, Size: st.size, Modified: st.modified}, said: l.at.file(name)}
	if len(l.known) > 0 && l.known[0].Name == name && st.known(&l.known[0]) {
		k := &l.known[0]
		s.SHA256, s.XXH64, s.Facts = k.SHA256, k.XXH64, k.Facts
		l.used++
	} else if s.loose = fresh(st.modified, l.now); s.loose && patience(w.o.Cache, path, l.now) {
		s.reason = reasonFresh
	} else {
		l.todo = append(l.todo, len(l.files))
	}
	l.add(s, st)
}

func (l *listing) add(s sighting, st stat) {
	l.files = append(l.files, s)
	l.stats = append(l.stats, st)
}

// finish ends a folder whose files are all read: it closes it and tells the
// cache what changed.
func (w *walker) finish(l *listing) {
	l.open.close()
	if w.o.Cache != nil && (len(l.todo) > 0 || l.used+len(l.keep) != l.had) {
		known := l.keep
		for i := range l.files {
			f, st := &l.files[i], &l.stats[i]
			if f.reason != "" || f.loose {
				continue
			}
			known = append(known, Known{Name: f.Path[nameAt(f.Path):], Size: st.size, Modified: st.modified, Changed: st.changed,
				Inode: st.inode, SHA256: f.SHA256, XXH64: f.XXH64, Facts: f.Facts})
		}
		if err := w.o.Cache.SetFolder(l.at.path, known); err != nil {
			w.cacheFault(err)
		}
	}
	done := l.done()
	w.mu.Lock()
	defer w.mu.Unlock()
	for i := range l.files {
		s := &l.files[i]
		w.near.evidence(l.at.path, s)
		if s.reason != "" {
			w.res.Waiting = append(w.res.Waiting, Waiting{s.Path, s.reason, s.Size})
		} else {
			w.res.Files++
			w.res.Bytes += s.Size
		}
	}
	if done.files.Len() > 0 {
		w.read = append(w.read, done)
	}
	l.files, l.stats, l.open, l.known, l.keep = nil, nil, nil, nil, nil
}

// A finished folder keeps its files packed until all of the archive is read:
// only then can a path be understood that its neighbours explain. What the path
// says by itself is found out again then, which costs less than to keep it.
type finished struct {
	path  string
	files Files
}

func (l *listing) done() *finished {
	p := packer{prefix: l.at.path, b: make([]byte, 0, 96*len(l.files))}
	list := p.begin()
	for i := range l.files {
		if l.files[i].reason == "" {
			p.file(&list, &l.files[i].File)
		}
	}
	p.done()
	return &finished{l.at.path, list}
}

// sightings are the files of a finished folder, with what their paths say.
func (d *finished) sightings(at *folder) []sighting {
	files := make([]sighting, 0, d.files.Len())
	for f := range d.files.All() {
		files = append(files, sighting{File: f, said: at.file(f.Path[nameAt(f.Path):])})
	}
	group(files)
	return files
}

// nameAt is where the last element of a path begins.
func nameAt(path string) int {
	for i := len(path) - 1; i >= 0; i-- {
		if path[i] == '/' {
			return i + 1
		}
	}
	return 0
}

// unlisted notes a folder that could not be listed, or not to its end.
func (w *walker) unlisted(path string, err error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if path == "" {
		w.err = err
		return
	}
	w.res.Unlisted = append(w.res.Unlisted, path)
	w.res.Waiting = append(w.res.Waiting, Waiting{Path: path, Reason: "this folder could not be listed: " + plain(err)})
}

func (w *walker) cacheFault(err error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.res.CacheErr == nil {
		w.res.CacheErr = fmt.Errorf("what was read could not be remembered, so it will be read again next time: %w", err)
	}
}

// cannot puts a fault into words.
func cannot(do string, err error) string { return "it cannot be " + do + ": " + plain(err) }

// plain is an error without the path, which stands beside it anyway.
func plain(err error) string {
	var p *fs.PathError
	if errors.As(err, &p) {
		err = p.Err
	}
	return err.Error()
}
