package main

import (
	"github.com/spf13/cobra"

	show "linecamp/daemon/show/page"
	"linecamp/daemon/show/screen"
)

func (t *tool) page() *cobra.Command {
	var o show.RunOptions
	cmd := &cobra.Command{
		Use:     "page",
		Short:   "the record in a browser, on this computer only",
		GroupID: groupLook,
		Long: `Serves the record to a browser on this computer, until stopped with Ctrl-C: how
things stand, the sites by years, and every site's pictures along the years, two
of them beside each other. What can be done there is what the commands do.

It opens the browser by itself. It serves no other computer, and it opens only
with its key. Give the key to nobody.`,
		Example: `linecamp page
linecamp page --no-browser                     print the address, with its key`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			all, faults, several, err := t.chosen()
			if err != nil {
				return err
			}
			o.Configs, o.Faults, o.Line = all, faults, func(name string) screen.Line {
				if several {
					return t.of(name)
				}
				return t.line()
			}
			o.Log, o.Out, o.Errs = t.log(), t.out, t.errs
			return asUsage(show.Run(cmd.Context(), o))
		},
	}
	f := cmd.Flags()
	f.BoolVar(&o.NoBrowser, "no-browser", false, "open no browser; print the page's address with its key")
	f.StringVar(&o.Listen, "listen", "", "serve it at this `ADDRESS` of this computer (default: 127.0.0.1 and a free port)")
	return cmd
}
