package main

import (
	"context"
	"fmt"
	"regexp"
	"strconv"
	"time"

	"github.com/spf13/cobra"

	"linecamp/daemon"
	"linecamp/daemon/show/screen"
)

var daysAhead = regexp.MustCompile(`^(\d{1,5})d?$`)

func (t *tool) due() *cobra.Command {
	var o daemon.DueOptions
	var within string
	cmd := &cobra.Command{
		Use:     "due",
		Short:   "which sites to visit now and next",
		GroupID: groupLook,
		Long: `Lists the sites whose visit is due now, or whose season opens soon, with the
days between which the visit is expected. Sites that are closed are left out,
and it says so. Each season of a site is listed by itself. With --within 365d the
list is that of a whole year. It can also be written for a calendar or a map; of
several archives, all go into one file.`,
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
			if o.ICS+o.GeoJSON+o.GPX == "" {
				return on(t, cmd, nil, (*daemon.Archive).Due, o)
			}
			return t.dueFiles(cmd.Context(), o)
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

// dueFiles is due with the visits of all archives written to the files asked for.
func (t *tool) dueFiles(ctx context.Context, o daemon.DueOptions) error {
	_, _, several, err := t.chosen()
	if err != nil {
		return err
	}
	var all []daemon.DueReport
	err = t.each(ctx, nil, func(ctx context.Context, a *daemon.Archive, p daemon.Progress) (report, error) {
		r, err := a.Due(ctx, o, p)
		if err != nil {
			return r, err
		}
		if all = append(all, r); !several {
			var note string
			if note, err = daemon.WriteDue(o, time.Now(), r); note != "" {
				r.Notes = append(r.Notes, note)
			}
		}
		return r, err
	})
	if !several || len(all) == 0 || ctx.Err() != nil {
		return err
	}
	note, fault := daemon.WriteDue(o, time.Now(), all...)
	if fault != nil {
		fmt.Fprintln(t.errs, "linecamp:", t.line().Text(screen.Error(fault)))
		return exitError(worse(statusOf(err), exitFailed))
	}
	if note != "" && !t.quiet {
		fmt.Fprintf(t.errs, "%s.\n", note)
	}
	return err
}
