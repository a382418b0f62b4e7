package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"linecamp/daemon"
	"linecamp/daemon/cameracard"
	"linecamp/daemon/intake"
	"linecamp/daemon/show/text"
)

func (t *tool) intake() *cobra.Command {
	var o intake.Options
	var yes bool
	var gpx, clock, near, sheet string
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
			if err := intakeOptions(cmd, &o, gpx, clock, near); err != nil {
				return err
			}
			if err := sheetPlace(sheet, args[0]); err != nil {
				return err
			}
			o.Thumbs = sheet != ""
			return t.opened(cmd.Context(), func(archives []*daemon.Archive) (report, error) {
				return t.takeIn(cmd.Context(), args[0], archives, o, sheet, yes)
			})
		},
	}
	f := cmd.Flags()
	f.BoolVar(&yes, "yes", false, "file what is proposed, without asking")
	f.StringVar(&sheet, "sheet", "", "write the plan with small pictures to a `FILE.html`")
	f.StringVar(&o.Site, "site", "", "the `SITE` the pictures are of")
	f.StringVar(&o.Date, "date", "", "the `DAY` they are of, as 2026-06-24")
	f.StringVar(&o.View, "view", "", "the `VIEW` the one picture is: plot, landscape, …")
	f.IntSliceVar(&o.Visits, "visit", nil, "only the visit with this `NUMBER` in the plan; may be said several times")
	f.StringVar(&gpx, "gpx", "", "a GPX `FILE` with the track of the round, for pictures without a position")
	f.StringVar(&clock, "clock", "", "`HOW` far to move the camera's clock, as +1h or -35m")
	f.StringVar(&near, "near", "", "how `FAR` from a site still is the site, as 150ft or 50m (50m, or what the settings or the site's card say)")
	cmd.RegisterFlagCompletionFunc("site", t.completeSite)
	return cmd
}

// intakeOptions reads those options that are more than a word.
func intakeOptions(cmd *cobra.Command, o *intake.Options, gpx, clock, near string) error {
	if o.Date != "" {
		if _, ok := intake.Day(o.Date, time.Now()); !ok {
			return usagef("--date takes a day that has been, as 2026-06-24, not %q", o.Date)
		}
	}
	if clock != "" {
		d, ok := intake.Shift(clock)
		if !ok {
			return usagef("--clock takes how far the camera's clock is to be moved, as +1h or -35m, not %q", clock)
		}
		o.Clock = d
	}
	if cmd.Flags().Changed("site") && strings.TrimSpace(o.Site) == "" {
		return usagef("--site is empty; leave it out, or name the site")
	}
	if cmd.Flags().Changed("view") && !intake.View(o.View) {
		return usagef("--view takes a view's name in small letters, as plot or landscape, not %q", o.View)
	}
	if cmd.Flags().Changed("near") {
		d, err := intake.ParseNear(near)
		if err != nil {
			return usagef("--near: %v", err)
		}
		o.Near = d
	}
	if gpx == "" {
		return nil
	}
	f, err := os.Open(gpx)
	if err != nil {
		return usagef("the track cannot be opened: %v", err)
	}
	defer f.Close()
	if o.Track, err = intake.ReadTrack(f); err != nil {
		return usagef("%s: %v", gpx, err)
	}
	return nil
}

// sheetPlace makes sure that a sheet overwrites no photo and lies on no card.
func sheetPlace(sheet, card string) error {
	if sheet == "" {
		return nil
	}
	if ext := strings.ToLower(filepath.Ext(sheet)); ext != ".html" && ext != ".htm" {
		return usagef("--sheet takes the name of a page, ending in .html, not %q", sheet)
	}
	if cameracard.Inside(sheet, card) {
		return usagef("the sheet would be written onto the card, which is never changed; name a place elsewhere")
	}
	return nil
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
