// Package store is the contract of every copy of an archive. [Root] is one copy:
// a folder on a drive (store/drive) or a prefix in an S3 bucket (store/s3). [Head]
// reads an object's newest version, [Root.Begin] makes the next, [ReadSeal] and
// [WriteSeal] are the seal as bytes.
//
// All kinds hold the same files under the same keys, an OCFL 1.1 storage root with
// one object per site, so everything above reads and writes a Root and does not
// care which kind it has. What a kind needs besides to be one ([InitRoot],
// [HeadByListing], [SettleTo], [CheckNext] …) is here too, for all of them.
//
// # The model
//
// Keys are slash-separated and relative to the root. Three kinds of key exist,
// and each has its own way to be written:
//
//   - Content and version files are written once. A version is built with
//     [Root.Begin] and becomes part of the copy in one step, [Build.Commit].
//     Until then nothing that reads the root sees it.
//   - The root pair of an object (its top inventory and sidecar), author.json
//     and the open file of the seal are replaced ([Root.Replace]), always
//     against what the writer last saw, never blindly.
//   - Damaged bytes are replaced by [Root.Mend], which sets the bad bytes aside
//     before it puts good ones in place, and reads them back.
//
// Nothing here deletes content. A version is committed when its own
// vN/inventory.json.sha256 exists and matches vN/inventory.json; the root pair
// is derived from the highest committed version and can always be made again
// ([Settle]).
//
// # The order of a commit
//
// Content; vN/inventory.json; vN/inventory.json.sha256; for a new object
// 0=ocfl_object_1.1; the root inventory; the root sidecar. A drive builds vN in
// extensions/linecamp-staging, makes it durable, and renames it into place as
// one folder (a new object: the whole object's folder). S3 has no rename: each
// key is created in that order and never again.
//
// # Who may write
//
// A drive is locked while a round writes to it ([Root.Lock]); a crash does not
// leave the lock behind. A bucket is fenced by author.json, which is claimed and
// re-checked with conditional writes ([ReadAuthor], [WriteAuthor]); it also names
// the round that records.
package store

import (
	"bytes"
	"context"
	"errors"
	"io"
	"iter"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/store/fault"
)

// What a caller may want to decide on. Every error of a root that is one of
// these says in its message which place it is about and what to do; what it
// means for the copy as a whole is its class, which [fault.Of] tells.
var (
	ErrNoRoot       = fault.New("there is no linecamp copy there", fault.Refused)                                      // nothing of ours, or its identity cannot be read
	ErrOtherRoot    = fault.New("another copy is in its place, and nothing is written to it", fault.Refused)           // a root, but not the one asked for
	ErrNotHere      = fault.New("it is not there; plug it in", fault.Away)                                             // the drive is not plugged in, or no longer
	ErrNotEmpty     = fault.New("the place is not empty; a copy needs one of its own", fault.OfFile)                   // setup found something it did not make
	ErrNotAFolder   = fault.New("a file is there; a copy needs a folder", fault.Refused)                               // a file stands where the root should be
	ErrReadOnly     = fault.New("it can only be read, not written to", fault.Refused)                                  // the file system takes no writes
	ErrFull         = fault.New("there is no space left on it", fault.Full)                                            // the drive, or the quota on it, is full
	ErrTooLarge     = fault.New("its file system cannot hold a file this large", fault.OfFile)                         // the file system cannot hold a file of this size
	ErrBusy         = fault.New("another linecamp is working there; try again when it has finished", fault.Refused)    // another linecamp is writing to this root
	ErrConflict     = fault.New("something else is there; it was left as it is", fault.OfFile)                         // other bytes under a key, or they changed meanwhile
	ErrDigest       = fault.New("its bytes are not what the manifest says", fault.OfFile)                              // what was read is not what the manifest says
	ErrDamaged      = fault.New("its manifest is damaged; run `linecamp verify`, then `linecamp mend`", fault.Damaged) // a committed version whose manifest no longer reads
	ErrNoObject     = fault.New("it holds nothing of this site", fault.OfFile)                                         // the root holds no committed version of it
	ErrNotS3        = fault.New("what answers there is not an S3 service; check the address", fault.Refused)           // something answers, but does not speak S3
	ErrNoBucket     = fault.New("there is no such bucket; make it first, or correct the address", fault.Refused)       // the service knows no bucket of this name
	ErrDenied       = fault.New("access was denied; check the keys", fault.Refused)                                    // keys wrong, or without the right needed
	ErrClock        = fault.New("this computer's clock differs from the service's; set the clock", fault.Refused)      // this machine's clock is too far from the service's
	ErrUnreachable  = fault.New("it is out of reach now", fault.Unreachable)                                           // no answer from the service
	ErrCertificate  = fault.New("the certificate of the service is not trusted", fault.Refused)                        // TLS: the service did not prove who it is
	ErrNoCondition  = fault.New("the service ignores conditional writes", fault.Refused)                               // the service ignores If-None-Match or If-Match
	ErrBadKey       = fault.New("it cannot be the name of a file in a copy", fault.OfFile)                             // a key that could leave the root, or is empty
	ErrCredentials  = fault.New("the keys cannot be used", fault.Refused)                                              // missing, unreadable, or readable by others
	ErrBadAddress   = fault.New("this is not the address of a bucket", fault.Refused)                                  // the URL of an S3 copy
	errNotCommitted = errors.New("not committed")
)

// Info describes what is stored under a key.
type Info struct {
	Key      string
	Size     int64 // bytes
	Modified time.Time
	ETag     string          // S3 only, without quotes
	SHA256   manifest.Digest // reported by the server, or of bytes that passed through us; else zero
	XXH64    uint64          // of bytes that passed through us on a write; else zero

	Claimed manifest.Digest // S3 only: what was noted beside the key when it was written, unchecked
}

// Content is bytes to be stored, with what they must turn out to be.
type Content struct {
	Size   int64
	SHA256 manifest.Digest
	// Open starts reading from the beginning; it may be called again, when a
	// write has to be tried again.
	Open func(context.Context) (io.ReadCloser, error)
}

// Bytes makes a Content of b, which must not change afterwards.
func Bytes(b []byte) Content {
	return Content{
		Size:   int64(len(b)),
		SHA256: manifest.Sum(b),
		Open: func(context.Context) (io.ReadCloser, error) {
			return readSeekNopCloser{bytes.NewReader(b)}, nil
		},
	}
}

type readSeekNopCloser struct{ *bytes.Reader }

func (readSeekNopCloser) Close() error { return nil }

// Identity says which copy of which archive a root is. It is written once, by
// setup, into extensions/linecamp-root/config.json.
type Identity struct {
	ArchiveID string // UUID
	Archive   string // the name that object ids are made of
	CopyID    string // UUID
	Created   time.Time
}

// Author says which machine may add versions to the archive. It is kept in
// extensions/linecamp-root/author.json of every copy.
type Author struct {
	Archive string // the archive's UUID
	Author  string // the author's UUID
	Machine string // its name, for people
	Epoch   int    // raised each time another machine takes over

	// In a bucket, the author's round that last recorded there, a UUID, and
	// whether it still does.
	Round     string
	Recording bool
}

// Root is one copy of the archive. Keys are slash-separated, relative to the
// root. All methods may be called by several goroutines; a context that ends
// stops any of them within a second.
type Root interface {
	// Name is a plain description for messages: the drive's folder or the
	// bucket's address. It never holds a secret.
	Name() string
	// Can tells what this kind of copy can do.
	Can() Abilities
	// Identity reads which copy this is; ErrNoRoot when nothing of ours is
	// there or its identity is damaged.
	Identity(context.Context) (Identity, error)
	// Init writes the files every root has, the identity last, so that a crash
	// leaves something that a second Init completes. It refuses a place with
	// anything else in it, and a finished root (ErrNotEmpty).
	Init(context.Context, Identity) error
	// Lock takes the right to write. On a drive it excludes every other
	// process, and puts right what a crashed one left (ErrBusy if it is
	// taken). On S3 it only excludes this process's other rounds.
	Lock(context.Context) (unlock func(), err error)

	// Open reads a key from its beginning. The error wraps fs.ErrNotExist when
	// nothing is there.
	Open(ctx context.Context, key string) (io.ReadCloser, Info, error)
	// OpenFresh is Open past the system's page cache, so that a check sees
	// what the drive holds and not what memory remembers.
	OpenFresh(ctx context.Context, key string) (io.ReadCloser, Info, error)
	// Stat describes a key; on S3 with the SHA-256 of the whole, if the server
	// reports one.
	Stat(ctx context.Context, key string) (Info, error)
	// List yields every key below prefix in byte order. A prefix is a folder's
	// key, or "" for everything; one that does not exist yields nothing.
	List(ctx context.Context, prefix string) iter.Seq2[Info, error]
	// Folders names the folders directly inside prefix, sorted.
	Folders(ctx context.Context, prefix string) ([]string, error)

	// Create stores c where nothing is. The same bytes there already are
	// success; others are ErrConflict.
	Create(ctx context.Context, key string, c Content) (Info, error)
	// Replace stores c in place of what was there when the caller looked; nil
	// means that nothing was. ErrConflict when it is no longer so.
	Replace(ctx context.Context, key string, c Content, was *Info) (Info, error)
	// Begin starts or resumes one version of an object. On a drive, hold Lock.
	Begin(ctx context.Context, object string, version int) (Build, error)
	// Mend puts good bytes under key. Bad ones there are kept: a drive moves
	// them to extensions/linecamp-quarantine, S3 saves them into the local
	// folder aside. What was stored is read back. Bytes that turn out to be
	// good already are left alone. On a drive, hold Lock.
	Mend(ctx context.Context, key string, good Content, aside string) error
	Close() error
}

// Build is one version of one object on its way into a root.
type Build interface {
	// Found are the content paths that already lie under the uncommitted
	// version, with their true digests; the version committed must name each
	// of them. Nil on a drive, where an unfinished version stays private.
	Found() map[string]Info
	// Put stores content under an object-relative path, "vN/content/…". Bytes
	// that do not match c.SHA256 are ErrDigest, and nothing is kept. Several
	// goroutines may Put different paths at once.
	Put(ctx context.Context, path string, c Content) (Info, error)
	// Commit makes the version part of the copy. Content the inventory names
	// for this version and nobody Put is content that nobody has: the version
	// is committed without it.
	Commit(ctx context.Context, inventory []byte) error
	// Close ends the work without Commit; what was stored so far is found
	// again by the next Begin. After Commit it does nothing.
	Close() error
}
