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
	"linecamp/manifest/seal"
)

// ErrOtherSeal marks a seal that does not begin with the lines of the one kept.
var ErrOtherSeal = errors.New("this seal does not begin with the lines of the seal this computer last saw")

// mostSealFile bounds what is read of one seal file: seal.MostLines lines
// of at most 4 KiB.
const mostSealFile = seal.MostLines * 4096

// part is what file i of the kept seal has, each but the last as many lines as it may.
func part(s *seal.Seal, i int) []byte { return s.Text(i*seal.MostLines, (i+1)*seal.MostLines) }

func (c *Inventories) sealFile(i int) string {
	return filepath.Join(c.dir, "seal", path.Base(seal.File(i)))
}

// Seal returns the seal as this machine last kept it. Where none was kept, or
// it is damaged, it is fs.ErrNotExist: this machine's state is new.
func (c *Inventories) Seal() (*seal.Seal, error) {
	c.seal.Lock()
	defer c.seal.Unlock()
	return c.readSeal()
}

func (c *Inventories) readSeal() (*seal.Seal, error) {
	var files [][]byte
	for i := 0; ; i++ {
		b, err := readUpTo(c.sealFile(i), mostSealFile)
		if errors.Is(err, fs.ErrNotExist) && i > 0 {
			break
		}
		if errors.Is(err, manifest.ErrLong) {
			return nil, absent(c.sealFile(i), err)
		}
		if err != nil {
			return nil, err
		}
		files = append(files, b)
	}
	s, err := c.decodeSeal(files)
	if err == nil {
		err = c.checkSeal(s)
	}
	if err != nil {
		return nil, absent(c.sealFile(0), err)
	}
	return s, nil
}

// decodeSeal need not take apart again what PutSeal kept last.
func (c *Inventories) decodeSeal(files [][]byte) (*seal.Seal, error) {
	if c.kept == nil || len(part(c.kept, len(files))) > 0 {
		return seal.Decode(files)
	}
	for i, file := range files {
		if !bytes.Equal(file, part(c.kept, i)) {
			return seal.Decode(files)
		}
	}
	return c.kept.Clone(), nil
}

// checkFile holds how many lines were kept and their SHA-256: a bit that flips
// in a line can leave it a line, and every copy would seem to tell another
// history. It is not synced: where a power cut took it back or tore it, it says
// less, or nothing.
func (c *Inventories) checkFile() string { return filepath.Join(c.dir, "seal", "check.txt") }

func (c *Inventories) checkSeal(s *seal.Seal) error {
	b, err := readUpTo(c.checkFile(), 1<<10)
	if err != nil {
		return nil
	}
	var lines int
	var text string
	if n, _ := fmt.Sscanf(string(b), "%d %64s\n", &lines, &text); n < 2 || lines < 0 {
		return nil
	}
	sum, err := manifest.ParseDigest(text)
	if err != nil {
		return nil
	}
	if lines > s.Len() || sum != s.DigestOf(lines) {
		return errOtherLines
	}
	return nil
}

func (c *Inventories) putCheck(s *seal.Seal) error {
	temp := c.checkFile() + ".new"
	err := os.WriteFile(temp, fmt.Appendf(nil, "%d %s\n", s.Len(), s.Digest()), 0o600)
	if err == nil {
		err = os.Rename(temp, c.checkFile())
	}
	return err
}

var errOtherLines = errors.New("its lines are not those that were kept")

// PutSeal keeps a seal. Lines are only ever added: a seal that does not begin
// with the one kept is ErrOtherSeal. A damaged one is set aside first. A crash
// leaves the old seal, the new one, or whole files of the new one.
func (c *Inventories) PutSeal(s *seal.Seal) error {
	c.seal.Lock()
	defer c.seal.Unlock()
	from := 0
	switch old, err := c.readSeal(); {
	case err == nil && !s.Extends(old):
		return fmt.Errorf("%s: %w", filepath.Join(c.dir, "seal"), ErrOtherSeal)
	case err == nil:
		from = old.Len() / seal.MostLines // earlier files are full
	case !errors.Is(err, fs.ErrNotExist):
		return err
	default:
		if err := c.setSealAside(); err != nil {
			return err
		}
	}
	for i := from; i*seal.MostLines < s.Len(); i++ {
		if old, err := os.ReadFile(c.sealFile(i)); err == nil && bytes.Equal(old, part(s, i)) {
			continue
		}
		if err := replaceFile(c.sealFile(i), part(s, i)); err != nil {
			return err
		}
	}
	c.kept = s.Clone()
	if s.Len() == 0 {
		return nil
	}
	return c.putCheck(s)
}

func (c *Inventories) setSealAside() error {
	dir := filepath.Join(c.dir, "seal")
	aside := dir + "-damaged-" + time.Now().UTC().Format("20060102-150405.000000000")
	if err := os.Rename(dir, aside); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("the damaged seal cannot be set aside: %w", err)
	}
	return nil
}
