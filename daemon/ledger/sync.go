package ledger

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"

	"linecamp/manifest/wholefile"
)

// Sync is Flush, and has all that was written so far on storage when it returns:
// without it, a power cut may take back the last changes, though never a part of
// one.
//
// What is committed stands in SQLite's log (sqlite.org/wal.html), and the log is
// synced before any of it moves into the database. So the log is synced here; a
// checkpoint would do that too, but gives up without a word while another
// process reads.
func (l *Ledger) Sync() error {
	if err := l.Flush(); err != nil {
		return err
	}
	l.swap.RLock()
	defer l.swap.RUnlock()
	f, err := os.OpenFile(l.path+"-wal", os.O_RDWR, 0)
	if errors.Is(err, fs.ErrNotExist) {
		return nil // all of it is in the database
	}
	if err != nil {
		return err
	}
	err = errors.Join(f.Sync(), f.Close())
	if dir, ferr := os.Open(filepath.Dir(l.path)); ferr == nil {
		_ = wholefile.SyncOpen(dir) // where folders can be synced
		dir.Close()
	}
	return err
}
