package daemon

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"strings"
	"time"

	"linecamp/daemon/config"
	"linecamp/daemon/mirror"
	"linecamp/daemon/reach"
	"linecamp/daemon/service"
	"linecamp/manifest/store"
)

// scheduled is an archive as the service runs it: what a person would read on
// the screen goes to the log.
type scheduled struct{ *Archive }

func (s scheduled) Last(kind string) (began time.Time, ended bool, err error) {
	round, ok, err := s.ledger.LastRound(kind)
	if err != nil || !ok {
		return time.Time{}, true, err
	}
	return round.Began, !round.Ended.IsZero() && round.Outcome != outcomeStopped, nil
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
	root, err := store.OpenDrive(c.Root, c.ID)
	if err == nil {
		root.Close()
		return true
	}
	if at, ok := s.searched.Load(c.ID); ok && s.now().Sub(at.(time.Time)).Abs() < elsewhere {
		return false
	}
	s.searched.Store(c.ID, s.now())
	_, err = store.FindDrive(ctx, c.ID, c.Root)
	return err == nil
}

func (s scheduled) Round(ctx context.Context, kind string) error {
	log := s.log.With("archive", s.cfg.Name, "round", kind)
	if kind == service.Mirror {
		report, err := s.Mirror(ctx, MirrorOptions{}, nil)
		if err == nil {
			tell(log, report)
		}
		return err
	}
	report, unfinished, err := s.verify(ctx, VerifyOptions{}, nil)
	if err != nil {
		return err
	}
	tell(log, report)
	damaged := len(unfinished) > 0
	for _, c := range report.Copies {
		damaged = damaged || len(c.Damage) > 0
	}
	if !damaged {
		return nil
	}
	mended, err := s.mend(ctx, MendOptions{}, unfinished, false, nil)
	if err != nil && !errors.Is(err, context.Canceled) {
		log.Error("mending failed: " + err.Error())
	}
	if err == nil {
		tell(log, mended)
	}
	return err
}

// tell puts a report into the log, line by line, louder where something in it
// wants a person.
func tell(log *slog.Logger, r interface {
	Wants() bool
	Print(io.Writer)
}) {
	var text strings.Builder
	r.Print(&text)
	level := slog.LevelInfo
	if r.Wants() {
		level = slog.LevelWarn
	}
	for line := range strings.Lines(text.String()) {
		if line = strings.TrimSpace(line); line != "" {
			log.Log(context.Background(), level, line)
		}
	}
}
