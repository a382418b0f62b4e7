package mirror

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"linecamp/daemon/attention"
	"linecamp/daemon/authority"
	"linecamp/daemon/mirror/report"
	"linecamp/manifest/seal"
)

// mayAuthor settles that this computer may make versions now: every copy was
// read once, no copy in reach names another author, the clock has not gone
// back, and versions committed without their seal line have got it.
func (r *round) mayAuthor(ctx context.Context, first *copyRun) error {
	unread, err := r.unread()
	if err != nil {
		return err
	}
	if len(unread) > 0 {
		var named []string
		for _, c := range unread {
			named = append(named, c.Name)
		}
		r.wait(attention.RecordingHeld, "", fmt.Sprintf("this computer has not read every copy yet: %s; %s", strings.Join(named, ", "), unread[0].wayOn()), true)
		return authority.ErrHoldOff
	}
	if err := r.unsealed(); err != nil {
		return err
	}
	if err := r.who.Claim(ctx); err != nil {
		return err
	}
	if err := r.who.LookForTwin(); err != nil {
		return err
	}
	if !first.usable() {
		return nil // the next copy takes its place
	}
	r.created = r.Now().UTC().Truncate(time.Second)
	if err := r.clock(); err != nil {
		return err
	}
	if err := r.giveUp(ctx, first); err != nil {
		return err
	}
	if err := r.sealCommitted(ctx); err != nil {
		return err
	}
	if err := r.lose(ctx, first); err != nil {
		return err
	}
	return r.clock() // the versions that have a line only now may be newer
}

// clock settles that nothing recorded is newer than this round.
func (r *round) clock() error {
	log, _, _ := r.look()
	if r.created.Before(log.Last().At) {
		r.wait(attention.RecordingHeld, "", report.ReasonClock, true)
		return authority.ErrHoldOff
	}
	return nil
}

// unread names the copies this state has never read, and has to. Those that a
// person gave up are not among the round's; those that were out of reach when a
// person had this computer take over are met when they return. One that tells another
// history holds nothing of this one that could be missed.
func (r *round) unread() ([]*copyRun, error) {
	var all []*copyRun
	for _, c := range r.copies {
		read, err := authority.WasRead(r.Ledger, c.ID)
		_, excused, xerr := authority.WasExcused(r.Ledger, c.ID)
		if err = errors.Join(err, xerr); err != nil {
			return nil, err
		}
		if !read && !excused && !c.parted {
			all = append(all, c)
		}
	}
	return all, nil
}

// giveUp writes a line for each copy a person gave up, once for all rounds.
func (r *round) giveUp(ctx context.Context, first *copyRun) error {
	log, _, _ := r.look()
	gone := map[string]bool{}
	for _, l := range log.Lines {
		if l.What == seal.GaveUp {
			gone[l.Copy] = true
		}
	}
	for _, id := range r.GivenUp {
		if gone[id] {
			continue
		}
		line := seal.Line{At: r.created, What: seal.GaveUp, Copy: id, Why: "given up on " + r.Machine}
		if err := r.who.Begin(ctx); err != nil {
			return err
		}
		if err := first.write(ctx, line); err != nil {
			return err
		}
	}
	return nil
}

// recorder is this state folder as one that may record, in this round.
func (r *round) recorder() *authority.Recorder {
	who := &authority.Recorder{
		Archive: r.ArchiveID, Author: r.Author, Machine: r.Machine, Accepted: r.Accept != nil,
		Notes: r.Ledger, Sync: r.syncLedger, Question: r.inquire,
		Wait: func(kind attention.Kind, reason string, person bool) { r.wait(kind, "", reason, person) },
		Seal: func() *seal.Seal {
			log, _, _ := r.look()
			return log.Seal
		},
	}
	for _, c := range r.copies {
		who.Copies = append(who.Copies, c.forOthers())
	}
	return who
}
