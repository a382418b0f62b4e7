package main

import (
	"github.com/spf13/cobra"

	"linecamp/daemon"
)

func (t *tool) explain() *cobra.Command {
	var o daemon.ExplainOptions
	cmd := &cobra.Command{
		Use:     "explain SITE YEARS REASON | --pasture PASTURE YEARS REASON | PATH REASON | --undo …",
		Short:   "puts on file why years are missing, so that they are no fault",
		GroupID: groupKeep,
		Long: `Puts the reason for something missing on file, with who said so and when. It is
kept with the archive, and what it explains is no fault any more. YEARS is a
year, a range, or several with commas between. With --pasture it goes for every
site there; with a file's path instead of SITE and YEARS, for what is said of
that one file.

With --undo it is no longer explained, and counts as it did before: name the site
and the years, or the pasture and the years, or the file, without a reason. With
--season or --lacks only that part is undone. What was said stays in the record.`,
		Example: `linecamp explain "Stake 3" 2014 "road washed out"
linecamp explain --pasture "North Flat" 2013-2015 "grazing lease suspended"
linecamp explain "Stake 3" 2016 "camera card failed" --lacks landscape
linecamp explain "Stake 3" 2016 "snow in September" --season 09-20
linecamp explain "North Flat/Stake 3/2016-06-21/plot.jpg" "taken from the road, on purpose"
linecamp explain --undo "Stake 3" 2014`,
		Args: cobra.RangeArgs(0, 3),
		RunE: func(cmd *cobra.Command, args []string) error {
			switch {
			case o.Undo && o.Pasture != "" && len(args) == 1:
				o.Years = args[0]
			case o.Undo && o.Pasture == "" && len(args) == 2:
				o.Site, o.Years = args[0], args[1]
			case o.Undo && o.Pasture == "" && len(args) == 1 && o.Season == "" && o.Lacks == "":
				o.Path = args[0]
			case o.Undo:
				return usagef("with --undo, give SITE YEARS, or --pasture PASTURE YEARS, or PATH, and no reason; text with spaces stands in quotes")
			case o.Pasture != "" && len(args) == 2:
				o.Years, o.Why = args[0], args[1]
			case o.Pasture == "" && len(args) == 3:
				o.Site, o.Years, o.Why = args[0], args[1], args[2]
			case o.Pasture == "" && len(args) == 2 && o.Season == "" && o.Lacks == "":
				o.Path, o.Why = args[0], args[1]
			default:
				return usagef("give SITE YEARS REASON, or --pasture PASTURE YEARS REASON, or PATH REASON; text with spaces stands in quotes")
			}
			if o.Season != "" && o.Lacks != "" {
				return usagef("--season and --lacks do not go together: a visit not made lacks everything")
			}
			if err := t.holds(cmd.Context(), o.Site); err != nil {
				return err
			}
			if _, _, several, err := t.chosen(); err == nil && several {
				return usagef("there are several archives; say which with --archive")
			}
			return on(t, cmd, nil, (*daemon.Archive).Explain, o)
		},
		ValidArgsFunction: t.completeSite,
	}
	f := cmd.Flags()
	f.StringVar(&o.Pasture, "pasture", "", "every site of this `PASTURE`")
	f.StringVar(&o.Season, "season", "", "only the visit of the season with this `DAY`, as the report names it: 06-21")
	f.StringVar(&o.Lacks, "lacks", "", "only this `VIEW`, or \"note\"")
	f.BoolVar(&o.Undo, "undo", false, "take an explanation back")
	f.StringVar(&o.Who, "who", "", "the `NAME` of who says so (default: yours)")
	return cmd
}
