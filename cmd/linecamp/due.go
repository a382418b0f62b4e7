package main

import (
	"context"
	"regexp"
	"strconv"

	"github.com/spf13/cobra"

	"linecamp/daemon"
)

var daysAhead = regexp.MustCompile(`^(\d{1,3})d?$`)

func (t *tool) due() *cobra.Command {
	var o daemon.DueOptions
	var within string
	cmd := &cobra.Command{
		Use:     "due",
		Short:   "which sites to visit now and next",
		GroupID: groupLook,
		Long: `Lists the sites whose visit is due now, or whose season opens soon, with the
days between which the visit is expected. Sites that are closed are left out,
and it says so. The list can also be written for a calendar or a map.`,
		Example: `linecamp due
linecamp due --within 60d
linecamp due --ics seasons.ics --gpx stakes.gpx
linecamp due --geojson stakes.geojson --no-positions`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			m := daysAhead.FindStringSubmatch(within)
			if m == nil {
				return usagef("--within takes a number of days, such as 30d, not %q", within)
			}
			o.Within, _ = strconv.Atoi(m[1])
			if o.NoPositions && o.GPX != "" {
				return usagef("--gpx writes nothing but positions; leave --no-positions out, or --gpx")
			}
			if _, _, several, err := t.chosen(); err == nil && several && o.ICS+o.GeoJSON+o.GPX != "" {
				return usagef("there are several archives, and one file; say which with --archive")
			}
			return t.each(cmd.Context(), nil, func(ctx context.Context, a *daemon.Archive, p daemon.Progress) (report, error) {
				return a.Due(ctx, o, p)
			})
		},
	}
	f := cmd.Flags()
	f.StringVar(&within, "within", "30d", "also seasons that open within so many `DAYS`")
	f.StringVar(&o.ICS, "ics", "", "write the seasons to a `FILE` that calendars read")
	f.StringVar(&o.GeoJSON, "geojson", "", "write the points to a `FILE` that maps read")
	f.StringVar(&o.GPX, "gpx", "", "write the points to a `FILE` that receivers read")
	f.BoolVar(&o.NoPositions, "no-positions", false, "leave positions out")
	return cmd
}
