package archive

import (
	"context"
	"fmt"
	"slices"
	"time"

	"linecamp/daemon/event"
	"linecamp/verify"
)

// RoundMend is a mend, which has no schedule. The kinds that have one are service.Kinds.
const RoundMend = "mend"

// HalfBackFile is in the state folder until new-machine has brought the archive back, or
// a mirror round of this computer recorded all of the folder.
const HalfBackFile = "new-machine"

// TellRound tells that a round begins, and returns what tells its end and hands the
// round's error through. only is the copy that it is for, "" for all. How the archive
// stood before is known no more when the round begins, nor where it ends otherwise than well.
func (a *Archive) TellRound(kind, only string) (end func(ctx context.Context, e event.RoundEnded, wants bool, err error) error) {
	began := a.Now().UTC()
	a.Doubt()
	a.Events.Tell(event.RoundBegan{Round: kind, Only: only})
	return func(ctx context.Context, e event.RoundEnded, wants bool, err error) error {
		e.Round, e.Only, e.Began = kind, only, began
		e.Outcome, e.Detail = outcome(ctx, wants, err)
		if e.Outcome != event.Well {
			a.Doubt()
		}
		a.Events.Tell(e)
		return err
	}
}

// outcome is how a round ended, and why it failed.
func outcome(ctx context.Context, wants bool, err error) (is, detail string) {
	switch {
	case err != nil && ctx.Err() != nil:
		return event.Stopped, ""
	case err != nil:
		return event.Failed, err.Error()
	case wants:
		return event.Wants, ""
	}
	return event.Well, ""
}

// Begin notes the begin of a round in the ledger, if it is a whole one, and
// returns what notes its end and hands the round's error through.
func (a *Archive) Begin(kind string, whole bool) (end func(ctx context.Context, wants bool, err error) error, err error) {
	if !whole {
		return func(_ context.Context, _ bool, err error) error { return err }, nil
	}
	id, err := a.Ledger.Begin(kind, a.Now())
	if err != nil {
		return nil, fmt.Errorf("the ledger: %w", err)
	}
	return func(ctx context.Context, wants bool, err error) error {
		is, detail := outcome(ctx, wants, err)
		if eerr := a.Ledger.End(id, a.Now(), is, detail); eerr != nil && err == nil {
			return fmt.Errorf("the ledger: %w", eerr)
		}
		return err
	}, nil
}

// SetDamage puts on record what is damaged on a copy, or in the working folder, and
// tells what is new in it and what is gone from it.
func (a *Archive) SetDamage(name, id string, now []verify.Damage) error {
	all, err := a.Ledger.Damage()
	if err != nil {
		return err
	}
	before := slices.DeleteFunc(all, func(d verify.Damage) bool { return d.Copy != id })
	if err := a.Ledger.SetDamage(id, now); err != nil {
		return err
	}
	if len(now) > 0 {
		a.Doubt()
	}
	if files, first := beyond(now, before); files > 0 {
		a.Events.Tell(event.DamageFound{Copy: name, Files: files, First: first})
	}
	if files, first := beyond(before, now); files > 0 {
		a.Events.Tell(event.DamageGone{Copy: name, Files: files, First: first})
	}
	return nil
}

// beyond counts what is in list and not in other, and names the first of it.
func beyond(list, other []verify.Damage) (files int, first []verify.Damage) {
	key := func(d verify.Damage) [3]string { return [3]string{d.Object, d.Content, d.Kind} }
	known := map[[3]string]bool{}
	for _, d := range other {
		known[key(d)] = true
	}
	for _, d := range list {
		if known[key(d)] {
			continue
		}
		if files++; len(first) < event.MostListed {
			first = append(first, d)
		}
	}
	return files, first
}

// LastRound says when the newest round of a kind began (zero for never), and whether
// it came to its end.
func (a *Archive) LastRound(kind string) (began time.Time, ended bool, err error) {
	round, ok, err := a.Ledger.LastRound(kind)
	if err != nil || !ok {
		return time.Time{}, true, err
	}
	return round.Began, !round.Ended.IsZero() && round.Outcome != event.Stopped, nil
}
