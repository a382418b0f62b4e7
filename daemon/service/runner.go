package service

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"linecamp/daemon/config"
)

// Archive is what the service needs of an archive that is open.
type Archive interface {
	// Last says when the newest round of a kind began (zero for never), and
	// whether it came to its end.
	Last(kind string) (began time.Time, ended bool, err error)
	// Round runs one and logs what came of it. The error is one that stopped it.
	Round(ctx context.Context, kind string) error
	// Missed are the drives that the last mirror round did not meet.
	Missed() []config.Copy
	// Opens is when a link opens that kept something back in the last mirror round;
	// zero for never.
	Opens() time.Time
	// Broke reports whether a bucket fell out of the last mirror round, and its link may
	// be used now.
	Broke() bool
	Close() error
}

// rounds is what a runner needs.
type rounds interface {
	Last(kind string) (began time.Time, ended bool, err error)
	Round(ctx context.Context, kind string) error
	// Returned reports whether a drive that the last mirror round did not meet
	// has been plugged in.
	Returned(ctx context.Context) bool
	// Opens and Broke are as for Archive.
	Opens() time.Time
	Broke() bool
	Close() error
}

const (
	wake      = time.Minute      // how often a wait looks at the clock on the wall, which may be set or sleep
	openAgain = 10 * time.Minute // when to try an archive again that could not be opened
	apart     = 15 * time.Minute // at least between two rounds that a returning drive sets off
	tryAgain  = 30 * time.Minute // after a round that a bucket fell out of; twice as long each time
	leastTurn = time.Hour        // how long a mirror round that is catching up has before the next may cut it short
)

// errNextRound ends a mirror round that is still bringing versions to a slow
// copy when the next one is due. That one starts with what is new, so that the
// other copies need not wait, and then carries on where this one left off.
var errNextRound = errors.New("the next round is due and carries on")

// runner runs one archive's rounds, each kind in its own loop: a mirror round
// comes on time even while a verification takes all weekend. Which of them
// works on a copy is decided by turns.
type runner struct {
	name   string
	open   func(context.Context) (rounds, error)
	tables map[string]Timetable
	log    *slog.Logger
	now    func() time.Time
	settle time.Duration     // from start to the first missed round: drives and network come up
	say    func(what string) // tells what is going on, in a few words; may be called at once by both loops
}

// run works until ctx ends.
func (r *runner) run(ctx context.Context) {
	began := r.now()
	work, err := r.open(ctx)
	for err != nil {
		r.log.Error("the archive cannot be opened: "+err.Error(), "archive", r.name)
		r.say("cannot be opened")
		if r.wait(ctx, r.now().Add(openAgain)) != nil {
			return
		}
		work, err = r.open(ctx)
	}
	var loops sync.WaitGroup
	for _, kind := range Kinds {
		if r.tables[kind].wall != nil {
			loops.Go(func() { r.loop(ctx, kind, work, began.Add(r.settle)) })
		}
	}
	r.sayNext(work)
	loops.Wait()
	if err := work.Close(); err != nil {
		r.log.Error("closing the archive: "+err.Error(), "archive", r.name)
	}
}

// loop runs the rounds of one kind, none before ready.
func (r *runner) loop(ctx context.Context, kind string, work rounds, ready time.Time) {
	var last time.Time // begin of the last round here, should the ledger be out of order
	setOff := false    // whether a returning drive set it off
	var retry time.Time
	wait := tryAgain
	for first := true; ; first = false {
		due := r.due(kind, work, last, first)
		if due.IsZero() {
			r.log.Error("the schedule never comes due", "archive", r.name, "round", kind)
			return
		}
		if due.Before(ready) {
			due = ready
		}
		var err error
		setOff, err = r.await(ctx, kind, work, last, setOff, due, retry)
		if errors.Is(err, errSetBack) {
			ready, retry = time.Time{}, time.Time{}
			continue
		}
		if err != nil {
			return
		}
		if wait *= 2; !r.now().Before(due) || retry.IsZero() {
			wait = tryAgain // it came on time
		}
		last = r.now()
		r.say(kind + " round since " + last.Format("15:04"))
		err = r.once(ctx, kind, work, last)
		switch {
		case ctx.Err() != nil:
			return
		case errors.Is(err, errNextRound):
			r.log.Info("a copy is still catching up; the next round carries on", "archive", r.name, "round", kind)
		case err != nil:
			r.log.Error("the round failed: "+err.Error(), "archive", r.name, "round", kind)
		}
		r.sayNext(work)
		retry = r.now().Add(wait)
	}
}

func (r *runner) once(ctx context.Context, kind string, work rounds, began time.Time) error {
	if kind == Mirror {
		limit, stop := context.WithCancelCause(ctx)
		defer stop(nil)
		if cut := r.tables[kind].next(began.Add(leastTurn)); !cut.IsZero() {
			go func() {
				if r.wait(limit, cut) == nil {
					stop(errNextRound)
				}
			}()
		}
		err := work.Round(limit, kind)
		if err != nil && errors.Is(context.Cause(limit), errNextRound) {
			return errNextRound
		}
		return err
	}
	return work.Round(ctx, kind)
}

// due says when the next round of a kind is due. On the first look, a round
// that was broken off, by a power cut or a shutdown, counts as missed.
func (r *runner) due(kind string, work rounds, last time.Time, first bool) time.Time {
	now := r.now()
	began, ended, err := work.Last(kind)
	if err != nil {
		r.log.Error("the ledger cannot say when the last round was: "+err.Error(), "archive", r.name, "round", kind)
	}
	if first && (began.IsZero() || !ended) {
		return now
	}
	if last.After(began) {
		began = last
	}
	return r.tables[kind].due(began, now)
}

// await waits until a round is due. A mirror round is due as well when a link opens that
// kept something back, since its hours need not be those of the schedule; a while after one
// that a bucket fell out of; and when a drive comes back: it may be gone again before
// tonight. Where that set off the last round too, the drive comes and goes, and is given
// some time.
func (r *runner) await(ctx context.Context, kind string, work rounds, last time.Time, again bool, due, retry time.Time) (setOff bool, err error) {
	err = r.waitOr(ctx, due, func() bool {
		if kind == Mirror {
			if opens := work.Opens(); opens.After(last) && !opens.After(r.now()) {
				return true
			}
			if !retry.IsZero() && !retry.After(r.now()) && work.Broke() {
				return true
			}
		}
		setOff = kind == Mirror && (!again || r.now().Sub(last) >= apart) && work.Returned(ctx)
		return setOff
	})
	return setOff, err
}

// errSetBack ends a wait in which the clock was set back: when something is due has to be
// asked again, or it would wait for a time that may be years ahead.
var errSetBack = errors.New("the clock was set back")

// wait returns nil at the time, by the clock on the wall, or when that was set back, or
// else the reason why ctx ended.
func (r *runner) wait(ctx context.Context, at time.Time) error {
	err := r.waitOr(ctx, at, func() bool { return false })
	if errors.Is(err, errSetBack) {
		return nil
	}
	return err
}

// waitOr is wait, with something else to look for now and then.
func (r *runner) waitOr(ctx context.Context, at time.Time, early func() bool) error {
	at = at.Round(0)
	var was time.Time // by the clock on the wall, a moment ago
	for first := true; ; first = false {
		now := r.now().Round(0)
		if now.Before(was) && was.Sub(now) > wake { // less is what keeps a clock right
			return errSetBack
		}
		was = now
		if !first && early() {
			return ctx.Err()
		}
		left := at.Sub(r.now().Round(0))
		if left <= 0 {
			return ctx.Err()
		}
		t := time.NewTimer(min(left, wake))
		select {
		case <-t.C:
		case <-ctx.Done():
			t.Stop()
			return context.Cause(ctx)
		}
	}
}

// sayNext tells which round comes next.
func (r *runner) sayNext(work rounds) {
	var kind string
	var at time.Time
	for _, n := range NextRounds(r.tables, work.Last, r.now()) {
		if at.IsZero() || n.At.Before(at) {
			kind, at = n.Round, n.At
		}
	}
	if kind == "" {
		r.say("no rounds scheduled")
		return
	}
	r.say(fmt.Sprintf("next %s round %s", kind, at.Local().Format("Mon 15:04")))
}
