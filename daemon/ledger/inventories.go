package ledger

import (
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"github.com/klauspost/compress/zstd"

	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store/fault"
)

// MostInventory is the size in bytes up to which an inventory is cached. A file
// that unpacks to more is not unpacked: it is not ours, or it is damaged.
const MostInventory = 256 << 20

// Inventories caches the last inventory of each object and the seal in an
// archive's state folder, so that a round with nothing new reads them from no
// copy.
//
// An inventory is a file of two frames (RFC 8878): a skippable one with the
// SHA-256 of the inventory, and one with the inventory, so that the zstd
// program unpacks the file. What does not match its SHA-256 is treated as
// absent.
type Inventories struct {
	dir  string // state folder
	seal sync.Mutex
	kept *seal.Seal // as PutSeal kept it last; nil before
}

// OpenInventories uses the state folder dir; nothing is made before it is
// needed.
func OpenInventories(dir string) *Inventories { return &Inventories{dir: dir} }

const packedSuffix = ".json.zst"

// The skippable frame: magic number 0x184D2A50 (RFC 8878, section 3.1.2), the
// size of what follows, the digest.
const skippable = 0x184D2A50

var digestFrame = binary.LittleEndian.AppendUint32(binary.LittleEndian.AppendUint32(nil, skippable), sha256.Size)

func (c *Inventories) file(object string) (string, error) {
	// Slugs are small letters, digits and hyphens, so none leads out of the
	// folder.
	if object == "" || strings.Trim(object, "abcdefghijklmnopqrstuvwxyz0123456789-") != "" {
		return "", fmt.Errorf("%q cannot be an object's folder", object)
	}
	return filepath.Join(c.dir, "inventories", object+packedSuffix), nil
}

var coders = sync.OnceValues(func() (*zstd.Encoder, *zstd.Decoder) {
	e, err := zstd.NewWriter(nil, zstd.WithEncoderConcurrency(1))
	if err != nil {
		panic("ledger: " + err.Error()) // the options are valid
	}
	d, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(MostInventory), zstd.WithDecoderMaxWindow(16<<20))
	if err != nil {
		panic("ledger: " + err.Error())
	}
	return e, d
})

// Put caches the bytes of an object's inventory.json. One larger than
// MostInventory is not kept, which is no error: it is read from a copy each
// time.
func (c *Inventories) Put(object string, inventory []byte) error {
	path, err := c.file(object)
	if err != nil {
		return err
	}
	if len(inventory) > MostInventory {
		if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
		return nil
	}
	return replaceFile(path, pack(inventory))
}

// Get returns an object's cached inventory. What is absent, damaged or not an
// inventory is fs.ErrNotExist.
func (c *Inventories) Get(object string) (*manifest.Inventory, error) {
	path, err := c.file(object)
	if err != nil {
		return nil, err
	}
	b, err := readPacked(path)
	if err != nil {
		return nil, err
	}
	inv, err := manifest.DecodeInventory(b)
	if err != nil {
		return nil, absent(path, err)
	}
	return inv, nil
}

func absent(path string, why error) error {
	return fault.Say(errors.Join(fs.ErrNotExist, why), "%s is damaged (%v)", path, why)
}

// pack makes the two frames of some bytes.
func pack(b []byte) []byte {
	digest := manifest.Sum(b)
	encoder, _ := coders()
	return encoder.EncodeAll(b, append(slices.Clone(digestFrame), digest[:]...))
}

// readPacked reads what pack made. What is absent or damaged is fs.ErrNotExist.
func readPacked(path string) ([]byte, error) {
	b, err := readUpTo(path, MostInventory)
	if err == nil {
		if b, err = unpack(b); err != nil {
			err = absent(path, err)
		}
	} else if errors.Is(err, manifest.ErrLong) {
		err = absent(path, err)
	}
	return b, err
}

func unpack(b []byte) ([]byte, error) {
	head := len(digestFrame)
	if len(b) < head+sha256.Size || string(b[:head]) != string(digestFrame) {
		return nil, errPacked
	}
	want := manifest.Digest(b[head : head+sha256.Size])
	_, decoder := coders()
	b, err := decoder.DecodeAll(b[head+sha256.Size:], nil)
	if err != nil {
		return nil, err
	}
	if manifest.Sum(b) != want {
		return nil, errPacked
	}
	return b, nil
}

// readUpTo reads a file that is at most so long; a longer one is manifest.ErrLong.
func readUpTo(path string, most int64) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	b, err := manifest.ReadUpTo(f, most)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return b, nil
}

// All returns the objects that have a cached inventory, in byte order, good or
// not.
func (c *Inventories) All() ([]string, error) {
	entries, err := os.ReadDir(filepath.Join(c.dir, "inventories"))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	var all []string
	for _, e := range entries {
		object, ok := strings.CutSuffix(e.Name(), packedSuffix)
		if _, err := c.file(object); ok && err == nil {
			all = append(all, object)
		}
	}
	slices.Sort(all)
	return all, nil
}
