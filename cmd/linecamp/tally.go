package main

import (
	"context"

	"github.com/spf13/cobra"

	"linecamp/daemon"
)

func (t *tool) tally() *cobra.Command {
	write := false
	cmd := &cobra.Command{
		Use:     "tally",
		Short:   "shows what it understands of your folder",
		GroupID: groupLook,
		Long: `Reads your folder and shows what was understood: which sites there are,
which visits each has, which photos and notes belong to them, and which files
found no site. Nothing is copied and nothing is changed. The first run reads
every file once; later runs only look at what changed.

With --write-sites a draft of a site.toml is written into the folder of every
site that has none, or where the year's folder stands above the site's, a file of
the site's name into the folder sites at the top: its position, views, season and cadence, from what the
photos say, to be looked at and corrected. Nothing is ever written over.`,
		Example: `linecamp tally
linecamp tally --json > what-is-there.json
linecamp tally --write-sites`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			return t.each(cmd.Context(), nil, func(ctx context.Context, a *daemon.Archive, p daemon.Progress) (report, error) {
				if write {
					return a.WriteSites(ctx, p)
				}
				return a.Tally(ctx, p)
			})
		},
	}
	cmd.Flags().BoolVar(&write, "write-sites", false, "draft a site.toml for every site that has none")
	return cmd
}
