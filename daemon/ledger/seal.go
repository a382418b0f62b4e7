package ledger

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"time"

	"linecamp/manifest"
)

// ErrOtherSeal marks a seal that does not begin with the lines of the one kept.
var ErrOtherSeal = errors.New("this seal does not begin with the lines of the seal this machine last saw")

// mostSealFile bounds what is read of one seal file: manifest.SealLines lines
// of at most 4 KiB.
const mostSealFile = manifest.SealLines * 4096

func (c *Inventories) sealFile(i int) string {
	return filepath.Join(c.dir, "seal", path.Base(manifest.SealFile(i)))
}

// Seal returns the seal as this machine last kept it. Where none was kept, or
// it is damaged, it is fs.ErrNotExist: this machine's state is new.
func (c *Inventories) Seal() (*manifest.Seal, error) {
	c.seal.Lock()
	defer c.seal.Unlock()
	return c.readSeal()
}

func (c *Inventories) readSeal() (*manifest.Seal, error) {
	var files [][]byte
	for i := 0; ; i++ {
		b, err := readUpTo(c.sealFile(i), mostSealFile)
		if errors.Is(err, fs.ErrNotExist) && i > 0 {
			break
		}
		if errors.Is(err, errTooLarge) {
			return nil, absent(c.sealFile(i), err)
		}
		if err != nil {
			return nil, err
		}
		files = append(files, b)
	}
	s, err := manifest.DecodeSeal(files)
	if err != nil {
		return nil, absent(c.sealFile(0), err)
	}
	return s, nil
}

// PutSeal keeps a seal. Lines are only ever added: a seal that does not begin
// with the one kept is ErrOtherSeal. A damaged one is set aside first. A crash
// leaves the old seal, the new one, or whole files of the new one.
func (c *Inventories) PutSeal(s *manifest.Seal) error {
	c.seal.Lock()
	defer c.seal.Unlock()
	from := 0
	switch old, err := c.readSeal(); {
	case err == nil && !s.Extends(old):
		return fmt.Errorf("%s: %w", filepath.Join(c.dir, "seal"), ErrOtherSeal)
	case err == nil:
		from = max(0, old.Files()-1) // earlier files are full
	case !errors.Is(err, fs.ErrNotExist):
		return err
	default:
		if err := c.setSealAside(); err != nil {
			return err
		}
	}
	for i := from; i < s.Files(); i++ {
		if old, err := os.ReadFile(c.sealFile(i)); err == nil && bytes.Equal(old, s.File(i)) {
			continue
		}
		if err := replaceFile(c.sealFile(i), s.File(i)); err != nil {
			return err
		}
	}
	return nil
}

func (c *Inventories) setSealAside() error {
	dir := filepath.Join(c.dir, "seal")
	aside := dir + "-damaged-" + time.Now().UTC().Format("20060102-150405.000000000")
	if err := os.Rename(dir, aside); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("the damaged seal cannot be set aside: %w", err)
	}
	return nil
}
