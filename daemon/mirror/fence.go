package mirror

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"strconv"
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
		var named []string
		for _, c := range unread {
			named = append(named, c.Name)
		}
		r.wait("", fmt.Sprintf(unreadCopies+": %s; %s", strings.Join(named, ", "), unread[0].wayOn()), true)
		return errHoldOff
	}
	if err := r.unsealed(); err != nil {
		return err
	}
	if err := r.claim(ctx); err != nil {
		return err
	}
	if err := r.twin(); err != nil {
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
	return r.clock() // the versions that have a line only now may be newer
}

// clock settles that nothing recorded is newer than this round.
func (r *round) clock() error {
	log, _, _ := r.look()
	if r.created.Before(log.last().At) {
		r.wait("", ReasonClock, true)
		return errHoldOff
	}
	return nil
}

// unread names the copies this state has never read. Those that a person gave
// up are not among the round's.
func (r *round) unread() ([]*copyRun, error) {
	var all []*copyRun
	for _, c := range r.copies {
		v, _, err := r.Ledger.Value(readKey(c.ID))
		if err != nil {
			return nil, err
		}
		if v == "" {
			all = append(all, c)
		}
	}
	return all, nil
}

// named is who a copy says records the archive; the zero value where it names
// nobody yet.
type named struct {
	store.Author
	was *store.Info // what a claim replaces
}

// readAuthors asks every copy in reach who records the archive. All are asked
// before any is written, so that a machine that is not the author leaves no
// mark. Whoever was named last is kept in the ledger: that another machine
// records stays true when the copy that says so is out of reach.
func (r *round) readAuthors(ctx context.Context) error {
	r.authors = map[*copyRun]named{}
	last, err := r.lastNamed()
	if err != nil {
		return err
	}
	for _, c := range r.copies {
		if !c.usable() {
			continue
		}
		a, info, err := store.ReadAuthor(ctx, c.Root)
		switch {
		case errors.Is(err, fs.ErrNotExist):
			r.authors[c] = named{}
			continue
		case ctx.Err() != nil:
			return ctx.Err()
		case err != nil:
			c.fail(fmt.Errorf("reading who records there: %w", err))
			continue
		}
		r.authors[c] = named{a, &info}
		if a.Archive == r.ArchiveID && a.Epoch > last.Epoch {
			last = a
			if err := NoteAuthor(r.Ledger, a); err != nil {
				return err
			}
		}
	}
	return nil
}

const authorKey = "author"

// NoteAuthor keeps in the ledger who was last named as the author.
func NoteAuthor(l interface{ SetValue(key, value string) error }, a store.Author) error {
	return l.SetValue(authorKey, fmt.Sprintf("%d %s %s %s", a.Epoch, a.Author, a.Archive, a.Machine))
}

// LastAuthor is whom NoteAuthor noted for this archive, else the zero value.
func LastAuthor(l interface {
	Value(key string) (string, bool, error)
}, archiveID string) (store.Author, error) {
	v, _, err := l.Value(authorKey)
	if err != nil {
		return store.Author{}, err
	}
	f := strings.SplitN(v, " ", 4)
	if len(f) < 4 || f[2] != archiveID {
		return store.Author{}, nil
	}
	epoch, err := strconv.Atoi(f[0])
	if err != nil {
		return store.Author{}, nil
	}
	return store.Author{Epoch: epoch, Author: f[1], Archive: f[2], Machine: f[3]}, nil
}

func (r *round) lastNamed() (store.Author, error) { return LastAuthor(r.Ledger, r.ArchiveID) }

// claim makes sure that every copy in reach names this machine as the author.
// A copy without an author is claimed create-only: of two machines, one wins. A
// copy with an older epoch was out of reach while this machine took over. A
// copy with another history counts only if its epoch is later than ours.
func (r *round) claim(ctx context.Context) error {
	epoch := r.epoch()
	last, err := r.lastNamed()
	if err != nil {
		return err
	}
	for _, c := range r.copies { // in the config's order, so that the report is the same each time
		a, ok := r.authors[c]
		if ok && a.was != nil && a.Author.Author != r.Author && (a.Epoch > epoch || a.Epoch == epoch && c.usable()) {
			return r.notAuthor(a.Machine)
		}
	}
	if last.Author != "" && last.Author != r.Author && last.Epoch >= epoch {
		return r.notAuthor(last.Machine)
	}
	if epoch == 0 {
		return r.notAuthor("another machine")
	}
	for _, c := range r.copies {
		a, ok := r.authors[c]
		if !ok || !c.usable() || a.Author.Author == r.Author && a.Epoch == epoch {
			continue
		}
		mine := store.Author{Archive: r.ArchiveID, Author: r.Author, Machine: r.Machine, Epoch: epoch}
		err := store.WriteAuthor(ctx, c.Root, mine, a.was)
		switch {
		case errors.Is(err, store.ErrConflict): // another machine was quicker
			if err := r.ask(ctx, c); err != nil {
				return err
			}
		case ctx.Err() != nil:
			return ctx.Err()
		case err != nil:
			c.fail(fmt.Errorf("writing who records there: %w", err))
		default:
			r.authors[c] = named{Author: mine}
			if c.Kind != "s3" {
				continue
			}
			if a, info, err := store.ReadAuthor(ctx, c.Root); err == nil && a == mine {
				r.authors[c] = named{a, &info}
			} else if ctx.Err() != nil {
				return ctx.Err()
			} else {
				c.fail(fmt.Errorf("reading who records there: %w", cmp.Or(err, store.ErrConflict)))
			}
		}
	}
	return nil
}

func (r *round) notAuthor(machine string) error {
	said := fmt.Sprintf("%v: %s. This one may verify, mend and restore; to record here from now on, run `linecamp setup --take-over`", ErrNotAuthor, machine)
	if machine == r.Machine {
		said = fmt.Sprintf("%s, also of a computer called %s; if that one is no more, since it was lost or this computer was put back from a backup, run `linecamp setup --take-over`. Until then this one may verify, mend and restore", otherState, machine)
	}
	r.wait("", said, true)
	return errHoldOff
}

// lastEpoch is the epoch of the newest author line; 1 before there is one.
func lastEpoch(lines []manifest.Line) int {
	e := 1
	for _, l := range lines {
		if l.What == manifest.LineAuthor {
			e = l.Epoch
		}
	}
	return e
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
		if err := r.ask(ctx, c); err != nil {
			return err
		}
	}
	return nil
}

// ask asks one copy again who records the archive.
func (r *round) ask(ctx context.Context, c *copyRun) error {
	a, _, err := store.ReadAuthor(ctx, c.Root)
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case err != nil:
		c.fail(fmt.Errorf("reading who records there: %w", err))
		return nil
	case a.Author == r.Author && r.recording != "" && r.authors[c].Round == r.recording && a.Round != r.recording:
		r.wait("", ReasonOvertaken, false)
		return errHoldOff
	case a.Author == r.Author:
		return nil
	}
	if err := NoteAuthor(r.Ledger, a); err != nil {
		return err
	}
	return r.notAuthor(a.Machine)
}

// giveUp writes a line for each copy a person gave up, once for all rounds.
func (r *round) giveUp(ctx context.Context, first *copyRun) error {
	log, _, _ := r.look()
	gone := map[string]bool{}
	for _, l := range log.lines {
		if l.What == manifest.LineGaveUp {
			gone[l.Copy] = true
		}
	}
	for _, id := range r.GivenUp {
		if gone[id] {
			continue
		}
		line := manifest.Line{At: r.created, What: manifest.LineGaveUp, Copy: id, Why: "given up on " + r.Machine}
		if err := r.beginRecording(ctx); err != nil {
			return err
		}
		if err := first.write(ctx, line); err != nil {
			return err
		}
	}
	return nil
}
