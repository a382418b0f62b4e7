package main

import (
	"github.com/spf13/cobra"

	"linecamp/daemon"
)

func (t *tool) handOver() *cobra.Command {
	var o daemon.HandOverOptions
	cmd := &cobra.Command{
		Use:     "hand-over SITE… --into FOLDER | --pasture PASTURE --into FOLDER | --everything --into FOLDER",
		Short:   "makes a bag of sites for somebody else",
		GroupID: groupBack,
		Long: `Puts the newest bytes of every file that the sites ever had into a new folder,
each checked, with lists of SHA-256 and SHA-512 that any computer can check: a
bag as RFC 8493 describes it. The years of the sites are beside them as a table.

Where the sites are and whose the land is stays out: cards, waypoints and files
that linecamp cannot look through are not handed over, and a position that a
camera wrote into a picture is taken out of it. With --with-positions all of it
is handed over as it is. What people wrote in their notes is never changed: read
them before you hand them over.`,
		Example: `linecamp hand-over "Stake 3" --into ~/for-the-agency
linecamp hand-over --pasture "North Flat" --into ~/north-flat
linecamp hand-over --everything --with-positions --into /media/office/whole-record
linecamp verify --bag ~/for-the-agency`,
		Args: func(cmd *cobra.Command, args []string) error {
			wishes := 0
			for _, w := range []bool{len(args) > 0, o.Pasture != "", o.Everything} {
				if w {
					wishes++
				}
			}
			switch {
			case wishes == 0:
				return usagef("hand-over needs the names of sites, or --pasture PASTURE, or --everything")
			case wishes > 1:
				return usagef("name sites, or a pasture with --pasture, or say --everything: only one of the three")
			case o.Into == "":
				return usagef("hand-over needs --into FOLDER: a new folder that becomes the bag")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			o.Sites = args
			if _, _, several, err := t.chosen(); err == nil && several {
				return usagef("there are several archives; say which one is handed over with --archive NAME")
			}
			return on(t, cmd, nil, (*daemon.Archive).HandOver, o)
		},
		ValidArgsFunction: t.completeSite,
	}
	f := cmd.Flags()
	f.StringVar(&o.Into, "into", "", "the new `FOLDER` that becomes the bag (needed)")
	f.StringVar(&o.Pasture, "pasture", "", "every site of this `PASTURE`")
	f.BoolVar(&o.Everything, "everything", false, "every site, and the files without one")
	f.BoolVar(&o.EveryVersion, "every-version", false, "also the bytes that were replaced later, named by version")
	f.BoolVar(&o.WithPositions, "with-positions", false, "also positions, cards and waypoints, and files that may tell one")
	cmd.MarkFlagDirname("into")
	return cmd
}
