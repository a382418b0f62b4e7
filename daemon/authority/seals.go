package authority

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"slices"
	"sync"

	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
)

// Seals is what the copies' seals came to.
type Seals struct {
	Right *seal.Seal   // the archive's, which need not go on from the one known
	Lines []int        // that each copy is known to have, by its place in Copies
	Short []bool       // the copy had more when it was last met
	Other []*seal.Seal // that of a copy with another history, nil for none
	Newer bool         // a copy's seal tells what this program does not know

	half []bool // the copy's does not read, since it was giving way to the archive's
}

// Seals reads the seal of every copy in reach, and settles with seal.Right
// which is the archive's; known is the one in the state folder. A copy whose seal
// rotted has failed in this round. One with another history is for the caller to meet,
// and nothing is to be written there before; so is one that was being replaced and does
// not read, of which an empty one is told. Ask comes first.
func (r *Recorder) Seals(ctx context.Context, known *seal.Seal) (Seals, error) {
	s := Seals{Lines: make([]int, len(r.Copies)), Short: make([]bool, len(r.Copies)), Other: make([]*seal.Seal, len(r.Copies)), half: make([]bool, len(r.Copies))}
	if known.Newer() {
		return s, fault.Say(ErrNewer, "the seal in the state folder was written by a newer linecamp, so this one records nothing; use the newer program here, too")
	}
	r.parted = map[int]bool{}
	told := make([]seal.Told, len(r.Copies))
	var reading sync.WaitGroup
	for i, c := range r.Copies {
		told[i].Author, told[i].Epoch = r.named[i].Author.Author, r.named[i].Epoch
		if c.Usable() {
			reading.Go(func() {
				log, err := s.read(ctx, r.Notes, i, c, known)
				if err != nil {
					c.Fail(err)
				}
				told[i].Seal = log
			})
		}
	}
	reading.Wait()
	if err := ctx.Err(); err != nil {
		return s, err
	}
	for i := range newer(known, told) {
		s.Newer = true
		r.Copies[i].Fail(ErrNewer)
		told[i].Seal = nil
	}
	sound := proved(ctx, r.Copies, told)
	if err := ctx.Err(); err != nil {
		return s, err
	}
	var from int
	if s.Right, from = seal.Right(known, sound...); from >= 0 && !s.Right.Extends(known) {
		if err := r.noteGoverning(r.named[from].Author, s.Right); err != nil {
			return s, err
		}
		for i, c := range r.Copies { // those known by a look have lines of the seal known
			if told[i].Seal == nil && c.Usable() {
				var err error
				if told[i].Seal, err = seal.Decode([][]byte{known.Text(0, s.Lines[i])}); err != nil {
					return s, err
				}
			}
		}
	}
	for i, c := range r.Copies {
		if s.half[i] { // what there is of it is kept when it is replaced
			s.Other[i], r.parted[i] = new(seal.Seal), true
		} else if log := told[i].Seal; log != nil {
			stand, past := log.Against(s.Right), false
			if stand == seal.Rotten { // a person may have taken over past it
				var err error
				if past, err = noted(r.Notes, replacingKey(c.ID)); err != nil {
					return s, err
				}
			}
			switch {
			case stand == seal.Begins:
			case past:
				s.Other[i], r.parted[i] = log, true
			case stand == seal.Parted && !r.named[i].rotted: // else nothing tells whether it governs
				s.Other[i] = log
				r.parted[i] = true
			default:
				c.Fail(r.LeftAlone(i, stand, s.Right))
			}
		}
	}
	return s, nil
}

// noteGoverning notes who recorded the history that goes on instead of this
// machine's, also where that is of the same epoch: whom the copy's author file names, or
// a later line of the seal that governs.
func (r *Recorder) noteGoverning(a store.Author, right *seal.Seal) error {
	if l := right.TakeOver(); l.Epoch > a.Epoch {
		a = store.Author{Archive: r.Archive, Author: l.Author, Epoch: l.Epoch} // nothing in reach tells its name
	}
	last, err := LastAuthor(r.Notes, r.Archive)
	if err != nil || a.Epoch < last.Epoch {
		return err
	}
	return NoteAuthor(r.Notes, a)
}

// read reads one copy's seal. In a bucket an unchanged last file is recognized by
// its ETag, so that a round with nothing new costs one request whatever the
// length of the log; the seal is then the beginning of the known one, and nil.
func (s *Seals) read(ctx context.Context, l Notes, i int, c Copy, known *seal.Seal) (*seal.Seal, error) {
	had, err := NotedSeal(l, c.ID)
	if err != nil {
		return nil, err
	}
	if had.Lines <= known.Len() && had.Stands(ctx, c.Root) {
		s.Lines[i] = had.Lines
		return nil, nil
	}
	log, tail, err := store.ReadTail(ctx, c.Root)
	if errors.Is(err, seal.ErrInvalid) {
		var nerr error
		if s.half[i], nerr = noted(l, replacingKey(c.ID)); s.half[i] || nerr != nil {
			return nil, nerr
		}
	}
	if err != nil {
		return nil, fmt.Errorf("reading its seal: %w", err)
	}
	s.Lines[i] = log.Len()
	s.Short[i] = log.Len() < had.Lines
	if !known.Extends(log) || s.Short[i] { // it is noted once it is whole again
		tail = store.Tail{Lines: had.Lines} // what was the last file may be as it was, with another behind it now
	}
	return log, NoteSeal(l, c.ID, tail)
}

// LeftAlone says why nothing is written to a copy whose seal is not the beginning of the
// archive's, since it rotted or tells another history, and what to do about it.
func (r *Recorder) LeftAlone(i int, stand seal.Stand, right *seal.Seal) error {
	if stand == seal.Rotten {
		return errors.New("its seal is damaged; run `linecamp verify`, then `linecamp mend`")
	}
	if r.named[i].rotted {
		return fmt.Errorf("the file there that says who records (%s) is damaged, and its seal tells another history than this archive's, so nothing is written there; run `linecamp setup --take-over` on the computer that is to record", store.AuthorKey)
	}
	_, epoch := right.Author()
	if a := r.named[i].Author; a.Author != r.Author && a.Epoch > epoch {
		return fmt.Errorf("the computer %s began to take this archive over there and did not finish, so nothing is written there; run `linecamp setup --take-over` there again", a.Machine)
	}
	return errors.New("its seal tells another history of the archive; the recording computer takes in what this copy has when a round there reaches it, and until then you can read the copy with --from")
}

// newer yields the places of the seals that a newer program wrote. Rot can make
// such a word, too: then another seal tells.
func newer(known *seal.Seal, told []seal.Told) iter.Seq[int] {
	return func(yield func(int) bool) {
		for i, t := range told {
			if t.Seal != nil && t.Seal.Newer() && !t.Seal.Rotted(known) &&
				!slices.ContainsFunc(told, func(o seal.Told) bool { return o.Seal != nil && t.Seal.Rotted(o.Seal) }) && !yield(i) {
				return
			}
		}
	}
}

// OtherHistory is a copy whose seal does not agree with the others'.
type OtherHistory struct{ Name string }

func (e *OtherHistory) Error() string {
	return fmt.Sprintf("the seal on %s tells another history than the others; run `linecamp mirror` on the recording computer", e.Name)
}

// Agreed is the archive's seal where all agree: kept is the state folder's, with
// the error of reading it. One that tells something else is *OtherHistory.
func Agreed(ctx context.Context, kept *seal.Seal, err error, copies []Copy) (*seal.Seal, error) {
	kept, err = whole(kept, err)
	if err != nil {
		return nil, err
	}
	told, unread, err := tell(ctx, kept, copies)
	if err = errors.Join(err, unread); err != nil {
		return nil, err
	}
	right, _ := seal.Right(kept, told...)
	for i, t := range told {
		if t.Seal.Against(right) != seal.Begins {
			return nil, &OtherHistory{copies[i].Name}
		}
	}
	return right.Clone(), nil
}

// whole is the state folder's seal, with the error of reading it: an empty one where
// there is none.
func whole(kept *seal.Seal, err error) (*seal.Seal, error) {
	if errors.Is(err, fs.ErrNotExist) {
		kept, err = seal.Decode(nil)
	}
	if err != nil {
		return nil, fmt.Errorf("the seal in the state folder: %w", err)
	}
	if kept.Newer() {
		return nil, fault.Say(ErrNewer, "the seal in the state folder was written by a newer linecamp, so this one records nothing; use the newer program here, too")
	}
	return kept, nil
}

// tell is what each copy's seal tells; unread is why some have none, since what is there
// does not read.
func tell(ctx context.Context, kept *seal.Seal, copies []Copy) (told []seal.Told, unread, err error) {
	told = make([]seal.Told, len(copies))
	for i, c := range copies {
		told[i].Seal, err = store.ReadSeal(ctx, c.Root)
		if err != nil {
			err = fmt.Errorf("the seal on %s: %w", c.Name, err)
		}
		switch {
		case ctx.Err() != nil:
			return nil, nil, ctx.Err()
		case fault.Of(err).OfCopy():
			return nil, nil, err
		case err != nil:
			told[i].Seal, unread = nil, errors.Join(unread, err)
		}
	}
	for i := range newer(kept, told) {
		return nil, nil, fmt.Errorf("%s: %w", copies[i].Name, ErrNewer)
	}
	return told, unread, nil
}
