package daemon

import (
	"context"

	"linecamp/daemon/drill"
	"linecamp/daemon/event"
	"linecamp/daemon/service"
)

// A practice recovery; see package drill.
type (
	DrillOptions = drill.Options
	DrillReport  = drill.Report
)

// Drill practices a recovery from the copies, and remembers how it went.
func (a *Archive) Drill(ctx context.Context, o DrillOptions, p Progress) (DrillReport, error) {
	p, done := a.under(service.Drill, p)
	defer done()
	var r DrillReport
	told := a.TellRound(service.Drill, o.Copy)
	end, err := a.Begin(service.Drill, o.Copy == "" && o.Site == "")
	if err == nil {
		r, err = drill.Run(ctx, a.Archive, o, p)
		err = end(ctx, r.Wants(), err)
	}
	return r, told(ctx, drillEnded(r), r.Wants(), err)
}

func drillEnded(r DrillReport) event.RoundEnded {
	e := event.RoundEnded{Copies: []event.Copy{}}
	for _, c := range r.Copies {
		e.Copies = append(e.Copies, event.Copy{Copy: c.Copy, Files: c.Files, Bytes: c.Bytes, Damaged: len(c.Different) + len(c.Missing), Error: c.Error})
	}
	return e
}
