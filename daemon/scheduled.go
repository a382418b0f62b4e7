package daemon

import (
	"context"
	"slices"
	"time"

	"linecamp/daemon/config"
	"linecamp/daemon/drill"
	"linecamp/daemon/link"
	"linecamp/daemon/reach"
	"linecamp/daemon/service"
	"linecamp/daemon/status"
	"linecamp/verify"
)

// scheduled is an archive as the service runs it: what a person would read on
// the screen goes to the log.
type scheduled struct{ *Archive }

func (s scheduled) Last(kind string) (began time.Time, ended bool, err error) {
	return drill.LastRound(s.Archive.Archive, kind)
}

// Missed are the drives that the last round did not meet, whoever looked at them since.
func (s scheduled) Missed() (missed []config.Copy) {
	for _, c := range s.Config.Copies {
		seen, err := s.Ledger.Seen(c.ID)
		if err == nil && c.Can().Local && (seen.State == reach.Away || seen.State == reach.Unreachable) {
			missed = append(missed, c)
		}
	}
	return missed
}

// Opens is when the first link opens that kept something back in the last mirror round;
// zero for none.
func (s scheduled) Opens() time.Time { return status.Opens(s.Archive.Archive) }

// Broke reports whether a bucket fell out of the last mirror round, and its link may be
// used now: such a link is seldom down for the whole night.
func (s scheduled) Broke() bool {
	return slices.ContainsFunc(s.Config.Copies, func(c config.Copy) bool {
		seen, err := s.Ledger.Seen(c.ID)
		return err == nil && !c.Can().Local && seen.State == reach.Unreachable && link.Of(c, s.Ledger, s.Now).May() == nil
	})
}

// Round runs one. The round's end tells what came of it, also why it failed, so only
// one that was broken off is an error here.
func (s scheduled) Round(ctx context.Context, kind string) error {
	if err := s.round(ctx, kind); ctx.Err() != nil {
		return err
	}
	return nil
}

func (s scheduled) round(ctx context.Context, kind string) error {
	if kind == service.Mirror {
		_, err := s.Mirror(ctx, MirrorOptions{}, nil)
		return err
	}
	if kind == service.Drill {
		_, err := s.Drill(ctx, DrillOptions{}, nil)
		return err
	}
	report, unfinished, err := s.verify(ctx, VerifyOptions{}, nil)
	if err != nil {
		return err
	}
	if len(unfinished) == 0 && !slices.ContainsFunc(report.Copies, func(c verify.CopyReport) bool { return len(c.Damage) > 0 }) {
		return nil
	}
	_, err = s.mend(ctx, MendOptions{}, unfinished, false, nil)
	return err
}
