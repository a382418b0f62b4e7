package main

import (
	"context"

	"github.com/spf13/cobra"

	"linecamp/daemon"
)

func (t *tool) levels() *cobra.Command {
	return &cobra.Command{
		Use:     "levels",
		Short:   "says where the archive stands on the NDSA Levels",
		GroupID: groupLook,
		Long: `Measures the archive on the Levels of Digital Preservation of the National
Digital Stewardship Alliance, version 2 (2019): storage, integrity, control,
metadata and content, four levels each. For each area it shows the level that is
reached, the numbers and days that this rests on, and the one next step. What
only a person can answer is shown as not known, and no level is claimed on it.`,
		Example: "linecamp levels\nlinecamp levels --json",
		Args:    noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return t.each(cmd.Context(), nil, func(ctx context.Context, a *daemon.Archive, _ daemon.Progress) (report, error) {
				return a.Levels(ctx)
			})
		},
	}
}
