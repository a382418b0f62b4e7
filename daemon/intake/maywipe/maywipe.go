// Package maywipe judges whether a camera card may be wiped. Call [Judge] with the
// card as [intake.ReadCard] read it, and a [Keeper] that knows what the archives
// hold. It files nothing; package intake does.
package maywipe

import (
	"slices"
	"strings"
	"time"

	"linecamp/daemon/intake"
	"linecamp/manifest"
)

// A file's answer, when a card is to be wiped.
const (
	Safe    = "safe"    // on two devices beside the working folder, read back from one at least
	NotYet  = "not-yet" // an archive has it, but not safely enough
	Nowhere = "nowhere" // no archive keeps it
)

// Holding is one copy that is known to hold a file.
type Holding struct {
	Copy      string    `json:"copy"`
	Archive   string    `json:"archive"`
	ReadBack  time.Time `json:"read_back,omitzero"` // when its bytes were last read from there and matched
	Confirmed time.Time `json:"confirmed,omitzero"` // when the service last vouched for them
	// Device tells devices apart; two with the same one die together. It is
	// "" where it must not be counted on, and Why says why.
	Device string `json:"-"`
	Why    string `json:"why,omitempty"`
}

// counts reports whether the holding may be relied on.
func (h *Holding) counts() bool {
	return h.Device != "" && !(h.ReadBack.IsZero() && h.Confirmed.IsZero())
}

// Keeper answers what archives know of a content.
type Keeper interface {
	// Holdings are the copies known to hold it.
	Holdings(manifest.Digest) []Holding
	// Advice says what is to be done about a file that an archive has but that
	// is not safe yet, given what holds it; ok is false if no archive has the
	// content.
	Advice(d manifest.Digest, held []Holding) (todo Todo, ok bool)
}

// Todo is what makes a file safe.
type Todo struct {
	// First is what a person has to do before, in words: "plug in far"; "" for
	// nothing.
	First string `json:"first,omitempty"`
	// Run are command lines, to be run one after the other.
	Run []string `json:"run,omitempty"`
}

// Same reports whether two are one thing to do.
func (t Todo) Same(o Todo) bool { return t.First == o.First && slices.Equal(t.Run, o.Run) }

// Answer is the answer to whether a card may be wiped.
type Answer struct {
	Card    string        `json:"card"`
	MayWipe bool          `json:"may_wipe"`
	Safe    intake.Share  `json:"safe"`
	NotYet  intake.Share  `json:"not_yet"`
	Nowhere intake.Share  `json:"nowhere"`
	Moved   bool          `json:"others_moved"` // a person said that the files kept nowhere are moved
	Files   []Held        `json:"files"`
	Unread  []intake.Left `json:"unread"` // nothing can be said of them
	Passed  []intake.Left `json:"passed"` // links and special files: kept nowhere
	Litter  int           `json:"litter"` // what systems and cameras leave about, not asked after
}

// Held is one file with its answer.
type Held struct {
	Path   string    `json:"path"`
	Bytes  int64     `json:"bytes"`
	State  string    `json:"state"`
	Copies []Holding `json:"copies,omitempty"`
	Todo             // where it is not safe yet
	Photo  bool      `json:"-"`
}

// Judge says of each file of a card, as its bytes are now, whether it is safe.
// moved is a person's word that what is kept nowhere was moved elsewhere; it
// says nothing of files that are filed and not yet safe, or that could not be
// read.
func Judge(c *intake.Card, k Keeper, moved bool) *Answer {
	w := &Answer{Card: c.Folder, Moved: moved, Files: []Held{}, Unread: []intake.Left{}, Passed: []intake.Left{}, Litter: c.Litter}
	for _, f := range c.Files {
		h := Held{Path: shown(f.Path), Bytes: f.Size, Copies: k.Holdings(f.SHA256), Photo: f.Kind == manifest.KindPhoto}
		var share *intake.Share
		switch todo, ok := k.Advice(f.SHA256, h.Copies); {
		case enough(h.Copies):
			h.State, share = Safe, &w.Safe
		case ok:
			h.State, h.Todo, share = NotYet, todo, &w.NotYet
		default:
			h.State, share = Nowhere, &w.Nowhere
		}
		share.Files++
		share.Bytes += f.Size
		w.Files = append(w.Files, h)
	}
	for _, u := range c.Unread {
		w.Unread = append(w.Unread, intake.Left{Path: shown(u.Path), Reason: u.Reason})
	}
	for _, p := range c.Passed {
		w.Passed = append(w.Passed, intake.Left{Path: shown(p.Path), Reason: p.Reason})
	}
	others := w.Nowhere.Files + len(w.Passed)
	w.MayWipe = w.NotYet.Files == 0 && len(w.Unread) == 0 && (others == 0 || moved)
	return w
}

// enough: two devices hold it, and from one of them it was read back.
func enough(held []Holding) bool {
	var devices []string
	read := false
	for _, h := range held {
		if !h.counts() {
			continue
		}
		if !slices.Contains(devices, h.Device) {
			devices = append(devices, h.Device)
		}
		read = read || !h.ReadBack.IsZero()
	}
	return len(devices) >= 2 && read
}

// Wants reports whether something is left to do before the card is wiped.
func (w *Answer) Wants() bool { return !w.MayWipe }

// shown is a path as JSON can hold it.
func shown(path string) string { return strings.ToValidUTF8(path, "\uFFFD") }
