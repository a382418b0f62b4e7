package daemon

import (
	"context"
	"slices"

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
	Options
}

// Serve runs the rounds of every archive on its schedule until ctx ends (see
// service.Serve).
func Serve(ctx context.Context, o ServeOptions) error {
	o.Options = o.Options.Filled()
	p := pool.New(pool.Settings{})
	o.Sinks = append(slices.Clone(o.Sinks), event.Log(o.Log))
	return service.Serve(ctx, service.Options{
		Load: func() ([]config.Archive, []error) {
			p.Limit(machine(o))
			return config.LoadFrom(o.Config)
		},
		Pool:    p,
		Archive: o.Archive,
		Open: func(cfg config.Archive) (service.Archive, error) {
			a, err := Open(cfg, o.Options)
			if err != nil {
				return nil, err
			}
			return scheduled{a}, nil
		},
		Loaded: o.Loaded, Log: o.Log, Now: o.Now,
	})
}

// machine reads what the settings say of the whole machine. A mistake there is told, and
// stops nothing.
func machine(o ServeOptions) pool.Settings {
	s := pool.Read(config.Find(o.Config))
	if s.Fault != nil {
		o.Log.Warn("the machine's limits are the usual ones, because its settings hold a mistake: " + s.Fault.Error())
	}
	link.LimitAll(s.Rate.Bytes)
	return s
}
