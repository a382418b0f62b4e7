// Package many looks at all archives of a machine at once, within bounds. Call [Status].
package many

import (
	"context"
	"time"

	"linecamp/daemon"
	"linecamp/daemon/config"
	"linecamp/daemon/status"
)

const (
	looksAtOnce = 16 // a look waits for drives and buckets more than for the processor
	few         = 32 // up to so many archives are all looked at anew
)

// Status begins to look at all archives, and returns what waits for the look at one.
// Where there are many, one that a service looks after, and that was well at its last
// round, is told as it was then; see status.Lately.
func Status(ctx context.Context, all []config.Archive, o daemon.Options) (of func(config.Archive) (daemon.Status, error)) {
	o = o.Filled()
	type look struct {
		status daemon.Status
		err    error
	}
	looks := map[string]chan look{}
	for _, cfg := range all {
		looks[cfg.Name] = make(chan look, 1)
	}
	work := make(chan config.Archive)
	go func() {
		defer close(work)
		for _, cfg := range all {
			select {
			case work <- cfg:
			case <-ctx.Done():
				return
			}
		}
	}()
	for range min(looksAtOnce, len(all)) {
		go func() {
			for cfg := range work {
				s, err := one(ctx, cfg, len(all), o)
				looks[cfg.Name] <- look{s, err}
			}
		}()
	}
	return func(cfg config.Archive) (daemon.Status, error) {
		select {
		case l := <-looks[cfg.Name]:
			return l.status, l.err
		case <-ctx.Done():
			return daemon.Status{}, ctx.Err()
		}
	}
}

func one(ctx context.Context, cfg config.Archive, among int, o daemon.Options) (daemon.Status, error) {
	if among > few {
		if s, ok := status.Lately(cfg, among, o.Now()); ok {
			return s, nil
		}
	}
	a, err := daemon.Open(cfg, o)
	if err != nil {
		return daemon.Status{}, err
	}
	defer a.Close()
	ctx, cancel := context.WithTimeout(ctx, time.Minute) // one that hangs keeps none waiting
	defer cancel()
	return a.Status(ctx)
}
