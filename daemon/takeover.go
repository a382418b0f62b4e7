package daemon

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"time"

	"linecamp/daemon/identity"
	"linecamp/daemon/mirror"
	"linecamp/daemon/reach"
	"linecamp/manifest"
	"linecamp/manifest/store"
)

// Takeover says what making this machine the author came to.
type Takeover struct {
	Archive string   `json:"archive"`
	Machine string   `json:"machine"`
	Epoch   int      `json:"epoch"`
	Was     string   `json:"was,omitempty"` // the machine that recorded before
	Copies  []string `json:"copies"`        // the copies that know it now
	// Later are copies out of reach; the next mirror round that meets them
	// tells them.
	Later []string `json:"later"`
	// Already: this machine recorded before, and every copy within reach says
	// so; nothing was changed.
	Already bool `json:"already"`
}

// TakeOver makes this machine the one that records: it raises the epoch in
// author.json of each copy within reach, which stops the machine that recorded
// before at its next step, and then puts a line into the seal. A copy is told
// only if it is at the state that was read; a machine that records at this
// very moment makes it fail, and it can be run again.
func (a *Archive) TakeOver(ctx context.Context) (Takeover, error) {
	t := Takeover{Archive: a.Config.Name, Copies: []string{}, Later: []string{}}
	leave, err := a.Turns.Author(ctx)
	if err != nil {
		return t, err
	}
	defer leave()
	self, err := a.Self()
	if err != nil {
		return t, err
	}
	t.Machine = self.Machine
	r, err := a.Reach(ctx, a.Config.Copies, reach.Patient)
	if err != nil {
		return t, err
	}
	defer r.Close()
	turns, err := a.Occupy(ctx, r.All)
	if err != nil {
		return t, err
	}
	defer turns.LeaveAll()
	if len(r.Open()) == 0 {
		return t, r.None()
	}

	seal, err := a.longestSeal(ctx, r)
	if err != nil {
		return t, err
	}
	for _, l := range seal.Lines() {
		if l.What == manifest.LineAuthor {
			t.Epoch = max(t.Epoch, l.Epoch)
		}
	}
	// The first author claims the archive with epoch 1 and no line, and may have
	// done so where this machine cannot look now.
	t.Epoch = max(t.Epoch, 1)
	last, err := mirror.LastAuthor(a.Ledger, r.ID)
	if err != nil {
		return t, fmt.Errorf("the ledger: %w", err)
	}
	if last.Author != self.Author {
		t.Was = last.Machine
	}
	t.Epoch = max(t.Epoch, last.Epoch)
	was := map[*reach.Copy]*store.Info{}
	var epochs []int // that the copies' author files name
	mineEverywhere := last.Author == self.Author || last.Author == ""
	twin, err := mirror.Twin(a.Ledger)
	if err != nil {
		return t, fmt.Errorf("the ledger: %w", err)
	}
	for _, h := range r.Open() {
		author, info, err := store.ReadAuthor(ctx, h.Root)
		if errors.Is(err, fs.ErrNotExist) {
			mineEverywhere = false
			continue
		}
		if err != nil {
			return t, fmt.Errorf("%s: %w", h.Name, err)
		}
		was[h] = &info
		own, err := mirror.Own(a.Ledger, author)
		if err != nil {
			return t, fmt.Errorf("the ledger: %w", err)
		}
		twin = twin || author.Author == self.Author && author.Recording && !own
		mineEverywhere = mineEverywhere && author.Author == self.Author && (len(epochs) == 0 || epochs[0] == author.Epoch)
		epochs = append(epochs, author.Epoch)
		if author.Epoch >= t.Epoch && author.Author != self.Author {
			t.Was = author.Machine
		}
		t.Epoch = max(t.Epoch, author.Epoch)
	}
	if twin { // a copy of this state folder has the same id
		if self, err = identity.Anew(a.Dir); err != nil {
			return t, err
		}
		mineEverywhere = false
	}
	if mineEverywhere && epochs[0] == t.Epoch && sealed(seal, self.Author, t.Epoch) {
		t.Already = true
		for _, h := range r.Open() {
			t.Copies = append(t.Copies, h.Name)
		}
		return t, nil
	}
	for _, h := range r.All {
		if err := mirror.Unread(a.Ledger, h.ID); err != nil {
			return t, fmt.Errorf("the ledger: %w", err)
		}
	}
	t.Epoch++
	mine := store.Author{Archive: r.ID, Author: self.Author, Machine: self.Machine, Epoch: t.Epoch}
	for _, h := range r.Open() {
		err := store.WriteAuthor(ctx, h.Root, mine, was[h])
		if errors.Is(err, store.ErrConflict) {
			return t, fmt.Errorf("%s: another machine is recording there at this moment; see that it is switched off, then run this again: %w", h.Name, err)
		}
		if err != nil {
			return t, fmt.Errorf("%s: %w", h.Name, err)
		}
	}
	if err := errors.Join(mirror.NoteAuthor(a.Ledger, mine), mirror.ForgetTwin(a.Ledger)); err != nil {
		return t, fmt.Errorf("the ledger: %w", err)
	}
	// A machine that was recording may still add the line of its last step; it
	// learns of the claim before the next.
	for tries := 1; ; tries++ {
		err := a.sealTakeover(ctx, r, mine)
		if err == nil {
			break
		}
		if !errors.Is(err, store.ErrConflict) {
			return t, err
		}
		if tries == sealTries {
			return t, fmt.Errorf("another machine is still adding to the seal; see that it is switched off, then run this again: %w", err)
		}
	}
	for _, h := range r.Open() {
		t.Copies = append(t.Copies, h.Name)
	}
	for _, h := range r.All {
		if h.Root == nil {
			t.Later = append(t.Later, h.Name)
		}
	}
	return t, nil
}

// sealed reports whether the seal has what makes an author of that epoch: the
// line of its take-over, which the first author needs none of.
func sealed(seal *manifest.Seal, author string, epoch int) bool {
	return epoch == 1 || slices.ContainsFunc(seal.Lines(), func(l manifest.Line) bool {
		return l.What == manifest.LineAuthor && l.Author == author && l.Epoch == epoch
	})
}

// sealTries is how often a take-over tries to add its line to a seal that
// another machine adds to.
const sealTries = 5

// sealTakeover adds the line of a take-over to the seal of every copy within
// reach: to buckets first, since no lock keeps another machine from adding to
// those, and a drive that has the line would then tell another history.
func (a *Archive) sealTakeover(ctx context.Context, r *reach.Copies, mine store.Author) error {
	seal, err := a.longestSeal(ctx, r)
	if err != nil {
		return err
	}
	line := manifest.Line{N: seal.Len() + 1, At: a.sealTime(seal), What: manifest.LineAuthor, Author: mine.Author, Epoch: mine.Epoch, Why: "taken over on " + mine.Machine}
	if err := seal.Append(line); err != nil {
		return err
	}
	order := r.Nearest()
	slices.Reverse(order)
	for _, h := range order {
		if err := store.WriteSeal(ctx, h.Root, seal); err != nil {
			return fmt.Errorf("%s: %w", h.Name, err)
		}
	}
	if err := a.Cache.PutSeal(seal); err != nil {
		return fmt.Errorf("the seal in the state folder: %w", err)
	}
	return nil
}

// longestSeal is the longest of the seals of the copies within reach and of
// the state folder's. They must agree as far as they go.
func (a *Archive) longestSeal(ctx context.Context, r *reach.Copies) (*manifest.Seal, error) {
	best, err := a.Cache.Seal()
	if errors.Is(err, fs.ErrNotExist) {
		best, err = manifest.DecodeSeal(nil)
	}
	if err != nil {
		return nil, fmt.Errorf("the seal in the state folder: %w", err)
	}
	for _, h := range r.Open() {
		s, err := store.ReadSeal(ctx, h.Root)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", h.Name, err)
		}
		switch {
		case s.Extends(best):
			best = s
		case !best.Extends(s):
			return nil, fmt.Errorf("the seal on %s tells another history than the others; take that copy out of the settings first: it stays readable with --from", h.Name)
		}
	}
	return best.Clone(), nil
}

// sealTime is now, but never before the seal's last line.
func (a *Archive) sealTime(seal *manifest.Seal) time.Time {
	at := a.Now().UTC().Truncate(time.Second)
	if lines := seal.Lines(); len(lines) > 0 && at.Before(lines[len(lines)-1].At) {
		return lines[len(lines)-1].At
	}
	return at
}

// Identity is the archive's uuid and its name in object ids, from a copy
// within reach or from the ledger. The error says why none could tell.
func (a *Archive) Identity(ctx context.Context) (id, name string, err error) {
	r, err := a.Reach(ctx, a.Config.Copies, reach.Patient)
	if err != nil {
		return "", "", err
	}
	defer r.Close()
	if r.ID == "" {
		return "", "", r.None()
	}
	return r.ID, r.Name, nil
}
