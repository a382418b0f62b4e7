package reach

import (
	"context"
	"errors"
	"fmt"
	"time"

	"linecamp/daemon/config"
	"linecamp/daemon/link"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
)

// One opens one copy, or gives up at the limit. An opening that comes to
// an end later is closed then; a drive that hangs in the kernel hangs alone.
func (o Opener) One(ctx context.Context, c config.Copy, limit time.Duration) (store.Root, error) {
	return o.one(ctx, c, link.Of(c, o.Ledger, o.Now), limit)
}

func (o Opener) one(ctx context.Context, c config.Copy, way *link.Link, limit time.Duration) (store.Root, error) {
	if c.Link.Fault != nil && !o.Freely {
		return nil, fmt.Errorf("%w, so nothing is sent there or read from there until it is corrected: %w", link.ErrFault, c.Link.Fault)
	}
	if way != nil {
		c.Parts = way
	}
	if way.IsHeld() {
		c.Conn = way.Conn
		if !o.Anytime {
			c.Pause = way.May
		}
	}
	if way.IsLimited() {
		c.Page = link.Page
	}
	ctx, cancel := context.WithTimeout(ctx, limit)
	type opened struct {
		root store.Root
		err  error
	}
	done := make(chan opened, 1)
	go func() {
		root, err := o.openRoot(ctx, c)
		if err == nil {
			if err = born(ctx, root, way); err != nil {
				root.Close()
				root = nil
			}
		}
		done <- opened{root, err}
	}()
	select {
	case got := <-done:
		cancel()
		if !errors.Is(got.err, context.DeadlineExceeded) {
			return got.root, got.err
		}
	case <-ctx.Done():
		cancel()
		go func() {
			if got := <-done; got.err == nil {
				got.root.Close()
			}
		}()
		if !errors.Is(ctx.Err(), context.DeadlineExceeded) {
			return nil, ctx.Err()
		}
	}
	return nil, fault.Say(store.ErrUnreachable, "%s did not answer within %d seconds", c.Place(), int(limit.Seconds()))
}

// born tells a link that nothing was counted for yet since when its copy exists.
func born(ctx context.Context, root store.Root, way *link.Link) error {
	if isNew, err := way.IsNew(); err != nil || !isNew {
		return err
	}
	id, err := root.Identity(ctx)
	if err != nil {
		return err
	}
	return way.Born(id.Created)
}
