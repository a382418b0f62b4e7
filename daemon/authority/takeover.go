package authority

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"time"

	"linecamp/daemon/identity"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
)

// Taken says what making this machine the author came to.
type Taken struct {
	Epoch   int
	Was     string   // the machine that recorded before, "" for none
	Already bool     // this machine recorded before, and every copy in reach says so; nothing was changed
	Parted  []string // copies in reach with another history, or a damaged seal: they know who records, and no more
}

// Taker makes a machine the one that records.
type Taker struct {
	Archive string // the archive's uuid
	Folder  string // the state folder
	Self    identity.State
	Copies  []Copy // in the settings' order; those out of reach have no Root
	Notes   Notes
	Seal    interface {
		Seal() (*seal.Seal, error)
		PutSeal(*seal.Seal) error
	}
	Adopt func(was, is *seal.Seal) error // has the state folder go over to another history
	Now   func() time.Time
}

// TakeOver raises the epoch in author.json of each copy within reach, which stops
// the machine that recorded before at its next step, and then puts a line into the
// seal. A copy is told only if it is at the state that was read; a machine that
// records at this very moment makes it fail, and it can be run again. Nothing waits
// afterwards for a copy out of reach, nor for one whose seal does not read, as long as
// another has one that does, nor for one that differs from the archive's as by rot: two
// histories can, where they tell the same thing at another time. The next round keeps
// what is there of it, and has the archive's in its place. The history that governs among all in reach and
// the state folder's own goes on; a copy that tells another is told who records, and
// gets no line. The caller holds the locks of all copies.
func TakeOver(ctx context.Context, t Taker) (Taken, error) {
	open := slices.DeleteFunc(slices.Clone(t.Copies), func(c Copy) bool { return c.Root == nil })
	is, err := t.governing(ctx, open)
	if err != nil {
		return Taken{}, err
	}
	unread := map[string]bool{} // the copies in reach whose seal does not read
	var rotten []Copy           // those whose seal reads as if it rotted
	for i, c := range open {
		log := is.told[i].Seal
		if unread[c.ID] = log == nil; log != nil && log.Against(is.right) == seal.Rotten {
			rotten = append(rotten, c)
		}
	}
	out, was, mine, twin, err := t.ask(ctx, open, is)
	if err != nil {
		return out, err
	}
	if twin { // a copy of this state folder has the same id
		if t.Self, err = identity.Anew(t.Folder); err != nil {
			return out, err
		}
	} else if mine && sealed(is.right, t.Self.Author, out.Epoch) {
		out.Already = true
		return out, errors.Join(excuse(t.Notes, t.Copies, unread, rotten, is.right.Len()), t.Notes.SetValue(steppedKey, "")) // a crash may have come before
	}
	for _, c := range t.Copies {
		if err := Unread(t.Notes, c.ID); err != nil {
			return out, fmt.Errorf("the ledger: %w", err)
		}
	}
	if err := excuse(t.Notes, t.Copies, unread, rotten, is.right.Len()); err != nil {
		return out, fmt.Errorf("the ledger: %w", err)
	}
	// Kept before any copy names this machine: from then on the author files do not
	// tell any more which seals they vouched for.
	if err := t.keep(is.kept, is.right); err != nil {
		return out, err
	}
	out.Epoch = min(out.Epoch+1, seal.MaxEpoch) // in one epoch the later line governs
	a := store.Author{Archive: t.Archive, Author: t.Self.Author, Machine: t.Self.Machine, Epoch: out.Epoch}
	for i, c := range open {
		_, err := store.WriteAuthor(ctx, c.Root, a, was[i])
		if errors.Is(err, store.ErrConflict) {
			return out, fmt.Errorf("%s: another computer is recording there at this moment; see that it is switched off, then run this again: %w", c.Name, err)
		}
		if err != nil {
			return out, fmt.Errorf("%s: %w", c.Name, err)
		}
	}
	if err := errors.Join(NoteAuthor(t.Notes, a), ForgetTwin(t.Notes)); err != nil {
		return out, fmt.Errorf("the ledger: %w", err)
	}
	// A machine that was recording may still add the line of its last step; it
	// learns of the claim before the next.
	for tries := 1; ; tries++ {
		err := t.addLine(ctx, open, a)
		if !errors.Is(err, store.ErrConflict) {
			return out, err
		}
		if tries == sealTries {
			return out, fmt.Errorf("another computer is still adding to the seal; see that it is switched off, then run this again: %w", err)
		}
	}
}

// ask finds the newest epoch that anything in reach names, and by whom; mine tells
// that all name this machine in that epoch, twin that a copy of its state folder
// recorded under its name.
func (t Taker) ask(ctx context.Context, open []Copy, is governing) (out Taken, was []*store.Info, mine, twin bool, err error) {
	// The first author claims the archive with epoch 1 and no line, and may have
	// done so where this machine cannot look now.
	out.Epoch = 1
	for _, told := range is.told {
		if told.Seal != nil {
			_, epoch := told.Seal.Author()
			out.Epoch = max(out.Epoch, epoch)
		}
	}
	_, epoch := is.right.Author()
	out.Epoch = max(out.Epoch, epoch)
	for i, c := range open {
		if !is.begins(i) {
			out.Parted = append(out.Parted, c.Name)
		}
	}
	last, err := LastAuthor(t.Notes, t.Archive)
	if err != nil {
		return out, nil, false, false, fmt.Errorf("the ledger: %w", err)
	}
	if last.Author != t.Self.Author {
		out.Was = last.Machine
	}
	out.Epoch = max(out.Epoch, last.Epoch)
	if twin, err = HasTwin(t.Notes); err != nil {
		return out, nil, false, false, fmt.Errorf("the ledger: %w", err)
	}
	was = make([]*store.Info, len(open))
	mine = last.Author == t.Self.Author || last.Author == ""
	least := 0 // epoch that a copy names
	for i, c := range open {
		a, info, err := whoRecorded(ctx, c)
		if err != nil {
			return out, nil, false, false, err
		}
		if was[i] = info; a.Author == "" {
			mine = false
			continue
		}
		own, err := isOwn(t.Notes, a)
		if err != nil {
			return out, nil, false, false, fmt.Errorf("the ledger: %w", err)
		}
		twin = twin || a.Author == t.Self.Author && a.Recording && !own
		mine = mine && a.Author == t.Self.Author
		if least == 0 || a.Epoch < least {
			least = a.Epoch
		}
		if a.Epoch >= out.Epoch && a.Author != t.Self.Author {
			out.Was = a.Machine
		}
		out.Epoch = max(out.Epoch, a.Epoch)
	}
	return out, was, mine && least == out.Epoch, twin, nil
}

// whoRecorded reads who a copy says records, for a person who says who is to: a file that
// rotted names nobody. The Info is nil where there is none.
func whoRecorded(ctx context.Context, c Copy) (store.Author, *store.Info, error) {
	a, info, err := store.ReadAuthor(ctx, c.Root)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return store.Author{}, nil, nil
	case err != nil && !errors.Is(err, store.ErrNoAuthor):
		return store.Author{}, nil, fmt.Errorf("%s: %w", c.Name, err)
	}
	return a, &info, nil
}

// sealed reports whether the seal has what makes an author of that epoch: the
// line of its take-over, which the first author needs none of.
func sealed(log *seal.Seal, author string, epoch int) bool {
	return epoch == 1 || slices.ContainsFunc(log.Lines(), func(l seal.Line) bool {
		return l.What == seal.Author && l.Author == author && l.Epoch == epoch
	})
}

// sealTries is how often a take-over tries to add its line to a seal that
// another machine adds to.
const sealTries = 5

// addLine adds the line of a take-over to the seal of every copy within reach whose
// seal is the beginning of the archive's: to buckets first, since no lock keeps
// another machine from adding to those, and a drive that has the line would then
// tell another history.
func (t Taker) addLine(ctx context.Context, open []Copy, a store.Author) error {
	is, err := t.governing(ctx, open)
	if err != nil {
		return err
	}
	log := is.right.Clone()
	at := t.Now().UTC().Truncate(time.Second)
	if lines := log.Lines(); len(lines) > 0 && at.Before(lines[len(lines)-1].At) {
		at = lines[len(lines)-1].At
	}
	line := seal.Line{N: log.Len() + 1, At: at, What: seal.Author, Author: a.Author, Epoch: a.Epoch, Why: "taken over on " + a.Machine}
	if err := log.Append(line); err != nil {
		return err
	}
	for _, shared := range []bool{true, false} {
		for i, c := range open {
			if c.Can().Shared != shared || !is.begins(i) {
				continue
			}
			if err := store.WriteSeal(ctx, c.Root, log); err != nil {
				return fmt.Errorf("%s: %w", c.Name, err)
			}
		}
	}
	if err := t.keep(is.kept, log); err != nil {
		return err
	}
	return t.Notes.SetValue(steppedKey, "")
}

// keep has the state folder go on from the seal that it has to the one that governs.
func (t Taker) keep(was, is *seal.Seal) error {
	var err error
	switch {
	case !is.Extends(was):
		err = t.Adopt(was, is)
	case is.Len() > was.Len():
		err = t.Seal.PutSeal(is)
	}
	if err != nil {
		return fmt.Errorf("the seal in the state folder: %w", err)
	}
	return nil
}

// governing is what the state folder and the copies tell, and which seal governs.
type governing struct {
	kept, right *seal.Seal
	told        []seal.Told // by the copy's place; without a seal where that does not read
}

// begins reports whether the seal of a copy is the beginning of the one that governs.
func (is governing) begins(i int) bool {
	return is.told[i].Seal != nil && is.told[i].Seal.Against(is.right) == seal.Begins
}

func (t Taker) governing(ctx context.Context, open []Copy) (is governing, err error) {
	kept, err := t.Seal.Seal()
	if is.kept, err = whole(kept, err); err != nil {
		return is, err
	}
	var unread error
	if is.told, unread, err = tell(ctx, is.kept, open); err != nil {
		return is, err
	}
	for i, c := range open {
		a, _, err := whoRecorded(ctx, c)
		if err != nil {
			return is, err
		}
		if is.told[i].Author, is.told[i].Epoch = a.Author, a.Epoch; is.told[i].Seal == nil {
			continue
		}
		if author, epoch := is.told[i].Seal.Author(); a.Author == t.Self.Author && a.Epoch > epoch { // by this take-over
			is.told[i].Author, is.told[i].Epoch = author, epoch
		}
	}
	is.right, _ = seal.Right(is.kept, proved(ctx, open, is.told)...)
	one := slices.ContainsFunc(is.told, func(t seal.Told) bool { return t.Seal != nil })
	if unread != nil && (!one || is.right.Len() == 0) { // else what was recorded would be forgotten
		return is, unread
	}
	return is, ctx.Err()
}
