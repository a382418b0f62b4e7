package cameracard

import (
	"os"
	"path/filepath"
	"strings"
	"time"

	"linecamp/daemon/intake"
	"linecamp/manifest/store/fault"
	"linecamp/manifest/within"
)

// Asked is what a person says of a card beside its folder, in the words that were
// typed; nil and "" where nothing was said.
type Asked struct {
	Site, View, Near              *string
	Date, Clock, TrackFile, Sheet string
	Visits                        []int
}

func asked(format string, a ...any) error { return fault.Say(intake.ErrAsked, format, a...) }

// Options reads those words. The sheet may overwrite no photo, and lies on no card.
func (a Asked) Options(card string) (o intake.Options, err error) {
	o = intake.Options{Date: a.Date, Visits: a.Visits, Thumbs: a.Sheet != ""}
	if a.Date != "" {
		if _, ok := intake.Day(a.Date, time.Now()); !ok {
			return o, asked("--date takes a day that has been, as 2026-06-24, not %q", a.Date)
		}
	}
	if a.Clock != "" {
		var ok bool
		if o.Clock, ok = intake.Shift(a.Clock); !ok {
			return o, asked("--clock takes how far the camera's clock is to be moved, as +1h or -35m, not %q", a.Clock)
		}
	}
	if a.Site != nil {
		if o.Site = *a.Site; strings.TrimSpace(o.Site) == "" {
			return o, asked("--site is empty; leave it out, or name the site")
		}
	}
	if a.View != nil {
		if o.View = *a.View; !intake.View(o.View) {
			return o, asked("--view takes a view's name in small letters, as plot or landscape, not %q", o.View)
		}
	}
	if a.Near != nil {
		if o.Near, err = intake.ParseNear(*a.Near); err != nil {
			return o, asked("--near: %v", err)
		}
	}
	if a.TrackFile != "" {
		f, err := os.Open(a.TrackFile)
		if err != nil {
			return o, asked("the track cannot be opened: %v", err)
		}
		defer f.Close()
		if o.Track, err = intake.ReadTrack(f); err != nil {
			return o, asked("%s: %v", a.TrackFile, err)
		}
	}
	if ext := strings.ToLower(filepath.Ext(a.Sheet)); a.Sheet != "" && ext != ".html" && ext != ".htm" {
		return o, asked("--sheet takes the name of a page, ending in .html, not %q", a.Sheet)
	}
	if a.Sheet != "" && within.Folder(filepath.Dir(a.Sheet), card) {
		return o, asked("the sheet would be written onto the card, which is never changed; name a place elsewhere")
	}
	return o, nil
}
