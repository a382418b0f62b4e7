package desk

import (
	"context"
	"errors"

	"linecamp/daemon/config"
	"linecamp/daemon/notice"
)

// Alive is what a report calls the address that watches over the service.
const Alive = "alive"

// ErrNobody: the settings name nobody to tell.
var ErrNobody = errors.New("the settings name nobody to tell; add a part [notice] with an address, as the README shows")

// TryReport is what came of sending a notice because a person asked.
type TryReport struct {
	Archive string  `json:"archive"`
	Tried   []Tried `json:"tried"`
}

// Tried is one way.
type Tried struct {
	Way   string `json:"way"`
	Sent  bool   `json:"sent"`
	Error string `json:"error,omitempty"`
}

// Wants is false: what failed is a failure.
func (TryReport) Wants() bool { return false }

// Failed reports whether anything could not be sent.
func (r TryReport) Failed() bool {
	for _, t := range r.Tried {
		if !t.Sent {
			return true
		}
	}
	return false
}

// Try sends a trial to everybody that the settings name, with how the archive stands.
func Try(ctx context.Context, cfg config.Archive, among int, o Options) (TryReport, error) {
	o = o.filled()
	r := TryReport{Archive: cfg.Name, Tried: []Tried{}}
	if cfg.Notice.Fault != nil {
		return r, cfg.Notice.Fault
	}
	if !cfg.Notice.IsSet() {
		return r, ErrNobody
	}
	items, state, err := o.look(ctx, cfg, o, among)
	if err != nil && ctx.Err() != nil {
		return r, err
	}
	n := notice.Notice{Kind: notice.Trial, At: o.Now(), Standing: items, State: state}
	tried := func(way string, err error) {
		t := Tried{Way: way, Sent: err == nil}
		if err != nil {
			t.Error = err.Error()
		}
		r.Tried = append(r.Tried, t)
	}
	for _, w := range o.ways(cfg.Notice) {
		m, err := message(n, cfg, o, among, w.Name, int(n.At.UnixNano()))
		if err == nil {
			err = w.Send(ctx, m)
		}
		tried(w.Name, err)
	}
	if cfg.Notice.Alive != "" {
		tried(Alive, o.alive(ctx, cfg.Notice))
	}
	return r, ctx.Err()
}
