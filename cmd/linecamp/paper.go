package main

import (
	"context"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"linecamp/daemon"
)

func (t *tool) paper() *cobra.Command {
	cmd := &cobra.Command{
		Use:     "paper",
		Short:   "draws what goes on paper",
		GroupID: groupBack,
		Long: `Draws sheets to print, as PDF files that need nothing beside them.

The recovery sheet is for the day on which the computer is gone: which key to
revoke, where each copy is, and the one command that brings everything back. No
secret is on it. Keep one sheet away from the office.`,
		Example: `linecamp paper recovery sheet.pdf
linecamp paper printed sheet.pdf`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	sub := func(use, short, example string, do func(a *daemon.Archive, ctx context.Context, file string) (daemon.PaperReport, error)) {
		cmd.AddCommand(&cobra.Command{
			Use: use + " FILE.pdf", Short: short, Example: example,
			Args: exactly(1, "the name of a PDF file"),
			RunE: func(cmd *cobra.Command, args []string) error {
				if use == "recovery" && !strings.EqualFold(filepath.Ext(args[0]), ".pdf") {
					return usagef("%q is not the name of a PDF file; let it end with .pdf", args[0])
				}
				if _, _, several, err := t.chosen(); err == nil && several {
					return usagef("there are several archives; say whose sheet it is with --archive NAME")
				}
				return t.each(cmd.Context(), nil, func(ctx context.Context, a *daemon.Archive, _ daemon.Progress) (report, error) {
					return do(a, ctx, args[0])
				})
			},
		})
	}
	sub("recovery", "draws the recovery sheet into a new file", "linecamp paper recovery sheet.pdf", (*daemon.Archive).RecoverySheet)
	sub("printed", "puts on file that a sheet was printed", "linecamp paper printed sheet.pdf", (*daemon.Archive).SheetPrinted)
	return cmd
}
