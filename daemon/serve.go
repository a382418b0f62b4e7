package daemon

import (
	"context"
	"slices"

	"linecamp/daemon/config"
	"linecamp/daemon/event"
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
	o.Sinks = append(slices.Clone(o.Sinks), event.Log(o.Log))
	return service.Serve(ctx, service.Options{
		Load:    func() ([]config.Archive, []error) { return config.LoadFrom(o.Config) },
		Archive: o.Archive,
		Open: func(cfg config.Archive) (service.Rounds, error) {
			a, err := Open(cfg, o.Options)
			if err != nil {
				return nil, err
			}
			return scheduled{a}, nil
		},
		Loaded: o.Loaded, Log: o.Log, Now: o.Now,
	})
}
