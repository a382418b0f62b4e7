package daemon

import (
	"cmp"
	"context"
	"fmt"
	"slices"

	"linecamp/daemon/attention"
	"linecamp/daemon/event"
	"linecamp/daemon/mirror"
	"linecamp/daemon/reach"
	"linecamp/manifest/words"
	"linecamp/verify"
)

// roundMend is a mend, which has no schedule. The kinds that have one are service.Kinds.
const roundMend = "mend"

// tellRound tells that a round begins, and returns what tells its end and hands the
// round's error through. only is the copy that it is for, "" for all.
func (a *Archive) tellRound(kind, only string) (end func(ctx context.Context, e event.RoundEnded, wants bool, err error) error) {
	began := a.now().UTC()
	a.events.Tell(event.RoundBegan{Round: kind, Only: only})
	return func(ctx context.Context, e event.RoundEnded, wants bool, err error) error {
		e.Round, e.Only, e.Began = kind, only, began
		e.Outcome, e.Detail = outcome(ctx, wants, err)
		a.events.Tell(e)
		return err
	}
}

// outcome is how a round ended, and why it failed.
func outcome(ctx context.Context, wants bool, err error) (is, detail string) {
	switch {
	case err != nil && ctx.Err() != nil:
		return event.Stopped, ""
	case err != nil:
		return event.Failed, words.Plain(err.Error())
	case wants:
		return event.Wants, ""
	}
	return event.Well, ""
}

// begin notes the begin of a round in the ledger, if it is a whole one, and
// returns what notes its end and hands the round's error through.
func (a *Archive) begin(kind string, whole bool) (end func(ctx context.Context, wants bool, err error) error, err error) {
	if !whole {
		return func(_ context.Context, _ bool, err error) error { return err }, nil
	}
	id, err := a.ledger.Begin(kind, a.now())
	if err != nil {
		return nil, fmt.Errorf("the ledger: %w", err)
	}
	return func(ctx context.Context, wants bool, err error) error {
		is, detail := outcome(ctx, wants, err)
		if eerr := a.ledger.End(id, a.now(), is, detail); eerr != nil && err == nil {
			return fmt.Errorf("the ledger: %w", eerr)
		}
		return err
	}, nil
}

// ended is what a round's end tells of its report.
func (r MirrorReport) ended() event.RoundEnded {
	e := event.RoundEnded{Made: r.Made, Copies: []event.Copy{}, Attention: r.Attention}
	for _, c := range r.Copies {
		e.Copies = append(e.Copies, event.Copy{Copy: c.Copy, State: c.State, Versions: c.Versions, Files: c.Files, Bytes: c.Bytes, Error: c.Error})
	}
	return e
}

func (r VerifyReport) ended() event.RoundEnded {
	e := event.RoundEnded{Copies: []event.Copy{}, Attention: r.Attention}
	for _, c := range r.Copies {
		e.Copies = append(e.Copies, event.Copy{Copy: c.Copy, Files: c.ReadBack.Files, Bytes: c.ReadBack.Bytes, Damaged: len(c.Damage), Error: c.Error})
	}
	return e
}

func mendEnded(r MendReport) event.RoundEnded {
	e := event.RoundEnded{Copies: []event.Copy{}}
	of := func(name string) *event.Copy {
		i := slices.IndexFunc(e.Copies, func(c event.Copy) bool { return c.Copy == name })
		if i < 0 {
			i, e.Copies = len(e.Copies), append(e.Copies, event.Copy{Copy: name})
		}
		return &e.Copies[i]
	}
	for _, m := range r.Mended {
		of(m.Copy).Files++
	}
	for _, u := range r.Unmended {
		of(u.Copy).Damaged++
	}
	for _, u := range r.Unreached {
		of(u.Copy).Error = u.Reason
	}
	return e
}

// keyTold is where the ledger keeps what the rounds told last.
const keyTold = "told in events"

// told is how things stood when the rounds last told of them.
type told struct {
	Copies    map[string]string // state by copy id
	Attention []attention.Item
}

// tellChanges tells what is another way than the rounds told last.
func (a *Archive) tellChanges(o outlook) error {
	was, is := told{}, told{Copies: map[string]string{}, Attention: o.Attention}
	if err := a.recall(keyTold, &was); err != nil {
		return fmt.Errorf("the ledger: %w", err)
	}
	for _, s := range o.standings {
		before := was.Copies[s.id]
		is.Copies[s.id] = s.state
		switch {
		case s.state == before:
		case !isReached(s.state):
			a.events.Tell(event.CopyWentAway{Copy: s.name, State: s.state, Error: cmp.Or(s.err, s.note)})
		case before != "" && !isReached(before):
			a.events.Tell(event.CopyCameBack{Copy: s.name})
		}
		if s.state == mirror.Current && before != mirror.Current {
			a.events.Tell(event.CopyBecameCurrent{Copy: s.name})
		}
	}
	has := func(all []attention.Item, i attention.Item) bool {
		return slices.ContainsFunc(all, func(x attention.Item) bool { return x.Key() == i.Key() })
	}
	for _, i := range is.Attention {
		if !has(was.Attention, i) {
			a.events.Tell(event.AttentionArose{Item: i})
		}
	}
	for _, i := range was.Attention {
		if !has(is.Attention, i) {
			a.events.Tell(event.AttentionEnded{Item: i})
		}
	}
	return a.remember(keyTold, is)
}

func isReached(state string) bool { return state == reach.Current || state == reach.Behind }

// tellWaits tells what a mirror round saw and did not record, once for each reason.
func (a *Archive) tellWaits(all []mirror.Waiting) {
	var by []event.Waits
	for _, w := range all {
		i := slices.IndexFunc(by, func(x event.Waits) bool { return x.Reason == w.Reason && x.Person == w.Person })
		if i < 0 {
			i, by = len(by), append(by, event.Waits{Reason: w.Reason, Person: w.Person, Path: w.Path})
		}
		if w.Path != "" {
			by[i].Files++
		}
	}
	for _, w := range by {
		a.events.Tell(w)
	}
}

// setDamage puts on record what is damaged on a copy, or in the working folder, and
// tells what is new in it and what is gone from it.
func (a *Archive) setDamage(name, id string, now []verify.Damage) error {
	all, err := a.ledger.Damage()
	if err != nil {
		return err
	}
	before := slices.DeleteFunc(all, func(d verify.Damage) bool { return d.Copy != id })
	if err := a.ledger.SetDamage(id, now); err != nil {
		return err
	}
	if files, first := beyond(now, before); files > 0 {
		a.events.Tell(event.DamageFound{Copy: name, Files: files, First: first})
	}
	if files, first := beyond(before, now); files > 0 {
		a.events.Tell(event.DamageGone{Copy: name, Files: files, First: first})
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
