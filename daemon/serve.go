package daemon

import (
	"context"
	"slices"
	"sync/atomic"
	"time"

	"linecamp/daemon/config"
	"linecamp/daemon/event"
	"linecamp/daemon/link"
	"linecamp/daemon/pool"
	"linecamp/daemon/service"
)

// ServeOptions are the service's settings.
type ServeOptions struct {
	Config  string // the settings file, or the folder of one file for each archive
	Archive string // only this archive; "" for all
	// Loaded is told the settings whenever they were read, at the start and on
	// SIGHUP. It may be nil.
	Loaded func([]config.Archive)
	Settle time.Duration // from the start to the first missed round; 0 for the usual
	Options
}

// Serve runs the rounds of every archive on its schedule until ctx ends (see
// service.Serve).
func Serve(ctx context.Context, o ServeOptions) error {
	o.Options = o.Options.Filled()
	p, among := pool.New(pool.Settings{}), &atomic.Int32{}
	o.Sinks = append(slices.Clone(o.Sinks), event.Log(o.Log))
	return service.Serve(ctx, service.Options{
		Load: func() ([]config.Archive, []error) {
			p.Limit(machine(o))
			all, faults := config.LoadFrom(o.Config)
			among.Store(int32(len(all)))
			return all, faults
		},
		Pool:    p,
		Archive: o.Archive,
		Open: func(cfg config.Archive) (service.Archive, error) {
			with := o.Options
			with.Among = int(among.Load())
			a, err := Open(cfg, with)
			if err != nil {
				return nil, err
			}
			return scheduled{a}, nil
		},
		Loaded: o.Loaded, Log: o.Log, Now: o.Now, Settle: o.Settle,
	})
}

// machine reads what the settings say of the whole machine. A mistake there is told, and
// stops nothing.
func machine(o ServeOptions) pool.Settings {
	s := pool.Read(config.Find(o.Config))
	if s.Fault != nil {
		o.Log.Warn("the computer's limits are the usual ones, because its settings hold a mistake: " + s.Fault.Error())
	}
	link.LimitAll(s.Rate.Bytes)
	return s
}
