package mirror

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"

	"linecamp/manifest/store"
)

// A drive is locked while a round is at it. A bucket knows no locks, and names an
// author, which a state folder that was copied is as well. So in a bucket the
// round that records names itself: author.json has its id, from before its first
// line until the bucket's seal has its last. The name is put there on condition
// that nobody else was named since the round began to look, so of two rounds one
// records, and the other leaves it for this time. A round that ended on the way
// stays named; its own state goes on where it stopped, and any other waits for a
// person's word.

const (
	// recordingKey is where the ledger notes the author and the rounds that a
	// bucket may name for this state.
	recordingKey = "recording"
	// twinKey is where it notes that another state bears this one's author id.
	twinKey = "another state bears this one's name"
)

// AskTwin is asked where a bucket shows that another state recorded as this one.
const AskTwin = "another state folder recorded under this one's name, so this computer was put back from a backup, or a copy of it is running; if it was put back, say so with `linecamp mirror --accept-changes`, else run `linecamp setup --take-over` on the one that is to go on recording"

type values interface {
	Value(key string) (string, bool, error)
}

// ownRounds are the rounds of an author that a bucket may name for this state.
func ownRounds(l values, author string) ([]string, error) {
	v, _, err := l.Value(recordingKey)
	f := strings.Fields(v)
	if err != nil || len(f) == 0 || f[0] != author {
		return nil, err
	}
	return f[1:], nil
}

// Own reports whether the round that a bucket names is one of this state.
func Own(l values, a store.Author) (bool, error) {
	own, err := ownRounds(l, a.Author)
	return slices.Contains(own, a.Round), err
}

// twin looks whether another state recorded under this one's name, and has a
// person asked until there is an answer.
func (r *round) twin() error {
	own, err := ownRounds(r.Ledger, r.Author)
	if err != nil {
		return err
	}
	v, _, err := r.Ledger.Value(twinKey)
	if err != nil {
		return err
	}
	seen := v != ""
	for _, c := range r.copies {
		a, ok := r.authors[c]
		if ok && a.Author.Author == r.Author && a.Round != "" && len(own) > 0 && !slices.Contains(own, a.Round) {
			seen = true
		}
	}
	switch {
	case !seen:
		return nil
	case r.Accept != nil:
		return r.Ledger.SetValue(twinKey, "")
	case v == "":
		if err := r.Ledger.SetValue(twinKey, "yes"); err != nil {
			return err
		}
	}
	r.inquire(AskTwin)
	return nil
}

// ForgetTwin notes that this state has a name of its own again. Twin reports
// whether it has not.
func ForgetTwin(l interface{ SetValue(key, value string) error }) error {
	return l.SetValue(twinKey, "")
}

// Twin reports whether another state recorded under this one's name.
func Twin(l values) (bool, error) {
	v, _, err := l.Value(twinKey)
	return v != "", err
}

// beginRecording names this round in every bucket within reach, once, before
// anything is recorded.
func (r *round) beginRecording(ctx context.Context) error {
	if r.recording != "" {
		return nil
	}
	own, err := ownRounds(r.Ledger, r.Author)
	if err != nil {
		return err
	}
	for _, c := range r.copies {
		a := r.authors[c]
		if r.Accept == nil && c.Kind == "s3" && c.usable() && a.Recording && a.Author.Author == r.Author && !slices.Contains(own, a.Round) {
			r.wait("", fmt.Sprintf("in %s %s, or was stopped on the way; if this computer was put back from a backup since, say so with `linecamp mirror --accept-changes`, and if it is a copy, run `linecamp setup --take-over` on the one that is to go on recording", c.Name, recordsThere), true)
			return errHoldOff
		}
	}
	id := uuid.NewString()
	if err := r.Ledger.SetValue(recordingKey, strings.Join(append([]string{r.Author, id}, own...), " ")); err != nil {
		return err
	}
	if err := r.syncLedger(); err != nil { // else a power cut makes this round a stranger
		return err
	}
	for _, c := range r.copies {
		a := r.authors[c]
		if c.Kind != "s3" || !c.usable() {
			continue
		}
		a.Round, a.Recording = id, true
		err := store.WriteAuthor(ctx, c.Root, a.Author, a.was)
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case err != nil && !errors.Is(err, store.ErrConflict):
			c.fail(fmt.Errorf("writing who records there: %w", err))
			continue
		}
		is, info, err := store.ReadAuthor(ctx, c.Root)
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case err != nil:
			c.fail(fmt.Errorf("reading who records there: %w", err))
			continue
		case is.Author != r.Author:
			if err := NoteAuthor(r.Ledger, is); err != nil {
				return err
			}
			return r.notAuthor(is.Machine)
		case is.Round != id:
			r.wait("", ReasonOvertaken, false)
			return errHoldOff
		}
		r.authors[c] = named{is, &info}
	}
	r.recording = id
	return nil
}

// endRecording takes the round's name from a bucket whose seal has all there is.
// Where that does not come about, the name stays for this state's next round.
func (c *copyRun) endRecording(ctx context.Context) error {
	r := c.r
	if c.Kind != "s3" || !c.usable() || ctx.Err() != nil {
		return nil
	}
	own, err := ownRounds(r.Ledger, r.Author)
	if err != nil {
		return err
	}
	a := r.authors[c]
	if !a.Recording || a.Author.Author != r.Author || !slices.Contains(own, a.Round) {
		return nil
	}
	if r.recording != "" && own[0] != r.recording {
		return nil // a later round of this state has begun
	}
	seal, err := r.Cache.Seal()
	if err != nil || c.sealLen < seal.Len() {
		return nil
	}
	a.Recording = false
	if err := store.WriteAuthor(ctx, c.Root, a.Author, a.was); err != nil && !errors.Is(err, store.ErrConflict) && ctx.Err() == nil {
		c.fail(fmt.Errorf("writing who records there: %w", err))
	}
	return nil
}
