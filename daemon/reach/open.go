package reach

import (
	"context"
	"errors"
	"time"

	"linecamp/daemon/config"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
)

// One opens one copy, or gives up at the limit. An opening that comes to
// an end later is closed then; a drive that hangs in the kernel hangs alone.
func (o Opener) One(ctx context.Context, c config.Copy, limit time.Duration) (store.Root, error) {
	ctx, cancel := context.WithTimeout(ctx, limit)
	type opened struct {
		root store.Root
		err  error
	}
	done := make(chan opened, 1)
	go func() {
		root, err := o.openRoot(ctx, c)
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
