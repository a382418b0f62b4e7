package page

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"

	"linecamp/daemon"
	"linecamp/daemon/config"
	"linecamp/daemon/show/page/gate"
	"linecamp/daemon/show/page/small"
	"linecamp/manifest/words"
)

// RunOptions say what is served, and how.
type RunOptions struct {
	Configs   []config.Archive
	Faults    []error                 // of settings that cannot be used; they are told, and stop none of the others
	Line      func(string) words.Line // what the command lines of an archive need
	Log       *slog.Logger
	Listen    string    // "" for any free port of 127.0.0.1
	NoBrowser bool      // print the address with its key instead of opening a browser
	Out, Errs io.Writer // the address, and what is told beside it
	address   bool      // leave the address in the state folders instead of either
}

// ErrAddress marks an address that the page is not served at.
var ErrAddress = gate.ErrAddress

// Child is small.Child, for the program's beginning.
func Child() bool { return small.Child() }

// Run serves the page until ctx ends.
func Run(ctx context.Context, o RunOptions) error {
	if o.Listen == "" {
		o.Listen = "127.0.0.1:0"
	}
	po := Options{Faults: o.Faults, Log: o.Log}
	for _, cfg := range o.Configs {
		folder, err := cfg.StateDir()
		if err != nil {
			return err
		}
		line := o.Line(cfg.Name)
		a, err := daemon.Open(cfg, daemon.Options{Log: o.Log, Line: line})
		if err != nil {
			po.Faults = append(po.Faults, fmt.Errorf("archive %s: %w", cfg.Name, err))
			continue
		}
		defer a.Close()
		po.Archives = append(po.Archives, Archive{Archive: a, Line: line, Folder: folder})
	}
	if len(po.Archives) == 0 {
		return errors.Join(po.Faults...)
	}
	l, err := gate.Listen(o.Listen)
	if err != nil {
		return err
	}
	defer l.Close()
	s, err := New(l.Addr(), po)
	if err != nil {
		return err
	}
	if o.address {
		gone, err := leaveAddress(s.gate.Address(), po.Archives)
		if err != nil {
			return err
		}
		defer gone()
	} else if o.NoBrowser {
		if _, err := fmt.Fprintln(o.Out, s.gate.Address()); err != nil {
			return err
		}
	} else {
		gone, err := s.gate.Open(o.Errs)
		if err != nil {
			return err
		}
		defer gone()
	}
	return s.Serve(ctx, l)
}
