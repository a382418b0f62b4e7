package ledger

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"

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
	return replaceFile(path, pack(record))
}

// Record returns the bytes of an object's cached record. What is absent or
// damaged is fs.ErrNotExist; whether they belong to an inventory is for the
// caller to check against that inventory.
func (c *Inventories) Record(object string) ([]byte, error) {
	path, err := c.recordFile(object)
	if err != nil {
		return nil, err
	}
	return readPacked(path)
}

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
	return replaceFile(filepath.Join(dir, manifest.Sum(record).String()+packedSuffix), pack(record))
}

// OldRecord returns the bytes of a record that was set aside; fs.ErrNotExist
// when it was not, or is damaged.
func (c *Inventories) OldRecord(object string, digest manifest.Digest) ([]byte, error) {
	dir, err := c.oldRecords(object)
	if err != nil {
		return nil, err
	}
	path := filepath.Join(dir, digest.String()+packedSuffix)
	b, err := readPacked(path)
	if err == nil && manifest.Sum(b) != digest {
		return nil, absent(path, errors.New("another record"))
	}
	return b, err
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
