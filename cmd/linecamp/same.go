package main

import (
	"github.com/spf13/cobra"

	"linecamp/daemon"
)

func (t *tool) same() *cobra.Command {
	var o daemon.SameOptions
	cmd := &cobra.Command{
		Use:     "same SITE SITE",
		Short:   "puts on file that two sites are one stake, or that they are two",
		GroupID: groupKeep,
		Long: `Joins two sites that are one stake under two names, for example when the stake was replaced and
its photos went into a new folder. Name the present one first, then its earlier
name. From then on their years are judged as one site's. Nothing is moved: each
keeps its folder, its copies and its history, and is found by its own name.

With --no it is put on file that they are two, and the years report does not
ask about them again; --undo parts sites that were joined. Each decision is kept
with the archive, with who said so and when.

Two sites that have visits in the same years are not joined unless --overlap says
that they are one all the same, as when both stakes were photographed in the
year of the change.`,
		Example: `linecamp same "Stake 3" "Stake 3 old"
linecamp same "Stake 3" "Stake 3 old" --why "post burned, reset 6 ft north"
linecamp same --no "Stake 3" "Stake 3 old"
linecamp same --undo "Stake 3" "Stake 3 old"`,
		Args: exactly(2, "the names of two sites, the present one first"),
		RunE: func(cmd *cobra.Command, args []string) error {
			switch {
			case o.No && o.Undo:
				return usagef("--no and --undo do not go together: --undo parts sites that were joined, --no says of others that they are two")
			case o.Overlap && (o.No || o.Undo):
				return usagef("--overlap is about joining, and does not go with --no or --undo")
			}
			o.Now, o.Former = args[0], args[1]
			if err := t.holds(cmd.Context(), o.Now); err != nil {
				return err
			}
			return on(t, cmd, nil, (*daemon.Archive).Same, o)
		},
		ValidArgsFunction: func(cmd *cobra.Command, args []string, begun string) ([]string, cobra.ShellCompDirective) {
			if len(args) == 1 {
				args = nil // the second is a site too
			}
			return t.completeSite(cmd, args, begun)
		},
	}
	f := cmd.Flags()
	f.BoolVar(&o.No, "no", false, "they are two stakes; do not ask again")
	f.BoolVar(&o.Undo, "undo", false, "part two sites that were joined")
	f.BoolVar(&o.Overlap, "overlap", false, "join them although both have visits in the same years")
	f.StringVar(&o.Why, "why", "", "the `REASON`")
	f.StringVar(&o.Who, "who", "", "the `NAME` of who says so (default: yours)")
	return cmd
}
