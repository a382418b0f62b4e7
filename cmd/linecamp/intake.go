package main

import (
	"context"
	"errors"
	"fmt"
	"os"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"linecamp/daemon"
	"linecamp/daemon/cameracard"
	"linecamp/daemon/intake"
	"linecamp/daemon/show/text"
)

func (t *tool) intake() *cobra.Command {
	var o cameracard.Asked
	var yes bool
	cmd := &cobra.Command{
		Use:     "intake FOLDER",
		Short:   "files the new photos of a camera card",
		GroupID: groupKeep,
		Long: `Reads a camera card, or a phone's folder, leaves out what the archive has
already, and proposes site, date and view for the rest: by the position in the
pictures, by a GPX track, or by the order in which the sites were walked in
other years, and by whether a picture shows sky. It shows the plan and files
it when told to. Only what has a site is copied; the rest stays on the card and
is listed. Nothing on the card is ever changed, and nothing is overwritten.`,
		Example: `linecamp intake /media/office/CAMERA
linecamp intake /media/office/CAMERA --sheet card.html
linecamp intake /media/office/CAMERA --yes
linecamp intake /media/office/CAMERA --visit 3 --site "Stake 3"
linecamp intake /media/office/CAMERA --gpx round.gpx --clock +1h`,
		Args: exactly(1, "the folder of the card"),
		RunE: func(cmd *cobra.Command, args []string) error {
			for name, to := range map[string]**string{"site": &o.Site, "view": &o.View, "near": &o.Near} {
				if f := cmd.Flags().Lookup(name); f.Changed {
					*to = new(f.Value.String())
				}
			}
			in, err := o.Options(args[0])
			if err != nil {
				return asUsage(err)
			}
			return t.opened(cmd.Context(), func(archives []*daemon.Archive) (report, error) {
				return t.takeIn(cmd.Context(), args[0], archives, in, o.Sheet, yes)
			})
		},
	}
	f := cmd.Flags()
	f.BoolVar(&yes, "yes", false, "file what is proposed, without asking")
	f.StringVar(&o.Sheet, "sheet", "", "write the plan with small pictures to a `FILE.html`")
	f.String("site", "", "the `SITE` the pictures are of")
	f.StringVar(&o.Date, "date", "", "the `DAY` they are of, as 2026-06-24")
	f.String("view", "", "the `VIEW` the one picture is: plot, landscape, …")
	f.IntSliceVar(&o.Visits, "visit", nil, "only the visit with this `NUMBER` in the plan; may be said several times")
	f.StringVar(&o.TrackFile, "gpx", "", "a GPX `FILE` with the track of the round, for pictures without a position")
	f.StringVar(&o.Clock, "clock", "", "`HOW` far to move the camera's clock, as +1h or -35m")
	f.String("near", "", "how `FAR` from a site still is the site, as 150ft or 50m (50m, or what the settings or the site's card say)")
	cmd.RegisterFlagCompletionFunc("site", t.completeSite)
	return cmd
}

// takeIn proposes, shows, asks and files.
func (t *tool) takeIn(ctx context.Context, card string, archives []*daemon.Archive, o intake.Options, sheet string, yes bool) (report, error) {
	archives, err := daemon.WithFolder(archives)
	if err != nil {
		return nil, err
	}
	show, end := t.progress()
	plan, err := daemon.Intake(ctx, card, archives, o, show)
	end()
	if err != nil {
		return nil, asUsage(err)
	}
	if sheet != "" {
		if err := plan.WriteSheet(sheet); err != nil {
			return nil, err
		}
	}
	if plan.Waiting() > 0 && !yes {
		if yes, err = t.agreed(ctx, plan.Plan); err != nil {
			return nil, err
		}
	}
	if yes {
		if err := plan.File(ctx); err != nil {
			return nil, err
		}
	}
	return plan.Plan, nil
}

// agreed shows the plan and asks, where there is a person to ask.
func (t *tool) agreed(ctx context.Context, plan *intake.Plan) (bool, error) {
	in, ok := t.in.(*os.File)
	if !ok || t.json || !term.IsTerminal(int(in.Fd())) {
		return false, nil
	}
	text.Print(t.errs, plan)
	return t.asks(ctx, "File them now?")
}

// opened opens every chosen archive at once, for work that is about all of
// them, and says what cannot be opened.
func (t *tool) opened(ctx context.Context, do func([]*daemon.Archive) (report, error)) error {
	all, faults, several, err := t.chosen()
	if err != nil {
		return err
	}
	var archives []*daemon.Archive
	defer func() {
		for _, a := range archives {
			a.Close()
		}
	}()
	for _, cfg := range all {
		line := t.line()
		if several {
			line = t.of(cfg.Name)
		}
		a, err := daemon.Open(cfg, daemon.Options{Log: t.log(), Line: line})
		if err != nil {
			faults = append(faults, fmt.Errorf("archive %s: %w", cfg.Name, err))
			continue
		}
		archives = append(archives, a)
	}
	// What one archive holds decides over every file, so none may be missing.
	if len(faults) > 0 {
		return errors.Join(append(faults, errors.New("put this right, or name one archive with --archive"))...)
	}
	r, err := do(archives)
	if err != nil {
		return asUsage(err)
	}
	return t.say(r)
}
