package main

import (
	"context"

	"github.com/spf13/cobra"

	"linecamp/daemon/config"
	"linecamp/daemon/many"
	"linecamp/daemon/show/screen"
	"linecamp/daemon/show/text"
)

func (t *tool) status() *cobra.Command {
	return &cobra.Command{
		Use:     "status",
		Short:   "one look at how things stand",
		GroupID: groupLook,
		Long: `Shows each copy, when it last had everything and when its bytes were last read
back, the damage found, how the years stand, and when the next rounds run. It
asks each copy only whether it is there, so it answers at once. Of several
archives it shows one line each, worst first; --archive NAME shows one whole.`,
		Example: `linecamp status
linecamp status --quiet || echo "the record wants a look"`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			var all []text.Titled
			err := t.eachShown(cmd.Context(), func(ctx context.Context, archives []config.Archive) func(config.Archive) (report, error) {
				if len(archives) > 1 && !t.json && !t.quiet {
					text.Print(screen.Writer(t.errs, t.line()), many.Of(ctx, config.Find(t.config), archives))
				}
				of := many.Status(ctx, archives, t.options())
				return func(cfg config.Archive) (report, error) { return of(cfg) }
			}, func(r text.Titled) error {
				if !t.quiet || r.Wants() {
					all = append(all, r)
				}
				return nil
			})
			if len(all) > 0 {
				if err := t.sayText(all, screen.Line{Config: t.config}); err != nil {
					return err
				}
			}
			return err
		},
	}
}
