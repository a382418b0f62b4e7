package main

import (
	"context"

	"github.com/spf13/cobra"

	"linecamp/daemon"
	"linecamp/daemon/reach"
)

func (t *tool) seal() *cobra.Command {
	var from reach.RootAccess
	cmd := &cobra.Command{
		Use:     "seal",
		Short:   "one line for paper that fixes the record as it is today",
		GroupID: groupLook,
		Long: `Prints the archive's seal: how many versions and events were recorded, the day
of the last one, and a digest of them all. Given to somebody else on paper, it
shows later that nothing recorded until that day was changed since. It shows no
more than that.`,
		Example: `linecamp seal
linecamp seal --from /media/office/line-camp
linecamp verify --seal "47 2026-07-02 9f3a-11c2-5d08-77be-0c41-a9e2-3b6f-d015"`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			if from.Root != "" {
				return t.once(func(daemon.Progress) (report, error) {
					return daemon.SealFrom(cmd.Context(), from)
				})
			}
			return t.each(cmd.Context(), nil, func(ctx context.Context, a *daemon.Archive, p daemon.Progress) (report, error) {
				return a.Seal(ctx)
			})
		},
	}
	rootFlags(cmd, &from, "a copy's `ROOT`: a folder or https address; needs no settings")
	return cmd
}
