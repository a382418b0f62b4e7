package main

import (
	"context"
	"log/slog"

	"github.com/spf13/cobra"

	"linecamp/daemon"
	"linecamp/daemon/notice/desk"
	"linecamp/daemon/show/text/letter"
)

func (t *tool) notice() *cobra.Command {
	var try bool
	cmd := &cobra.Command{
		Use:     "notice --try",
		Short:   "tries whether notices reach you",
		GroupID: groupKeep,
		Long: `The service tells by e-mail, or at a web address, when something needs a person,
when all is well again, and once a month that it still runs. Whom it tells stands in
the part [notice] of the settings. This sends a trial to each of them, with how
the archive stands now, and says what the server answered.`,
		Example: "linecamp notice --try",
		Args:    noArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			if !try {
				return usagef("notice sends nothing unless it is told to: linecamp notice --try")
			}
			return t.each(cmd.Context(), nil, func(ctx context.Context, a *daemon.Archive, _ daemon.Progress) (report, error) {
				return desk.Try(ctx, a.Config, t.among, t.desk(t.log()))
			})
		},
	}
	cmd.Flags().BoolVar(&try, "try", false, "send a trial to everybody whom the settings name")
	return cmd
}

// desk is how notices are written here.
func (t *tool) desk(log *slog.Logger) desk.Options {
	return desk.Options{Words: letter.Write, Config: t.config, Log: log}
}
