package main

import (
	"context"

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
			check := hasCopy(o.Copy)
			if o.Copy == working {
				check = nil
			}
			return t.each(cmd.Context(), check, func(ctx context.Context, a *daemon.Archive, p daemon.Progress) (report, error) {
				return a.Mend(ctx, o, p)
			})
		},
	}
	cmd.Flags().StringVar(&o.Copy, "copy", "", "only the copy with this `NAME`, or \"working\" for your folder")
	t.completesCopies(cmd, "copy")
	return cmd
}

// working stands for the working folder wherever a copy is named.
const working = "working"
