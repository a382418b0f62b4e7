package daemon

import (
	"context"

	"linecamp/daemon/authority"
	"linecamp/daemon/mirror/adopt"
	"linecamp/daemon/reach"
	"linecamp/manifest/seal"
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
	// Parted are copies in reach that have another history, or a damaged seal.
	Parted []string `json:"parted,omitempty"`
	// Held are copies that answer, and cannot be worked with: nothing is recorded until
	// a person put them right, or gave them up.
	Held []Held `json:"held,omitempty"`
	// Already: this machine recorded before, and every copy within reach says so.
	// Recording no longer waits for those in Later.
	Already bool `json:"already"`
}

// Held is a copy for which recording waits, and why.
type Held struct {
	Copy  string `json:"copy"`
	Error string `json:"error"`
}

// TakeOver makes this machine the one that records, see authority.TakeOver.
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

	taken, err := authority.TakeOver(ctx, authority.Taker{
		Archive: r.ID, Folder: a.Dir, Self: self, Copies: forAuthority(r.All), Notes: a.Ledger, Seal: a.Cache, Now: a.Now,
		Adopt: func(was, is *seal.Seal) error {
			return adopt.History(a.Ledger, a.Cache, r.Name, forAuthority(r.All), was, is)
		},
	})
	t.Epoch, t.Was, t.Already, t.Parted = taken.Epoch, taken.Was, taken.Already, taken.Parted
	if err != nil {
		return t, err
	}
	for _, h := range r.Open() {
		t.Copies = append(t.Copies, h.Name)
	}
	for _, h := range r.All {
		switch {
		case h.Root != nil:
		case h.Answers():
			t.Held = append(t.Held, Held{h.Name, h.Err.Error()})
		default:
			t.Later = append(t.Later, h.Name)
		}
	}
	return t, nil
}

// forAuthority are the copies as package authority sees them.
func forAuthority(copies []*reach.Copy) []authority.Copy {
	var all []authority.Copy
	for _, h := range copies {
		all = append(all, authority.Copy{ID: h.ID, Name: h.Name, Root: h.Root, Answers: h.Answers()})
	}
	return all
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
