package ledger

import (
	"errors"
	"path/filepath"
	"slices"

	"linecamp/manifest"
)

// The record of an object's newest version is cached beside its inventory, in
// the same form: comparing a site with its working folder needs both.
func (c *Inventories) recordFile(object string) (string, error) {
	path, err := c.file(object)
	if err != nil {
		return "", err
	}
	return filepath.Join(c.dir, "records", filepath.Base(path)), nil
}

// PutRecord caches the bytes of an object's newest record.
func (c *Inventories) PutRecord(object string, record []byte) error {
	path, err := c.recordFile(object)
	if err != nil {
		return err
	}
	digest := manifest.Sum(record)
	encoder, _ := coders()
	return replaceFile(path, encoder.EncodeAll(record, append(slices.Clone(digestFrame), digest[:]...)))
}

// Record returns the bytes of an object's cached record. What is absent or
// damaged is fs.ErrNotExist; whether they belong to an inventory is for the
// caller to check against that inventory.
func (c *Inventories) Record(object string) ([]byte, error) {
	path, err := c.recordFile(object)
	if err != nil {
		return nil, err
	}
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
	return b, nil
}
