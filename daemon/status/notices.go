package status

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"time"

	"linecamp/daemon/archive"
	"linecamp/daemon/attention"
	"linecamp/daemon/carried"
	"linecamp/daemon/notice"
	"linecamp/daemon/reach"
)

// unsentFor is how long notices may fail before that wants a person: mail servers
// have their bad hours.
const unsentFor = 24 * time.Hour

// noticeFacts are whether anybody hears of the archive, and since when nothing came
// from a client.
func noticeFacts(ctx context.Context, a *archive.Archive, r *reach.Copies, f *attention.Facts) error {
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
	if f.Now.Sub(f.Wrote) < f.Quiet {
		return nil
	}
	return signOfLife(ctx, a, r, f)
}

// keyLived is where the ledger keeps when the client's machine last left its list of what
// is left behind on a copy, which it does though nothing is new.
const keyLived = "last sign of the client's life"

// signOfLife looks for that on the copies within reach. It is believed only as far as the
// clock here goes.
func signOfLife(ctx context.Context, a *archive.Archive, r *reach.Copies, f *attention.Facts) error {
	var lived time.Time
	if err := a.Recall(keyLived, &lived); err != nil {
		return err
	}
	was := lived
	for _, h := range r.Open() {
		l, err := carried.ReadList(ctx, h.Root)
		if err == nil && l.Made.After(lived) && !l.Made.After(f.Now.Add(24*time.Hour)) {
			lived = l.Made
		}
	}
	if lived.After(f.Wrote) {
		f.Wrote = lived
	}
	if lived.Equal(was) {
		return ctx.Err()
	}
	return a.Remember(keyLived, lived)
}
