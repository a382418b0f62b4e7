package walk

import (
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strings"
	"time"

	"linecamp/manifest/words"
)

// A listing is one folder and the files in it.
type listing struct {
	path  string
	open  *handle
	files []File
	now   time.Time
	below []step
	aside []Waiting // links and special files
	todo  []int     // files to read
	left  int       // of these, those not read yet; under walker.mu

	known   []Known // what the cache has, in order of names; what is behind the name looked at is cut off
	had     int     // how many it had
	used    int     // how many of those still hold
	keep    []Known // what stays known though it was not seen: the listing broke off
	litter  int
	leftOut []string // the first of them
	seen    int      // as in Found
	print   uint64
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
	slices.Sort(names)
	l := &listing{path: s.path, open: h, now: w.o.Now(), known: w.recall(s.path), files: make([]File, 0, len(names))}
	l.had = len(l.known)
	for _, name := range names {
		for len(l.known) > 0 && l.known[0].Name < name {
			l.pass(broken != nil)
		}
		w.look(l, name)
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
	w.found.Passed = append(w.found.Passed, l.aside...)
	w.found.Litter += l.litter
	w.found.Seen += l.seen
	w.found.Print += l.print
	w.found.leaveOut(l.leftOut)
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
			w.found.Device = self.device
		}
		return h, nil
	}
	h, err := openIn(w.o.Folder, s.path)
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
	byName := func(a, b Known) int { return strings.Compare(a.Name, b.Name) }
	if !slices.IsSortedFunc(known, byName) {
		slices.SortFunc(known, byName)
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

// in is the path of a name in a folder.
func in(dir, name string) string {
	if dir == "" {
		return name
	}
	return dir + "/" + name
}

// look looks at one name of a folder.
func (w *walker) look(l *listing, name string) {
	st, err := l.open.lstat(name)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		l.files = append(l.files, File{Known: Known{Name: name}, Reason: reasonVanished})
	case err != nil:
		l.files = append(l.files, File{Known: Known{Name: name}, Reason: cannot("looked at", err)})
	case st.what == directory && litterFolder(name), st.what == regular && litterFile(name):
		if l.litter++; l.litter <= mostLeftOut {
			l.leftOut = append(l.leftOut, in(l.path, name))
		}
	case st.what == directory:
		l.below = append(l.below, step{in(l.path, name), st})
	case st.what == link:
		l.aside = append(l.aside, Waiting{Path: in(l.path, name), Reason: "a symbolic link, which linecamp does not follow"})
	case st.what == special:
		l.aside = append(l.aside, Waiting{Path: in(l.path, name), Reason: "not a regular file, which linecamp does not open"})
	default:
		w.regular(l, name, st)
	}
}

// regular takes a file's hashes from what is known, lets it wait, or marks it
// for reading.
func (w *walker) regular(l *listing, name string, st stat) {
	f := File{Known: Known{Name: name, Size: st.size, Modified: st.modified, Changed: st.changed, Inode: st.inode}, saw: st}
	l.seen++
	l.print += mark(l.path, name, st)
	if len(l.known) > 0 && l.known[0].Name == name && st.known(&l.known[0]) {
		k := &l.known[0]
		f.SHA256, f.XXH64, f.Facts = k.SHA256, k.XXH64, k.Facts
		l.used++
	} else if st.online {
		f.Reason = reasonOnline
	} else if f.loose = Fresh(st.modified, l.now); f.loose && hasPatience(w.o.Cache, in(l.path, name), l.now) {
		f.Reason = reasonFresh
	} else {
		l.todo = append(l.todo, len(l.files))
	}
	l.files = append(l.files, f)
}

// finish ends a folder whose files are all read: it closes it, tells the cache what
// changed and hands the files over.
func (w *walker) finish(l *listing) {
	l.open.close()
	if w.o.Cache != nil && (len(l.todo) > 0 || l.used+len(l.keep) != l.had) {
		known := l.keep
		for i := range l.files {
			if f := &l.files[i]; f.Reason == "" && !f.loose {
				known = append(known, f.Known)
			}
		}
		if err := w.o.Cache.SetFolder(l.path, known); err != nil {
			w.cacheFault(err)
		}
	}
	if len(l.files) > 0 {
		w.each(l.path, l.files)
	}
	var print uint64
	for i := range l.files {
		if f := &l.files[i]; f.Reason == "" {
			print += BytesMark(l.path, f.Name, f.SHA256)
		}
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	w.found.BytesPrint += print
	for i := range l.files {
		f := &l.files[i]
		if f.Reason != "" {
			w.found.Waiting = append(w.found.Waiting, Waiting{in(l.path, f.Name), f.Reason, f.Size})
		} else {
			w.found.Files++
			w.found.Bytes += f.Size
		}
	}
	l.files, l.open, l.known, l.keep = nil, nil, nil, nil
}

// unlisted notes a folder that could not be listed, or not to its end.
func (w *walker) unlisted(path string, err error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if path == "" {
		w.err = err
		return
	}
	w.found.Unlisted = append(w.found.Unlisted, path)
	w.found.Waiting = append(w.found.Waiting, Waiting{Path: path, Reason: "a folder that could not be listed: " + words.Reason(err)})
}

func (w *walker) cacheFault(err error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.found.CacheErr == nil {
		w.found.CacheErr = fmt.Errorf("what was read could not be remembered, so it will be read again next time: %w", err)
	}
}

// cannot puts a fault into words.
func cannot(do string, err error) string { return "cannot be " + do + ": " + words.Reason(err) }
