package authority

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"

	"linecamp/daemon/attention"
	"linecamp/manifest/store"
)

// LookForTwin looks whether another state recorded under this one's name, and has
// a person asked until there is an answer.
func (r *Recorder) LookForTwin() error {
	own, err := ownRounds(r.Notes, r.Author)
	if err != nil {
		return err
	}
	was, err := HasTwin(r.Notes)
	if err != nil {
		return err
	}
	seen := was
	for _, a := range r.named {
		if a.Author.Author == r.Author && a.Round != "" && len(own) > 0 && !slices.Contains(own, a.Round) {
			seen = true
		}
	}
	switch {
	case !seen:
		return nil
	case r.Accepted:
		return ForgetTwin(r.Notes)
	case !was:
		if err := r.Notes.SetValue(twinKey, "yes"); err != nil {
			return err
		}
	}
	r.Question(AskTwin)
	return nil
}

// Begin names this round in every bucket within reach, once, before anything is
// recorded.
func (r *Recorder) Begin(ctx context.Context) error {
	if r.round != "" {
		return nil
	}
	own, err := ownRounds(r.Notes, r.Author)
	if err != nil {
		return err
	}
	for i, c := range r.Copies {
		a := r.named[i]
		if !r.Accepted && c.Can().Shared && c.Usable() && a.Recording && a.Author.Author == r.Author && !slices.Contains(own, a.Round) {
			r.Wait(attention.RecordingHeld, fmt.Sprintf("in %s another state folder with this one's name is recording, or was stopped on the way; if this computer was put back from a backup since, say so with `linecamp mirror --accept-changes`, and if it is a copy, run `linecamp setup --take-over` on the one that is to go on recording", c.Name), true)
			return ErrHoldOff
		}
	}
	id := uuid.NewString()
	if err := r.Notes.SetValue(RoundsKey, strings.Join(append([]string{r.Author, id}, own...), " ")); err != nil {
		return err
	}
	if err := r.Sync(); err != nil { // else a power cut makes this round a stranger
		return err
	}
	for i, c := range r.Copies {
		if !c.Can().Shared || !c.Usable() {
			continue
		}
		if err := r.nameIn(ctx, i, id); err != nil {
			return err
		}
	}
	r.round = id
	return nil
}

// nameIn names the round in one bucket.
func (r *Recorder) nameIn(ctx context.Context, i int, id string) error {
	c, a := r.Copies[i], r.named[i]
	a.Round, a.Recording = id, true
	now, err := store.WriteAuthor(ctx, c.Root, a.Author, a.was)
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case err == nil:
		r.named[i] = named{Author: a.Author, asked: true, was: &now}
		return nil
	case !errors.Is(err, store.ErrConflict):
		c.Fail(fmt.Errorf("writing who records there: %w", err))
		return nil
	}
	is, info, err := store.ReadAuthor(ctx, c.Root)
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case err != nil:
		c.Fail(fmt.Errorf("reading who records there: %w", err))
		return nil
	case is.Author != r.Author:
		if err := NoteAuthor(r.Notes, is); err != nil {
			return err
		}
		return r.notAuthor(is.Machine)
	case is.Round != id:
		r.Wait(attention.RecordingHeld, Overtaken, false)
		return ErrHoldOff
	}
	r.named[i] = named{Author: is, asked: true, was: &info}
	return nil
}

// End takes the round's name from a bucket whose seal has all there is, which the
// caller tells. Where that does not come about, the name stays for this state's
// next round.
func (r *Recorder) End(ctx context.Context, copyID string, hasAll func() bool) error {
	i := slices.IndexFunc(r.Copies, func(c Copy) bool { return c.ID == copyID })
	if i < 0 || i >= len(r.named) || !r.Copies[i].Can().Shared || !r.Copies[i].Usable() || ctx.Err() != nil {
		return nil
	}
	own, err := ownRounds(r.Notes, r.Author)
	if err != nil {
		return err
	}
	c, a := r.Copies[i], r.named[i]
	if !a.Recording || a.Author.Author != r.Author || !slices.Contains(own, a.Round) {
		return nil
	}
	if r.round != "" && own[0] != r.round {
		return nil // a later round of this state has begun
	}
	if !hasAll() {
		return nil
	}
	a.Recording = false
	if _, err := store.WriteAuthor(ctx, c.Root, a.Author, a.was); err != nil && !errors.Is(err, store.ErrConflict) && ctx.Err() == nil {
		c.Fail(fmt.Errorf("writing who records there: %w", err))
	}
	return nil
}
