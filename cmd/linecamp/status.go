package main

import (
	"context"

	"github.com/spf13/cobra"

	"linecamp/daemon"
)

func (t *tool) status() *cobra.Command {
	return &cobra.Command{
		Use:     "status",
		Short:   "one look at how things stand",
		GroupID: groupLook,
		Long: `Shows each copy, when it last had everything and when its bytes were last read
back, the damage found, how the years stand, and when the next rounds run. It
asks each copy only whether it is there, so it answers at once.`,
		Example: `linecamp status
linecamp status --quiet || echo "the record wants a look"`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			return t.each(cmd.Context(), nil, func(ctx context.Context, a *daemon.Archive, p daemon.Progress) (report, error) {
				return a.Status(ctx)
			})
		},
	}
}
