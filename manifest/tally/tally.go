// Package tally says what sites, visits, photos and notes a working folder holds.
//
// Begin with [Read], which gives a [Result]. A working folder is the ordinary folder
// tree people put monitoring photos and field notes into. Nothing in it obliges anyone
// to follow a scheme, so it is read in three steps, each of which can be tested alone:
//
//   - Walking (manifest/walk). Every folder is listed once, every new or changed file
//     read once.
//   - Understanding (manifest/layout). What one path says by itself: the pasture, the
//     site, the date, the season and the view in the names of folders and file.
//   - Settling (here). What a path cannot say alone, its neighbors say: a folder is a
//     site if dated photos lie in it, a note beside it is the site's, a note
//     above it serves every site below. Files become visits, and raw and JPEG
//     of one shutter release become one picture.
//
// Every regular file that is not litter ends up in exactly one place of the
// [Result]: in one of the Sites, in Unfiled (no site can be told; it is kept
// all the same), or in Waiting (it is not recorded yet, and says why). Nothing
// is skipped, understood or not.
//
// Names outrank EXIF: a date in a folder is what a person wrote, a date in a
// file name comes next, and the camera's clock only fills in what neither
// tells. No other time of a file dates a photo.
package tally

import (
	"context"
	"iter"
	"runtime"
	"sync"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/facts"
	"linecamp/manifest/layout"
	"linecamp/manifest/names"
	"linecamp/manifest/packed"
	"linecamp/manifest/walk"
)

// Options say what to read and how.
type Options struct {
	Folder   string                       // the working folder
	Layout   string                       // a pattern, see [layout.New]; "" recognizes the common layouts
	Views    map[string][]string          // words that mean a view, beside the usual ones, by view
	Dates    string                       // one of [dates.Orders]: how dates of numbers are written; "" lets the archive decide
	Cache    walk.Cache                   // nil: remember nothing
	Now      func() time.Time             // nil: time.Now
	Workers  int                          // files read at once; 0: one for each core
	Progress func(files int, bytes int64) // called now and then with what was read so far; may be nil
}

// Result is what a working folder holds. All paths are raw bytes as the file
// system has them, relative to Folder, slash-separated. Lists are in byte
// order of their paths.
type Result struct {
	walk.Found
	Folder  string
	Sites   []Site
	Unfiled Files // no site can be told; notes of pastures and years are here too
	now     time.Time
}

// Untold is the view of a photo whose name and folders tell none.
const Untold = layout.Untold

// Read reads a working folder. A fault in one file or folder is in the Result
// and never stops the rest; an error means there is no result: [walk.ErrNoFolder],
// [layout.ErrPattern], a working folder that cannot be listed, or ctx ended. What was
// read until then is in the cache all the same.
func Read(ctx context.Context, o Options) (*Result, error) {
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Workers <= 0 {
		o.Workers = runtime.GOMAXPROCS(0)
	}
	l, err := layout.New(o.Layout, o.Views, o.Now())
	if err != nil {
		return nil, err
	}
	g := gatherer{layout: l, near: newNeighbors()}
	found, err := walk.Read(ctx, walk.Options{Folder: o.Folder, Cache: o.Cache, Now: o.Now, Workers: o.Workers, Progress: o.Progress}, g.folder)
	if err != nil {
		return nil, err
	}
	r := &Result{Found: *found, Folder: o.Folder, now: o.Now()}
	r.settle(l, g.near, g.read, o.Dates, o.Workers)
	return r, nil
}

// A gatherer takes down what a walk finds. Folders come in no certain order.
type gatherer struct {
	layout *layout.Layout
	mu     sync.Mutex
	near   *neighbors
	read   []*finished
}

// A finished folder keeps its files packed until all of the archive is read:
// only then can a path be understood that its neighbors explain. What the path
// says by itself is found out again then, which costs less than to keep it.
type finished struct {
	path  string
	files Files
}

// folder takes down the files of one folder.
func (g *gatherer) folder(dir string, files []walk.File) {
	at := g.layout.Folder(dir)
	said := make([]layout.Said, len(files))
	p := packer{prefix: dir, Writer: packed.Writer{B: make([]byte, 0, 96*len(files))}}
	list := p.begin()
	prefix := dir
	if prefix != "" {
		prefix += "/"
	}
	for i := range files {
		f := &files[i]
		said[i] = at.File(f.Name)
		if f.Reason == "" {
			p.file(&list, &File{Path: prefix + f.Name, Size: f.Size, Modified: f.Modified, SHA256: f.SHA256, XXH64: f.XXH64, Facts: f.Facts})
		}
	}
	p.done()
	g.mu.Lock()
	defer g.mu.Unlock()
	for i := range files {
		g.near.evidence(g.layout, dir, &files[i], said[i])
	}
	if list.Len() > 0 {
		g.read = append(g.read, &finished{dir, list})
	}
}

// A sighting is a file with what its path says.
type sighting struct {
	File
	said layout.Said
	lead *sighting // the photo this is a companion of
}

// sightings are the files of a finished folder, with what their paths say.
func (d *finished) sightings(at *layout.Folder) []sighting {
	files := make([]sighting, 0, d.files.Len())
	for f := range d.files.All() {
		files = append(files, sighting{File: f, said: at.File(names.Base(f.Path))})
	}
	group(files)
	return files
}

// Site is one photo point.
type Site struct {
	Site    string // its name, as the folder has it
	Pasture string // "" if the layout has none; elements joined by "/" if it has several
	// Base is the folder that the site's logical paths are relative to: the
	// site's own where one whole folder is the site and no date stands above
	// it, else "" for the working folder.
	Base   string
	Visits []Visit // by date
	Loose  Files   // the site's files that belong to no one visit
}

// Visit is what was brought home from one site on one date.
type Visit struct {
	Date   string // "2019-06-21", or "2019" where only the year is known
	Last   string // last day of a visit over adjacent days; "" for a single day
	Year   int
	Season string // as the folder names it: "spring", "june"; "" if it does not
	Photos Files  // one for each picture
	Notes  Files
	Others Files // companions of pictures, cards, and what is neither photo nor note
	// Shared are notes that serve this visit and are kept elsewhere: in a
	// pasture's or year's folder (then in Result.Unfiled), or with the site
	// as a whole (then in Loose or in another visit of the year).
	Shared Files
}

// File is one file with everything a reading of it told.
type File struct {
	Path     string
	Size     int64
	Modified time.Time
	SHA256   manifest.Digest
	XXH64    uint64
	Kind     manifest.Kind
	View     string // of photos and their companions: "plot", "landscape", "north", …, or [Untold]
	Visit    string // the visit's Date; "" for a file of none
	With     string // of a companion: path of the photo or note it belongs to; "" if that is not there
	facts.Facts
}

// Files yields every file of the site once.
func (s *Site) Files() iter.Seq[File] {
	return func(yield func(File) bool) {
		for i := range s.Visits {
			v := &s.Visits[i]
			for _, list := range []Files{v.Photos, v.Notes, v.Others} {
				for f := range list.All() {
					if !yield(f) {
						return
					}
				}
			}
		}
		for f := range s.Loose.All() {
			if !yield(f) {
				return
			}
		}
	}
}
