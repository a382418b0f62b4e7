// Package tally says what is in a working folder.
//
// A working folder is the ordinary folder tree people put monitoring photos
// and field notes into. Nothing in it obliges anyone to follow a scheme, so
// the package reads it in three steps, each of which can be tested alone:
//
//   - Walking. Every folder is listed once. A regular file that is new or has
//     changed is read once, from one open, for its SHA-256, its XXH64 and its
//     [Facts]; one that has not changed is taken from the [Cache] and is not
//     opened at all. Symbolic links are never followed and special files never
//     opened. Litter of operating systems and cameras is left out.
//   - Understanding. What one path says by itself, without a look at any disk,
//     is a pure function: [Layout.Understand]. It finds the pasture, the site,
//     the date, the season and the view in the names of folders and file.
//   - Settling. What a path cannot say alone, its neighbours say: a folder is a
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
	"errors"
	"iter"
	"time"

	"linecamp/manifest"
)

// ErrNoFolder marks a working folder that is not there, or is not a folder.
var ErrNoFolder = errors.New("no working folder")

// ErrLayout marks a layout pattern that cannot be used.
var ErrLayout = errors.New("bad layout")

// Known is what an earlier tally found out about one file by reading it. It
// holds for as long as size and times and inode are what they were.
type Known struct {
	Name     string    // last element of the path, raw bytes
	Size     int64     // bytes
	Modified time.Time // modification time
	Changed  time.Time // inode change time; zero where the system has none
	Inode    uint64    // zero where the system has none
	SHA256   manifest.Digest
	XXH64    uint64
	Facts
}

// Cache remembers files between tallies. Folders are named by their raw,
// slash-separated path relative to the working folder, "" for the working
// folder itself. Methods are called from several goroutines at once.
type Cache interface {
	// Folder returns all that is known of the files in one folder, not of
	// those in folders below it. An unknown folder is nil and no error.
	Folder(dir string) ([]Known, error)
	// SetFolder replaces what is known of one folder; nil forgets it. It also
	// forgets the first sight of every file it names, since those are settled.
	SetFolder(dir string, known []Known) error
	// FirstSeen returns when the file at path was first seen waiting, and
	// remembers now if that is the first time.
	FirstSeen(path string, now time.Time) (time.Time, error)
}

// Options say what to read and how.
type Options struct {
	Folder   string                       // the working folder
	Layout   string                       // a pattern, see [NewLayout]; "" recognises the common layouts
	Views    map[string][]string          // words that mean a view, beside the usual ones, by view
	Dates    string                       // one of [DateOrders]: how dates of numbers are written; "" lets the archive decide
	Cache    Cache                        // nil: remember nothing
	Now      func() time.Time             // nil: time.Now
	Workers  int                          // files read at once; 0: one for each core
	Progress func(files int, bytes int64) // called now and then with what was read so far; may be nil
}

// Result is what a working folder holds. All paths are raw bytes as the file
// system has them, relative to Folder, slash-separated. Lists are in byte
// order of their paths.
type Result struct {
	Folder  string
	Files   int   // files in Sites and Unfiled
	Bytes   int64 // their size
	Sites   []Site
	Unfiled Files     // no site can be told; notes of pastures and years are here too
	Waiting []Waiting // seen, not recorded yet: being written, unreadable, gone while being read
	Passed  []Waiting // symbolic links and special files: listed, never opened
	Litter  int       // files and folders of litter left out
	// Unlisted are folders that could not be listed, or not to the end. That a
	// file is not found below one proves nothing.
	Unlisted    []string
	HashedFiles int    // files whose content was read
	HashedBytes int64  // bytes read for them
	CacheErr    error  // first fault of the Cache; the tally itself is whole
	Device      uint64 // device the working folder is on; zero where the system has none
	now         time.Time
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
	View     string // of photos and their companions: "plot", "landscape", "north", …, or "untold"
	Visit    string // the visit's Date; "" for a file of none
	With     string // of a companion: path of the photo or note it belongs to; "" if that is not there
	Facts
}

// Waiting is a path with the reason it is listed, and a file's size as far as it
// was seen.
type Waiting struct {
	Path, Reason string
	Size         int64
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
