package mirror

import (
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"pgregory.net/rapid"

	"linecamp/manifest"
)

// simFile is a file of the working folder as a person left it.
type simFile struct {
	bytes    []byte
	modified time.Time
	rotten   bool // the disk has other bytes now, of the same size and time
	// was is what it had before it rotted and was moved. Who did not see that
	// takes bytes for what is meant; who knows the site again may mend it.
	was []byte
}

// may are the digests the file may be recorded with.
func (f *simFile) may() []manifest.Digest {
	if f.was != nil {
		return []manifest.Digest{manifest.Sum(f.bytes), manifest.Sum(f.was)}
	}
	return []manifest.Digest{manifest.Sum(f.bytes)}
}

var (
	simSites = []string{"North/Windmill", "North/Gully", "South/Draw", "South/Old Well"}
	simDates = []string{"2018-06-21", "2019-06-21", "2020-06-20", "2021-spring/2021-04-02"}
	simNames = []string{"plot.jpg", "landscape.jpg", "notes.txt", "Überblick.jpg", "IMG_0001.CR2", "IMG_0001.JPG"}
)

// put writes a file as a person would. No two writes have the same time to the
// microsecond, as they never have: a file that got another's name would else
// look like damage to that, where both have one size.
func (s *sim) put(path string, b []byte, at time.Time) {
	s.writes++
	at = at.Add(time.Duration(s.writes) * time.Microsecond)
	name := filepath.Join(s.folder, filepath.FromSlash(path))
	s.must(os.MkdirAll(filepath.Dir(name), 0o777))
	s.must(os.WriteFile(name, b, 0o666))
	s.must(os.Chtimes(name, at, at))
	s.files[path] = &simFile{bytes: b, modified: at}
	s.meant(path, manifest.Sum(b))
}

// meant notes that a person put these bytes there at some time.
func (s *sim) meant(path string, d manifest.Digest) {
	if s.intended[path] == nil {
		s.intended[path] = map[manifest.Digest]bool{}
	}
	s.intended[path][d] = true
}

func (s *sim) remove(path string) {
	s.must(os.Remove(filepath.Join(s.folder, filepath.FromSlash(path))))
	delete(s.files, path)
	s.absent[path] = true
}

// move gives a file another name; its bytes and time stay what they are.
func (s *sim) move(from, to string) {
	if s.files[to] != nil || s.overlaps(to) {
		return
	}
	name := filepath.Join(s.folder, filepath.FromSlash(to))
	if _, err := os.Lstat(name); err == nil {
		return // an empty folder that was left behind
	}
	s.must(os.MkdirAll(filepath.Dir(name), 0o777))
	s.must(os.Rename(filepath.Join(s.folder, filepath.FromSlash(from)), name))
	f := s.files[from]
	if f.rotten { // under a new name nobody can know that it was other bytes
		b, err := os.ReadFile(name)
		s.must(err)
		f = &simFile{bytes: b, modified: f.modified, was: f.bytes}
	}
	delete(s.files, from)
	s.absent[from] = true
	s.files[to] = f
	for _, d := range f.may() {
		s.meant(to, d)
	}
}

// overlaps reports whether a file's name would be a folder's, or the reverse.
func (s *sim) overlaps(path string) bool {
	for p := range s.files {
		if strings.HasPrefix(p, path+"/") || strings.HasPrefix(path, p+"/") {
			return true
		}
	}
	return false
}

func (s *sim) paths() []string { return slices.Sorted(maps.Keys(s.files)) }

// fresh makes bytes that were never there before.
func (s *sim) fresh() []byte {
	s.count++
	return fmt.Appendf(nil, "picture %d%s", s.count, strings.Repeat(".", s.count%7))
}

// lately is a time at which a person saved something: mostly long enough ago,
// now and then so lately that it may still be being written.
func (s *sim) lately(t *rapid.T) time.Time {
	return s.now.Add(-time.Duration(rapid.IntRange(0, 20).Draw(t, "minutes ago")) * time.Minute)
}

func (s *sim) anyPath(t *rapid.T) string {
	if len(s.files) == 0 {
		return ""
	}
	return rapid.SampledFrom(s.paths()).Draw(t, "file")
}

// addVisit saves some files of one visit; some have bytes that are elsewhere
// too.
func (s *sim) addVisit(t *rapid.T) {
	folder := rapid.SampledFrom(simSites).Draw(t, "site") + "/" + rapid.SampledFrom(simDates).Draw(t, "date")
	if rapid.IntRange(0, 9).Draw(t, "no site") == 0 {
		folder = "Papers"
	}
	at := s.lately(t)
	for range rapid.IntRange(1, 4).Draw(t, "files") {
		path := folder + "/" + rapid.SampledFrom(simNames).Draw(t, "name")
		if s.files[path] != nil || s.overlaps(path) || len(s.files) > 40 {
			continue
		}
		b := s.fresh()
		if other := s.anyPath(t); other != "" && rapid.IntRange(0, 5).Draw(t, "a duplicate") == 0 {
			b = s.files[other].bytes
		}
		s.put(path, b, at)
	}
}

func (s *sim) editFile(t *rapid.T) {
	path := s.anyPath(t)
	if path == "" {
		return
	}
	f := s.files[path]
	at := s.lately(t)
	if at.Equal(f.modified) {
		at = at.Add(time.Second)
	}
	switch rapid.IntRange(0, 2).Draw(t, "edit") {
	case 0: // the same size
		b := slices.Clone(f.bytes)
		copy(b, fmt.Sprintf("edited %d", s.count))
		s.count++
		s.put(path, b, at)
	case 1:
		s.put(path, s.fresh(), at)
	case 2: // only the time
		if !f.rotten {
			s.put(path, f.bytes, at)
		}
	}
}

func (s *sim) deleteSome(t *rapid.T) {
	path := s.anyPath(t)
	if path == "" {
		return
	}
	for _, p := range s.below(s.upTo(t, path)) {
		s.remove(p)
	}
}

// upTo is a path, or a folder it lies in.
func (s *sim) upTo(t *rapid.T, path string) string {
	for range rapid.IntRange(0, 2).Draw(t, "levels up") {
		if dir := filepath.Dir(path); dir != "." {
			path = dir
		}
	}
	return path
}

func (s *sim) below(path string) (all []string) {
	for _, p := range s.paths() {
		if p == path || strings.HasPrefix(p, path+"/") {
			all = append(all, p)
		}
	}
	return all
}

func (s *sim) renameSome(t *rapid.T) {
	path := s.anyPath(t)
	if path == "" {
		return
	}
	from := s.upTo(t, path)
	to := filepath.Join(filepath.Dir(from), rapid.SampledFrom([]string{"Renamed", "2017-05-01", "plot.jpg", "Windmill", "other.jpg"}).Draw(t, "new name"))
	if to == from || strings.HasPrefix(to+"/", from+"/") || len(s.below(to)) > 0 {
		return
	}
	for _, p := range s.below(from) {
		s.move(p, to+strings.TrimPrefix(p, from))
	}
}

// encrypt does what malware does: every file gets other bytes, and mostly
// another name.
func (s *sim) encrypt(t *rapid.T) {
	ending := rapid.SampledFrom([]string{"", ".locked", ".jpg"}).Draw(t, "ending")
	for _, p := range s.paths() {
		if s.overlaps(p+ending) || len(p) > 200 {
			continue
		}
		s.remove(p)
		s.put(p+ending, s.fresh(), s.now.Add(-2*time.Minute))
	}
}

// rotWorking flips a bit of a file whose bytes are on record; size and time
// stay. Where they are not on record yet, nobody can tell it from an edit.
func (s *sim) rotWorking(t *rapid.T) {
	path := s.anyPath(t)
	if path == "" {
		return
	}
	f := s.files[path]
	name := filepath.Join(s.folder, filepath.FromSlash(path))
	b, err := os.ReadFile(name)
	s.must(err)
	if len(b) == 0 || f.was != nil {
		return
	}
	b[rapid.IntRange(0, len(b)-1).Draw(t, "byte")] ^= 1 << rapid.IntRange(0, 7).Draw(t, "bit")
	if s.known(b) {
		return // these pictures are few and short; in earnest no rot makes one of another
	}
	s.rotted = append(s.rotted, string(b))
	s.must(os.WriteFile(name, b, 0o666))
	s.must(os.Chtimes(name, f.modified, f.modified))
	if e, d := s.onRecord(path); d == manifest.Sum(f.bytes) && e.Bytes == int64(len(f.bytes)) && e.Modified.Equal(f.modified) {
		f.rotten = !bytesEqual(b, f.bytes)
		return
	}
	s.files[path] = &simFile{bytes: b, modified: f.modified, was: f.bytes}
	s.meant(path, manifest.Sum(b))
}

// known reports whether a person put these bytes somewhere, or rot made them
// before.
func (s *sim) known(b []byte) bool {
	d := manifest.Sum(b)
	for _, at := range s.intended {
		if at[d] {
			return true
		}
	}
	return slices.Contains(s.rotted, string(b))
}

func bytesEqual(a, b []byte) bool { return string(a) == string(b) }
