package main

import (
	"github.com/spf13/cobra"

	"linecamp/daemon/autostart"
)

func (t *tool) service() *cobra.Command {
	cmd := &cobra.Command{
		Use:     "service",
		Short:   "has the computer run the rounds by itself",
		GroupID: groupKeep,
		Long: `Hands the service, which is the command daemon, to this computer's own service
manager: your systemd on Linux, the services of Windows, the launch agents of
macOS. It then starts by itself, and again if it stops.

For a computer that several people use, install the package of the system or
the unit for the whole computer instead.`,
		Example: `linecamp service install
linecamp service status`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	sub := func(use, short string, do func(string) (autostart.Report, error)) {
		cmd.AddCommand(&cobra.Command{
			Use: use, Short: short, Example: "linecamp service " + use, Args: noArgs,
			RunE: func(*cobra.Command, []string) error {
				r, err := do(t.config)
				return t.sayOr(r, err)
			},
		})
	}
	sub("install", "starts the service now, and has it start by itself from then on", autostart.Install)
	sub("remove", "stops the service and takes it from the service manager", autostart.Remove)
	sub("status", "says whether it is installed, and runs", autostart.Look)
	return cmd
}
