package reach

import (
	"context"
	"sync"
	"time"

	"linecamp/daemon/config"
	"linecamp/manifest/store/drive"
)

// Watch looks now and then whether drives have come back.
type Watch struct {
	looking  sync.Map // the ids of drives that are being looked for just now
	searched sync.Map // when each was last looked for at other places than its own
}

// elsewhere is how often a drive that is not at its place is looked for at others.
const elsewhere = 5 * time.Minute

// Back reports whether one of the drives that was missed is there again. It looks each
// time where they belong, and now and then wherever drives are mounted. One that
// hangs is given a moment, and not looked at again before it answered.
func (w *Watch) Back(ctx context.Context, missed []config.Copy, now func() time.Time) bool {
	ctx, cancel := context.WithTimeout(ctx, Glance)
	defer cancel()
	for _, c := range missed {
		if !c.Can().Local {
			continue
		}
		if _, hangs := w.looking.LoadOrStore(c.ID, true); hangs {
			continue
		}
		back := make(chan bool, 1)
		go func() {
			is := w.isBack(ctx, c, now)
			w.looking.Delete(c.ID)
			back <- is
		}()
		select {
		case is := <-back:
			if is {
				return true
			}
		case <-ctx.Done():
		}
	}
	return false
}

func (w *Watch) isBack(ctx context.Context, c config.Copy, now func() time.Time) bool {
	root, err := c.Open(ctx)
	if err == nil {
		root.Close()
		return true
	}
	if at, ok := w.searched.Load(c.ID); ok && now().Sub(at.(time.Time)).Abs() < elsewhere {
		return false
	}
	w.searched.Store(c.ID, now())
	_, err = drive.Find(ctx, c.ID, c.Root)
	return err == nil
}
