package ledger

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"linecamp/manifest"
	"linecamp/manifest/seal"
)

// AdoptSeal keeps the seal of another history instead of the one kept, which first
// goes to the folder late and stays there. A crash leaves the old seal, the beginning
// of the new one, or none, so that this machine's state is new to the copies.
func (c *Inventories) AdoptSeal(s *seal.Seal) error {
	if err := c.leaveSeal(); err != nil {
		return err
	}
	return c.PutSeal(s)
}

func (c *Inventories) leaveSeal() error {
	c.seal.Lock()
	defer c.seal.Unlock()
	old, err := c.readSeal()
	switch {
	case errors.Is(err, fs.ErrNotExist): // PutSeal sets aside what is there
		return nil
	case err != nil:
		return err
	}
	if err := replaceFile(filepath.Join(c.lateDir(), old.Digest().String()+".txt"), old.Text(0, old.Len())); err != nil {
		return err
	}
	dir := filepath.Join(c.dir, "seal")
	aside := dir + ".old"
	if err := errors.Join(os.RemoveAll(aside), os.Rename(dir, aside), os.RemoveAll(aside)); err != nil {
		return fmt.Errorf("the seal that does not go on cannot be set aside: %w", err)
	}
	return nil
}

func (c *Inventories) lateDir() string { return filepath.Join(c.dir, "late") }

// LateSeals are the seals that AdoptSeal replaced, by name. One that is damaged is
// passed over.
func (c *Inventories) LateSeals() ([]*seal.Seal, error) {
	entries, err := os.ReadDir(c.lateDir())
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	var all []*seal.Seal
	for _, e := range entries {
		d, err := manifest.ParseDigest(strings.TrimSuffix(e.Name(), ".txt"))
		if err != nil {
			continue
		}
		b, err := os.ReadFile(filepath.Join(c.lateDir(), e.Name()))
		if err != nil {
			return nil, err
		}
		if s, err := seal.Decode([][]byte{b}); err == nil && s.Digest() == d {
			all = append(all, s)
		}
	}
	return all, nil
}
