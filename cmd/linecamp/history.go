package main

import (
	"context"

	"github.com/spf13/cobra"

	"linecamp/daemon"
	"linecamp/daemon/reach"
)

func (t *tool) history() *cobra.Command {
	var from reach.RootAccess
	cmd := &cobra.Command{
		Use:     "history SITE",
		Short:   "a site's visits and versions",
		GroupID: groupLook,
		Long: `Lists the visits of one site and the versions its record went through. SITE is
the site's name or folder; the beginning of it is enough where only one fits.`,
		Example: `linecamp history "Windmill/Stake 3"
linecamp history wind
linecamp history windmill--stake-3 --from /media/office/line-camp`,
		Args: exactly(1, "the name of a site"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if root, err := t.isRoot(from.Root); err != nil {
				return err
			} else if root {
				return t.once(func(daemon.Progress) (report, error) {
					return daemon.HistoryFrom(cmd.Context(), from, args[0])
				})
			}
			if err := t.holds(cmd.Context(), args[0]); err != nil {
				return err
			}
			return t.each(cmd.Context(), hasCopy(from.Root), func(ctx context.Context, a *daemon.Archive, p daemon.Progress) (report, error) {
				return a.History(ctx, args[0], from.Root)
			})
		},
		ValidArgsFunction: t.completeSite,
	}
	rootFlags(cmd, &from, "a copy's `NAME|ROOT`; a folder or https address needs no settings")
	t.completesRoots(cmd, "from")
	return cmd
}
