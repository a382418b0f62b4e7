package ledger

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"

	"linecamp/manifest"
)

// The records of an object's older versions, by digest, for as long as a copy
// lacks them: a drive that was away while several versions were made would
// otherwise wait until it meets another drive that holds them.
func (c *Inventories) oldRecords(object string) (string, error) {
	path, err := c.recordFile(object)
	if err != nil {
		return "", err
	}
	return filepath.Join(filepath.Dir(path), "older", object), nil
}

// KeepRecord sets a record aside that is no longer its object's newest.
func (c *Inventories) KeepRecord(object string, record []byte) error {
	dir, err := c.oldRecords(object)
	if err != nil {
		return err
	}
	encoder, _ := coders()
	digest := manifest.Sum(record)
	packed := append(append([]byte(nil), digestFrame...), digest[:]...)
	return replaceFile(filepath.Join(dir, digest.String()+packedSuffix), encoder.EncodeAll(record, packed))
}

// OldRecord returns the bytes of a record that was set aside; fs.ErrNotExist
// when it was not, or is damaged.
func (c *Inventories) OldRecord(object string, digest manifest.Digest) ([]byte, error) {
	dir, err := c.oldRecords(object)
	if err != nil {
		return nil, err
	}
	path := filepath.Join(dir, digest.String()+packedSuffix)
	b, err := readUpTo(path, MostInventory)
	if errors.Is(err, errTooLarge) {
		return nil, absent(path, err)
	}
	if err != nil {
		return nil, err
	}
	if b, err = unpack(b); err != nil {
		return nil, absent(path, err)
	}
	if manifest.Sum(b) != digest {
		return nil, absent(path, errors.New("another record"))
	}
	return b, nil
}

// WithOldRecords lists the objects that have records set aside.
func (c *Inventories) WithOldRecords() ([]string, error) {
	entries, err := os.ReadDir(filepath.Join(c.dir, "records", "older"))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	var objects []string
	for _, e := range entries {
		objects = append(objects, e.Name())
	}
	return objects, err
}

// ForgetRecords removes what was set aside for an object.
func (c *Inventories) ForgetRecords(object string) error {
	dir, err := c.oldRecords(object)
	if err != nil {
		return err
	}
	return os.RemoveAll(dir)
}
