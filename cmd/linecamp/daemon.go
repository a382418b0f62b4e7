package main

import (
	"context"

	"github.com/spf13/cobra"

	"linecamp/daemon"
	"linecamp/daemon/autostart"
	"linecamp/daemon/config"
	"linecamp/daemon/event"
	"linecamp/daemon/notice/desk"
	show "linecamp/daemon/show/page"
)

func (t *tool) daemon() *cobra.Command {
	cmd := &cobra.Command{
		Use:     "daemon",
		Short:   "runs the rounds on their schedule, until stopped",
		GroupID: groupKeep,
		Long: `Stays and brings every archive's copies up to date, re-reads and mends them, on
the schedule in the settings. A round missed while the computer was off runs soon
after the start. It stops within seconds when told to, with every copy valid,
and reads the settings again on SIGHUP. A system service runs this command; it
needs no terminal.`,
		Example: `linecamp daemon
systemctl --user enable --now linecamp`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			if t.archive != "" { // a name that is none will not be one later
				if _, _, _, err := t.chosen(); statusOf(err) == exitUsage {
					return err
				}
			}
			return autostart.Run(cmd.Context(), t.serve)
		},
	}
	t.carriesProgram(cmd)
	return cmd
}

// serve runs the rounds until ctx ends, and beside them pages and notices.
func (t *tool) serve(ctx context.Context) error {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	pages := show.NewPages(ctx, t.serviceLog())
	defer pages.Wait()
	notices := desk.New(ctx, t.desk(t.serviceLog()))
	defer notices.Wait()
	defer stop()
	return daemon.Serve(ctx, daemon.ServeOptions{
		Config:  t.config,
		Archive: t.archive,
		Loaded:  func(all []config.Archive) { pages.Set(all); notices.Set(all) },
		Options: daemon.Options{Log: t.serviceLog(), Sinks: []event.Sink{notices.Take}, Program: t.program()},
	})
}
