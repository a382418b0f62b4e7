package mirror

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"strings"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/store"
)

// ErrNotAuthor: another machine makes this archive's versions. Decide on it
// with errors.Is; the message names the machine and what to do.
var ErrNotAuthor = errors.New("another machine records this archive")

// errHoldOff: nothing may be authored in this round; the report says why.
var errHoldOff = errors.New("nothing may be recorded in this round")

// mayAuthor settles that this machine may make versions now: every copy was
// read once, no copy in reach names another author, the clock has not gone
// back, and versions committed without their seal line have got it.
func (r *round) mayAuthor(ctx context.Context, first *copyRun) error {
	unread, err := r.unread()
	if err != nil {
		return err
	}
	if len(unread) > 0 {
		r.wait("", fmt.Sprintf("this machine has not read every copy yet; bring %s within reach once, or give it up with `linecamp mirror --without %s`", strings.Join(unread, ", "), unread[0]), true)
		return errHoldOff
	}
	if err := r.claim(ctx); err != nil {
		return err
	}
	if !first.usable() {
		return nil // the next copy takes its place
	}
	r.created = r.Now().UTC().Truncate(time.Second)
	log, _, _ := r.look()
	if r.created.Before(log.last().At) {
		r.wait("", ReasonClock, true)
		return errHoldOff
	}
	if err := r.giveUp(ctx, first); err != nil {
		return err
	}
	return r.sealCommitted(ctx)
}

// unread names the copies this state has never read and nobody gave up.
func (r *round) unread() ([]string, error) {
	var names []string
	for _, c := range r.copies {
		if r.givenUp(c.Name) {
			continue
		}
		v, _, err := r.Ledger.Value(readKey(c.ID))
		if err != nil {
			return nil, err
		}
		if v == "" {
			names = append(names, c.Name)
		}
	}
	return names, nil
}

// claim makes sure that every copy in reach names this machine as the author.
// All are read before any is written, so that a machine that is not the author
// leaves no mark. A copy without an author is claimed create-only: of two
// machines, one wins. A copy with an older epoch was out of reach while this
// machine took over.
func (r *round) claim(ctx context.Context) error {
	epoch := r.epoch()
	type claimed struct {
		author store.Author
		was    *store.Info
	}
	found := map[*copyRun]claimed{}
	for _, c := range r.copies {
		if !c.usable() {
			continue
		}
		a, info, err := store.ReadAuthor(ctx, c.Root)
		switch {
		case errors.Is(err, fs.ErrNotExist):
			found[c] = claimed{}
		case ctx.Err() != nil:
			return ctx.Err()
		case err != nil:
			c.fail(fmt.Errorf("reading who records there: %w", err))
		case a.Author != r.Author && a.Epoch >= epoch:
			return r.notAuthor(a.Machine)
		default:
			found[c] = claimed{a, &info}
		}
	}
	if epoch == 0 {
		return r.notAuthor("another machine")
	}
	for _, c := range r.copies {
		f, ok := found[c]
		if !ok || f.author.Author == r.Author && f.author.Epoch == epoch {
			continue
		}
		mine := store.Author{Archive: r.ArchiveID, Author: r.Author, Machine: r.Machine, Epoch: epoch}
		err := store.WriteAuthor(ctx, c.Root, mine, f.was)
		if errors.Is(err, store.ErrConflict) {
			return r.notAuthor("another machine")
		}
		if err != nil {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			c.fail(fmt.Errorf("writing who records there: %w", err))
		}
	}
	return nil
}

func (r *round) notAuthor(machine string) error {
	r.wait("", fmt.Sprintf("%v: %s. This one may verify, mend and restore; to record here from now on, run `linecamp setup --take-over`", ErrNotAuthor, machine), true)
	return errHoldOff
}

// epoch is the epoch this machine authors in: 1 until the seal has an author
// line, then that line's; 0 where the line names another machine.
func (r *round) epoch() int {
	log, _, _ := r.look()
	e := 1
	for _, l := range log.lines {
		if l.What == manifest.LineAuthor {
			e = 0
			if l.Author == r.Author {
				e = l.Epoch
			}
		}
	}
	return e
}

// recheck makes sure, before each version, that no other machine took over on
// a bucket in reach. A bucket that cannot be asked now does not stop a drive.
func (r *round) recheck(ctx context.Context) error {
	for _, c := range r.copies {
		if c.Kind != "s3" || !c.usable() {
			continue
		}
		a, _, err := store.ReadAuthor(ctx, c.Root)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil {
			c.fail(fmt.Errorf("reading who records there: %w", err))
			continue
		}
		if a.Author != r.Author {
			return r.notAuthor(a.Machine)
		}
	}
	return nil
}

// giveUp writes a line for each copy a person gave up and nobody had before.
func (r *round) giveUp(ctx context.Context, first *copyRun) error {
	log, _, _ := r.look()
	gone := map[string]bool{}
	for _, l := range log.lines {
		if l.What == manifest.LineGaveUp {
			gone[l.Copy] = true
		}
	}
	for _, c := range r.copies {
		if !r.givenUp(c.Name) || gone[c.ID] {
			continue
		}
		line := manifest.Line{At: r.created, What: manifest.LineGaveUp, Copy: c.ID, Why: "given up on " + r.Machine}
		if err := first.write(ctx, line); err != nil {
			return err
		}
	}
	return nil
}
