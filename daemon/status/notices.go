package status

import (
	"errors"
	"fmt"
	"io/fs"
	"time"

	"linecamp/daemon/archive"
	"linecamp/daemon/attention"
	"linecamp/daemon/notice"
)

// unsentFor is how long notices may fail before that wants a person: mail servers
// have their bad hours.
const unsentFor = 24 * time.Hour

// noticeFacts are whether anybody hears of the archive, and since when nothing came
// from a client.
func noticeFacts(a *archive.Archive, f *attention.Facts) error {
	if fault := a.Config.Notice.Fault; fault != nil {
		f.NoticeFault = fault.Error()
	}
	if since, why := notice.Unsent(a.Dir); why != "" && a.Config.Notice.IsSet() && f.Now.Sub(since) >= unsentFor {
		f.Unsent, f.UnsentSince = why, since
	}
	if f.Folder != "" || a.Config.Notice.Quiet == 0 {
		return nil
	}
	seal, err := a.Cache.Seal()
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return fmt.Errorf("the seal kept here: %w", err)
	}
	f.Quiet = a.Config.Notice.Quiet
	for l := range seal.All() {
		if l.At.After(f.Wrote) {
			f.Wrote = l.At
		}
	}
	return nil
}
