package daemon

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/wholefile"
	"linecamp/verify"
	"linecamp/verify/due"
)

// DueOptions say which visits are listed, and what is written of them.
type DueOptions struct {
	Within      int    // days ahead
	ICS         string // a file to write the seasons to, as iCalendar; "" for none
	GeoJSON     string // the points
	GPX         string // the points, as waypoints
	NoPositions bool   // leave positions out
}

// DueReport is which sites to visit, and when.
type DueReport = verify.DueReport

// Due lists the visits that are due now or soon.
func (a *Archive) Due(ctx context.Context, o DueOptions, p Progress) (DueReport, error) {
	k, err := a.Look(ctx)
	if err != nil {
		return DueReport{}, err
	}
	defer k.Copies.Close()
	in, err := a.YearsInput(ctx, k.Copies, k, nil, p)
	if err != nil {
		return DueReport{}, err
	}
	report := due.Visits(in.Input, o.Within)
	report.Archive = a.Config.Name
	if o.NoPositions {
		report.WithoutPositions()
	}
	return report, nil
}

// WriteDue writes the files asked for, each with the visits of all the reports. The
// note says what was written, and what was not and why.
func WriteDue(o DueOptions, now time.Time, reports ...DueReport) (note string, err error) {
	if o.ICS != "" && !slices.ContainsFunc(reports, func(r DueReport) bool { return len(r.Visits) > 0 }) { // RFC 5545, section 3.6: a calendar has at least one component
		note = fmt.Sprintf("No calendar was written, since there is no visit to put into it; an earlier %s is left as it is", o.ICS)
		o.ICS = ""
	}
	dues := due.Dues(reports)
	var written []string
	for _, f := range []struct {
		path string
		make func() ([]byte, error)
	}{
		{o.ICS, func() ([]byte, error) { return dues.Calendar(now), nil }},
		{o.GeoJSON, dues.GeoJSON},
		{o.GPX, dues.GPX},
	} {
		if f.path == "" {
			continue
		}
		b, err := f.make()
		if err == nil {
			err = wholefile.Replace(f.path, 0o644, b)
		}
		if err != nil {
			return note, fmt.Errorf("%s could not be written: %w", f.path, err)
		}
		written = append(written, manifest.Printable(f.path))
	}
	if len(written) > 0 && note == "" {
		note = "Written: " + strings.Join(written, ", ")
	} else if len(written) > 0 {
		note += ". Written: " + strings.Join(written, ", ")
	}
	return note, nil
}
