// Package walk reads the files of a working folder, each once.
//
// Begin with [Read]: it lists every folder once and hands over the files of each, with
// SHA-256, XXH64 and [facts.Facts]. A regular file that is new or has changed is read
// once, from one open; one that has not is taken from the [Cache] and is not opened at
// all. [Glance] only looks, and opens nothing. Symbolic links are never followed and
// special files never opened. Litter of operating systems and cameras is left out.
//
// What paths mean is told by manifest/layout, and what sites and visits the files make
// by manifest/tally.
package walk

import (
	"errors"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/facts"
)

// ErrNoFolder marks a working folder that is not there, or is not a folder.
var ErrNoFolder = errors.New("your folder is not there")

// Known is what an earlier walk found out about one file by reading it. It
// holds for as long as size and times and inode are what they were.
type Known struct {
	Name     string    // last element of the path, raw bytes
	Size     int64     // bytes
	Modified time.Time // modification time
	Changed  time.Time // inode change time; zero where the system has none
	Inode    uint64    // zero where the system has none
	SHA256   manifest.Digest
	XXH64    uint64
	facts.Facts
}

// Cache remembers files between walks. Folders are named by their raw,
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
	Cache    Cache                        // nil: remember nothing
	Now      func() time.Time             // nil: time.Now
	Workers  int                          // files read at once; 0: one for each core
	Progress func(files int, bytes int64) // called now and then with what was read so far; may be nil
}

// A File is one regular file of a folder.
type File struct {
	Known
	Reason string // why it waits; "" if it does not

	saw   stat
	loose bool // read though it may still change: not to be remembered
}

// Found is what a walk came across, apart from the files themselves. Paths are raw
// bytes as the file system has them, relative to the working folder,
// slash-separated, and lists are in their byte order.
type Found struct {
	Files   int       // that do not wait
	Bytes   int64     // their size
	Waiting []Waiting // seen, not read yet: being written, unreadable, gone while being read
	Passed  []Waiting // symbolic links and special files: listed, never opened
	Litter  int       // files and folders of litter left out
	LeftOut []string  // of these, the first hundred
	// Unlisted are folders that could not be listed, or not to the end. That a
	// file is not found below one proves nothing.
	Unlisted    []string
	HashedFiles int    // files whose content was read
	HashedBytes int64  // bytes read for them
	CacheErr    error  // first fault of the Cache; the walk itself is whole
	Device      uint64 // device the working folder is on; zero where the system has none
	// Seen is how many files there are, waiting ones too, and Print is the sum of
	// their marks ([Glimpse.Mark]).
	Seen  int
	Print uint64
	// Bytes of all files that do not wait, as the sum of their [BytesMark].
	BytesPrint uint64
}

// Waiting is a path with the reason it is listed, and a file's size as far as it
// was seen.
type Waiting struct {
	Path, Reason string
	Size         int64
}
