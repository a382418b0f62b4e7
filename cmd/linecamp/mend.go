package main

import (
	"github.com/spf13/cobra"

	"linecamp/daemon"
)

func (t *tool) mend() *cobra.Command {
	var o daemon.MendOptions
	cmd := &cobra.Command{
		Use:     "mend",
		Short:   "replaces damaged bytes with good ones",
		GroupID: groupKeep,
		Long: `Puts good bytes in the place of those that verify found damaged or missing on
a copy, and in your folder, if a file's bytes changed while its size and time did
not. Good bytes come from any copy that has them and are checked before and
after. The bad ones are set aside, never deleted.`,
		Example: `linecamp mend
linecamp mend --copy shelf-drive`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			return on(t, cmd, hasPlace(o.Copy), (*daemon.Archive).Mend, o)
		},
	}
	cmd.Flags().StringVar(&o.Copy, "copy", "", "only the copy with this `NAME`, or \"working\" for your folder")
	t.completesCopies(cmd, "copy")
	return cmd
}
