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
	Was     string // the machine that recorded before, "" for none
	Already bool   // this machine recorded before, and every copy in reach says so; nothing was changed
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
	Now func() time.Time
}

// TakeOver raises the epoch in author.json of each copy within reach, which stops
// the machine that recorded before at its next step, and then puts a line into the
// seal. A copy is told only if it is at the state that was read; a machine that
// records at this very moment makes it fail, and it can be run again. Nothing waits
// afterwards for a copy out of reach. The caller holds the locks of all copies.
func TakeOver(ctx context.Context, t Taker) (Taken, error) {
	open := slices.DeleteFunc(slices.Clone(t.Copies), func(c Copy) bool { return c.Root == nil })
	seal, err := t.agreed(ctx, open)
	if err != nil {
		return Taken{}, err
	}
	out, was, mine, twin, err := t.ask(ctx, open, seal)
	if err != nil {
		return out, err
	}
	if twin { // a copy of this state folder has the same id
		if t.Self, err = identity.Anew(t.Folder); err != nil {
			return out, err
		}
	} else if mine && sealed(seal, t.Self.Author, out.Epoch) {
		out.Already = true
		return out, excuse(t.Notes, t.Copies)
	}
	for _, c := range t.Copies {
		if err := Unread(t.Notes, c.ID); err != nil {
			return out, fmt.Errorf("the ledger: %w", err)
		}
	}
	if err := excuse(t.Notes, t.Copies); err != nil {
		return out, fmt.Errorf("the ledger: %w", err)
	}
	out.Epoch++
	a := store.Author{Archive: t.Archive, Author: t.Self.Author, Machine: t.Self.Machine, Epoch: out.Epoch}
	for i, c := range open {
		err := store.WriteAuthor(ctx, c.Root, a, was[i])
		if errors.Is(err, store.ErrConflict) {
			return out, fmt.Errorf("%s: another machine is recording there at this moment; see that it is switched off, then run this again: %w", c.Name, err)
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
			return out, fmt.Errorf("another machine is still adding to the seal; see that it is switched off, then run this again: %w", err)
		}
	}
}

// ask finds the newest epoch that anything in reach names, and by whom; mine tells
// that all name this machine in that epoch, twin that a copy of its state folder
// recorded under its name.
func (t Taker) ask(ctx context.Context, open []Copy, log *seal.Seal) (out Taken, was []*store.Info, mine, twin bool, err error) {
	// The first author claims the archive with epoch 1 and no line, and may have
	// done so where this machine cannot look now.
	out.Epoch = 1
	for l := range log.All() {
		if l.What == seal.Author {
			out.Epoch = max(out.Epoch, l.Epoch)
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
		a, info, err := store.ReadAuthor(ctx, c.Root)
		if errors.Is(err, fs.ErrNotExist) {
			mine = false
			continue
		}
		if err != nil {
			return out, nil, false, false, fmt.Errorf("%s: %w", c.Name, err)
		}
		was[i] = &info
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

// addLine adds the line of a take-over to the seal of every copy within reach: to
// buckets first, since no lock keeps another machine from adding to those, and a
// drive that has the line would then tell another history.
func (t Taker) addLine(ctx context.Context, open []Copy, a store.Author) error {
	log, err := t.agreed(ctx, open)
	if err != nil {
		return err
	}
	at := t.Now().UTC().Truncate(time.Second)
	if lines := log.Lines(); len(lines) > 0 && at.Before(lines[len(lines)-1].At) {
		at = lines[len(lines)-1].At
	}
	line := seal.Line{N: log.Len() + 1, At: at, What: seal.Author, Author: a.Author, Epoch: a.Epoch, Why: "taken over on " + a.Machine}
	if err := log.Append(line); err != nil {
		return err
	}
	for _, shared := range []bool{true, false} {
		for _, c := range open {
			if c.Can().Shared != shared {
				continue
			}
			if err := store.WriteSeal(ctx, c.Root, log); err != nil {
				return fmt.Errorf("%s: %w", c.Name, err)
			}
		}
	}
	if err := t.Seal.PutSeal(log); err != nil {
		return fmt.Errorf("the seal in the state folder: %w", err)
	}
	return nil
}

func (t Taker) agreed(ctx context.Context, open []Copy) (*seal.Seal, error) {
	kept, err := t.Seal.Seal()
	log, err := Agreed(ctx, kept, err, open)
	if other, ok := errors.AsType[*OtherHistory](err); ok {
		return nil, fmt.Errorf("%w; take that copy out of the settings first: it stays readable with --from", other)
	}
	return log, err
}
