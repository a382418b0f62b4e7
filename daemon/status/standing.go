package status

import (
	"cmp"
	"context"
	"errors"
	"time"

	"linecamp/daemon/archive"
	"linecamp/daemon/attention"
	"linecamp/daemon/drill"
	"linecamp/daemon/link"
	"linecamp/daemon/mirror/short"
	"linecamp/daemon/reach"
	"linecamp/daemon/service"
	"linecamp/daemon/turns"
	"linecamp/manifest"
)

// standing is how one copy stands, as every report says it: from what the last
// round said of it, what is recorded that it lacks, and whether it is within
// reach just now.
type standing struct {
	name  string
	id    string
	state string // in mirror's words
	err   string
	note  string
	since time.Time // since when it has not been current; zero if unknown
	toGo  attention.Amount
	// unmet: no round of this state has looked at it, so nobody here knows what it has.
	unmet bool
	// moving: a round is bringing it something.
	moving bool
	short  string // what it cannot have, or nobody has; "" for nothing
	drills drill.Memory
	// undrilled is since when no drill has passed, where that is too long.
	undrilled time.Time
	local     bool
	// From when on its being away, or its lack of drills, wants a person; zero for never.
	awayUntil, drillUntil time.Time
	link                  *link.Outlook // how long it will take to get there; nil where no settings limit that
	stuck                 time.Time     // since when nothing came over that link, where that is too long
}

// standing decides how a copy stands. want is the newest recorded version of
// every object.
func standingOf(ctx context.Context, a *archive.Archive, h *reach.Copy, want map[string]int, firstDrill service.Timetable) (standing, error) {
	s := standing{name: h.Name, id: h.ID, note: h.Note(), local: h.Can().Local}
	seen, err := a.Ledger.Seen(h.ID)
	if err != nil {
		return s, err
	}
	lacks, err := short.Of(a.Ledger, h.ID)
	if err != nil {
		return s, err
	}
	s.short = short.Text(lacks)
	if s.drills, err = drill.MemoryOf(a, h.ID); err != nil {
		return s, err
	}
	first := firstDrill.First(s.drills.Since)
	s.undrilled, s.drillUntil = s.drills.Lack(first, a.Now()), s.drills.LacksFrom(first)
	s.awayUntil = cmp.Or(seen.LastReachable, seen.AwaySince).Add(h.Copy.Away)
	committed, err := a.Ledger.Committed(h.ID)
	if err != nil {
		return s, err
	}
	s.moving = errors.Is(h.Err, turns.ErrCatchingUp) || h.After == nil && h.Root != nil && a.Turns.Busy(ctx, h.ID)
	s.unmet = !s.moving && h.After == nil && len(committed) == 0 && seen.LastCurrent.IsZero() && (seen.State == "" || seen.LastReachable.IsZero())
	lacking := seen.LastCurrent.IsZero()
	for slug, n := range want {
		if has := committed[slug]; has < n {
			lacking = true
			if !s.unmet {
				s.toGo = s.toGo.Plus(toGo(a, slug, has))
			}
		}
	}
	s.since = seen.LastCurrent
	switch {
	case s.moving:
		s.state = reach.Behind
		s.note = "a round is bringing it up to date just now"
	case h.After != nil: // the round at hand has said it
		s.state, s.err = h.After.State, h.After.Error
	case h.Root == nil && h.Err != archive.ErrLeftOut:
		s.state, s.err = h.State(), h.Err.Error()
		s.since = cmp.Or(seen.LastReachable, seen.AwaySince)
	case seen.State == reach.Failed:
		s.state, s.err = reach.Failed, lastError(seen)
	case seen.State == reach.Unreachable && !h.Can().Local:
		s.state, s.err = reach.Unreachable, lastError(seen)
		if h.Root != nil {
			s.err += " (it answers now)"
		}
	case lacking || seen.State == reach.Behind && seen.Error != "":
		s.state = reach.Behind
		switch {
		case seen.State == reach.Behind:
			s.err = seen.Error
		case h.Root != nil && (seen.State == reach.Away || seen.State == reach.Unreachable):
			s.note = cmp.Or(s.note, "it is back, and the last round did not meet it")
		case s.unmet && len(want) > 0:
			s.note = cmp.Or(s.note, "no mirror round here has looked at it yet")
		}
	default:
		s.state = reach.Current
	}
	if s.state == reach.Behind && s.err == "" && s.toGo.Files > 0 {
		way := link.Of(h.Copy, a.Ledger, a.Now)
		if s.link, err = way.Outlook(s.toGo.Bytes); err != nil {
			return s, err
		}
		if s.link != nil {
			s.note = cmp.Or(s.note, s.link.Kept)
		}
		s.stuck, err = way.Stuck(seen.LastCurrent)
	}
	return s, err
}

// toGo is what a copy still lacks of one object, of which it has the versions up
// to has, in people's files as they are recorded now.
func toGo(a *archive.Archive, slug string, has int) (n attention.Amount) {
	inv, rec, err := a.Cached(slug)
	if err != nil {
		return n // a cache may lack anything; the next mirror round fills it
	}
	lacks := map[manifest.Digest]bool{}
	for v := has + 1; v <= inv.Head(); v++ {
		for d := range inv.ContentOf(v) {
			lacks[d] = true
		}
	}
	for logical, d := range inv.State(inv.Head()) {
		if e, ok := rec.Paths[logical]; ok && lacks[d] {
			n.Files++
			n.Bytes += e.Bytes
		}
	}
	return n
}

// Going returns what is still to go to a copy, and how long that takes; nil for one whose
// link the settings do not limit.
func (o Outlook) Going(name string) (attention.Amount, *link.Outlook) {
	for _, s := range o.standings {
		if s.name == name {
			return s.toGo, s.link
		}
	}
	return attention.Amount{}, nil
}

func (s standing) forAttention() attention.Copy {
	return attention.Copy{Name: s.name, ID: s.id, State: s.state, Error: s.err, Since: s.since, ToGo: s.toGo, Unmet: s.unmet, Moving: s.moving, Slow: s.link != nil && !s.link.Long(), Slower: s.link.Long(), Stuck: s.stuck, Short: s.short,
		Undrilled: s.undrilled, DrillDamaged: s.drills.Damaged, DrillTried: s.drills.Tried, DrillFailure: s.drills.Failure}
}
