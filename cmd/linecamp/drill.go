package main

import (
	"github.com/spf13/cobra"

	"linecamp/daemon"
)

func (t *tool) drill() *cobra.Command {
	var o daemon.DrillOptions
	cmd := &cobra.Command{
		Use:     "drill",
		Short:   "practices a recovery from each copy",
		GroupID: groupBack,
		Long: `Brings a part of the archive back from each copy as a new computer would, which
knows nothing but the copy's address and its keys. Every byte is checked, and
compared with your folder. What came back is removed again. It says how long a
whole recovery from the copy would take.

Without options it takes one site, another each month, and its newest visit.
From a bucket it downloads no more than the settings allow for checks (reread).
The service does this each month.`,
		Example: `linecamp drill
linecamp drill --copy bucket
linecamp drill --site "Stake 3"
linecamp drill --everything --copy shelf-drive`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if cmd.Flags().Changed("site") && o.Everything {
				return usagef("either name a site with --site or say --everything, not both")
			}
			if cmd.Flags().Changed("site") && o.Site == "" {
				return usagef("--site takes the name of a site")
			}
			if err := t.holds(cmd.Context(), o.Site); err != nil {
				return err
			}
			return on(t, cmd, hasCopy(o.Copy), (*daemon.Archive).Drill, o)
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.Copy, "copy", "", "only from the copy with this `NAME`")
	f.StringVar(&o.Site, "site", "", "all visits of this `SITE`: its name, folder, or the beginning of one")
	f.BoolVar(&o.Everything, "everything", false, "every site, and the files without one")
	t.completesCopies(cmd, "copy")
	cmd.RegisterFlagCompletionFunc("site", t.completeSite)
	return cmd
}
