package daemon

import (
	"context"
	"slices"
	"time"

	"linecamp/daemon/config"
	"linecamp/daemon/event"
	"linecamp/daemon/mirror"
	"linecamp/daemon/reach"
	"linecamp/daemon/service"

	"linecamp/manifest/store/drive"
	"linecamp/verify"
)

// scheduled is an archive as the service runs it: what a person would read on
// the screen goes to the log.
type scheduled struct{ *Archive }

func (s scheduled) Last(kind string) (began time.Time, ended bool, err error) {
	round, ok, err := s.ledger.LastRound(kind)
	if err != nil || !ok {
		return time.Time{}, true, err
	}
	return round.Began, !round.Ended.IsZero() && round.Outcome != event.Stopped, nil
}

// elsewhere is how often a drive that is not at its place is looked for at others.
const elsewhere = 5 * time.Minute

// returned looks for the drives that the last round did not meet, whoever looked
// at them since: each time where they belong, and now and then wherever drives are
// mounted. One that hangs is given a moment, and not looked at again before it
// answered.
func (s scheduled) Returned(ctx context.Context) bool {
	ctx, cancel := context.WithTimeout(ctx, reach.Glance)
	defer cancel()
	for _, c := range s.cfg.Copies {
		if c.Kind != config.KindDrive {
			continue
		}
		seen, err := s.ledger.Seen(c.ID)
		if err != nil || seen.State != mirror.Away && seen.State != mirror.Unreachable {
			continue
		}
		if _, hangs := s.glances.LoadOrStore(c.ID, true); hangs {
			continue
		}
		back := make(chan bool, 1)
		go func() {
			is := s.isBack(ctx, c)
			s.glances.Delete(c.ID)
			back <- is
		}()
		select {
		case is := <-back:
			if is {
				return true
			}
		case <-ctx.Done():
		}
	}
	return false
}

func (s scheduled) isBack(ctx context.Context, c config.Copy) bool {
	root, err := drive.Open(c.Root, c.ID)
	if err == nil {
		root.Close()
		return true
	}
	if at, ok := s.searched.Load(c.ID); ok && s.now().Sub(at.(time.Time)).Abs() < elsewhere {
		return false
	}
	s.searched.Store(c.ID, s.now())
	_, err = drive.Find(ctx, c.ID, c.Root)
	return err == nil
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
