package ledger

// Sync is Flush, and has all that was written so far on storage when it returns:
// without it, a power cut may take back the last changes, though never a part of
// one.
func (l *Ledger) Sync() error {
	if err := l.Flush(); err != nil {
		return err
	}
	return l.using(func(d *database) error {
		// SQLite syncs its log before it moves it into the database
		// (sqlite.org/pragma.html#pragma_synchronous, NORMAL in WAL mode).
		_, err := d.write.Exec("PRAGMA wal_checkpoint(FULL)")
		return err
	})
}
