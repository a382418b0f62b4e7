package authority

import (
	"context"
	"errors"
	"fmt"
	"io/fs"

	"linecamp/daemon/attention"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
)

// Ask asks every copy in reach who records the archive. All are asked before any
// is written, so that a machine that is not the author leaves no mark. Whoever was
// named last is noted: that another machine records stays true when the copy that
// says so is out of reach.
func (r *Recorder) Ask(ctx context.Context) error {
	r.named = make([]named, len(r.Copies))
	last, err := LastAuthor(r.Notes, r.Archive)
	if err != nil {
		return err
	}
	for i, c := range r.Copies {
		if !c.Usable() {
			continue
		}
		a, info, err := r.whoRecords(ctx, c)
		switch {
		case errors.Is(err, fs.ErrNotExist):
			r.named[i].asked = true
			continue
		case errors.Is(err, store.ErrNoAuthor):
			r.named[i] = named{asked: true, was: &info, rotted: true}
			continue
		case ctx.Err() != nil:
			return ctx.Err()
		case err != nil:
			c.Fail(fmt.Errorf("reading who records there: %w", err))
			continue
		}
		r.named[i] = named{Author: a, asked: true, was: &info}
		if a.Archive == r.Archive && a.Epoch > last.Epoch {
			last = a
			if err := NoteAuthor(r.Notes, a); err != nil {
				return err
			}
		}
	}
	return nil
}

// mostRotted is how many bytes of two ids of 36 may differ in a file that this machine
// wrote. Those of another differ in nearly all.
const mostRotted = 2

// whoRecords is store.ReadAuthor, and ErrNoAuthor also where this machine wrote the
// file and some of its bytes rotted since: a few of an id, or the key of its name.
func (r *Recorder) whoRecords(ctx context.Context, c Copy) (store.Author, store.Info, error) {
	a, info, err := store.ReadAuthor(ctx, c.Root)
	is, own, differ := a.Archive+a.Author, r.Archive+r.Author, 0
	for i := range min(len(is), len(own)) {
		if is[i] != own[i] {
			differ++
		}
	}
	if err == nil && (differ > 0 && differ <= mostRotted && a.Machine == r.Machine || differ == 0 && a.Machine == "" && r.Machine != "") {
		a, err = store.Author{}, fault.Say(store.ErrNoAuthor, "%s: who records there was written by this computer, and rotted", c.Name)
	}
	return a, info, err
}

// Claim makes sure that every copy in reach names this machine as the author.
// A copy without an author is claimed create-only: of two machines, one wins. A
// copy with an older epoch was out of reach while this machine took over. Who
// records is told by the seal; an author file is a fence. One that names another
// machine in a later epoch stops this one, since a take-over is under way. In the
// same epoch it does so only where the seal has no line that tells: two machines may
// have come to one epoch without knowing of each other, and then the seal that
// governs has the line of one of them. A copy with another history counts only if
// its epoch is later than ours. Before the seal has the line of this machine's own
// take-over, that has not happened. One that rotted names nobody, and is written again
// where the seal or this state knows that this machine records; else a person says so.
func (r *Recorder) Claim(ctx context.Context) error {
	epoch, sealed := r.epoch()
	last, err := LastAuthor(r.Notes, r.Archive)
	if err != nil {
		return err
	}
	for i, c := range r.Copies { // in the settings' order, so that the report is the same each time
		a := r.named[i]
		if a.was != nil && a.Author.Author == r.Author && a.Epoch > epoch && !sealed {
			return r.unfinished()
		}
		if a.was != nil && a.Author.Author != r.Author && (a.Epoch > epoch || a.Epoch == epoch && !sealed && c.Usable() && !r.parted[i]) {
			return r.notAuthor(a.Machine)
		}
	}
	if last.Author != "" && last.Author != r.Author && (last.Epoch > epoch || last.Epoch == epoch && !sealed) {
		return r.notAuthor(last.Machine)
	}
	if last.Author == r.Author && last.Epoch > epoch && !sealed {
		return r.unfinished()
	}
	if epoch == 0 {
		return r.notAuthor("")
	}
	for i, c := range r.Copies {
		if r.named[i].rotted && c.Usable() && !sealed && (last.Author != r.Author || last.Epoch != epoch) {
			r.Wait(attention.OtherRecorder, fmt.Sprintf("the file on %s that says who records the archive (%s) is damaged, and nothing in reach tells who it is; run `linecamp setup --take-over` on the computer that is to record", c.Name, store.AuthorKey), true)
			return ErrHoldOff
		}
	}
	for i, c := range r.Copies {
		a := r.named[i]
		if !a.asked || !c.Usable() || a.Author.Author == r.Author && a.Epoch == epoch {
			continue
		}
		mine := store.Author{Archive: r.Archive, Author: r.Author, Machine: r.Machine, Epoch: epoch}
		info, err := store.WriteAuthor(ctx, c.Root, mine, a.was)
		switch {
		case errors.Is(err, store.ErrConflict): // another machine was quicker
			if err := r.askAgain(ctx, i); err != nil {
				return err
			}
		case ctx.Err() != nil:
			return ctx.Err()
		case err != nil:
			c.Fail(fmt.Errorf("writing who records there: %w", err))
		default:
			r.named[i] = named{Author: mine, asked: true, was: &info}
			if a.rotted && c.Note != nil {
				c.Note("the file there that says who records the archive was damaged, and was written again")
			}
		}
	}
	return nil
}

// Recheck makes sure, before each version, that no other machine took over on
// a bucket in reach. A bucket that cannot be asked now does not stop a drive. Where the
// round is not named yet it is named: that succeeds only where nobody took over.
func (r *Recorder) Recheck(ctx context.Context) error {
	if r.round == "" {
		return r.Begin(ctx)
	}
	for i, c := range r.Copies {
		if !c.Can().Shared || !c.Usable() {
			continue
		}
		if is := r.named[i]; is.Round == r.round && is.was.ETag != "" {
			if now, err := c.Root.Stat(ctx, store.AuthorKey); err == nil && now.ETag == is.was.ETag {
				continue // what named the round there
			}
		}
		if err := r.askAgain(ctx, i); err != nil {
			return err
		}
	}
	return nil
}

// askAgain asks one copy again who records the archive.
func (r *Recorder) askAgain(ctx context.Context, i int) error {
	a, _, err := r.whoRecords(ctx, r.Copies[i])
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case err != nil:
		r.Copies[i].Fail(fmt.Errorf("reading who records there: %w", err))
		return nil
	case a.Author == r.Author && r.round != "" && r.named[i].Round == r.round && a.Round != r.round:
		r.Wait(attention.RecordingHeld, Overtaken, false)
		return ErrHoldOff
	case a.Author == r.Author:
		return nil
	}
	if err := NoteAuthor(r.Notes, a); err != nil {
		return err
	}
	return r.notAuthor(a.Machine)
}
