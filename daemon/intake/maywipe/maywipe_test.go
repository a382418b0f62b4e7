package maywipe

import (
	"testing"
	"time"

	"linecamp/daemon/intake"
	"linecamp/manifest"
	"linecamp/manifest/tally"
	"linecamp/manifest/walk"
)

// one is a keeper that knows one thing of every content.
type one struct {
	held []Holding
	has  bool
}

func (o one) Holdings(manifest.Digest) []Holding { return o.held }
func (o one) Advice(manifest.Digest, []Holding) (Todo, bool) {
	return Todo{Run: []string{"linecamp mirror"}}, o.has
}

func TestJudge(t *testing.T) {
	day := time.Date(2026, 6, 24, 12, 0, 0, 0, time.UTC)
	read := func(device string) Holding { return Holding{Copy: device, Device: device, ReadBack: day} }
	confirmed := func(device string) Holding { return Holding{Copy: device, Device: device, Confirmed: day} }
	unchecked := func(device string) Holding { return Holding{Copy: device, Device: device} }
	same := read("a")
	same.Device, same.Why = "", "is on the same disk as your folder"
	for _, c := range []struct {
		name string
		held []Holding
		want string
	}{
		{"two read back", []Holding{read("a"), read("b")}, Safe},
		{"one read back, one confirmed", []Holding{read("a"), confirmed("b")}, Safe},
		{"two confirmed, none read back", []Holding{confirmed("a"), confirmed("b")}, NotYet},
		{"one", []Holding{read("a")}, NotYet},
		{"two copies on one device", []Holding{read("a"), read("a")}, NotYet},
		{"one not checked at all", []Holding{read("a"), unchecked("b")}, NotYet},
		{"one on the working folder's disk", []Holding{same, read("b")}, NotYet},
		{"none", nil, NotYet},
	} {
		card := &intake.Card{Files: []tally.File{{Path: "x.jpg", Size: 3}}}
		w := Judge(card, one{c.held, true}, true)
		if w.Files[0].State != c.want || w.MayWipe != (c.want == Safe) || w.Wants() == w.MayWipe {
			t.Errorf("%s: %s, may be wiped: %v", c.name, w.Files[0].State, w.MayWipe)
		}
	}
}

// TestWord: a person's word covers what is kept nowhere, and nothing else.
func TestWord(t *testing.T) {
	film := []tally.File{{Path: "film.mp4", Size: 3}}
	bad := []walk.Waiting{{Path: "bad.jpg", Reason: "it cannot be read"}}
	for _, c := range []struct {
		name  string
		card  intake.Card
		moved bool
		want  bool
	}{
		{"a film", intake.Card{Files: film}, false, false},
		{"a film that is moved", intake.Card{Files: film}, true, true},
		{"a link", intake.Card{Passed: bad}, false, false},
		{"a link, not wanted", intake.Card{Passed: bad}, true, true},
		{"a file that cannot be read", intake.Card{Unread: bad}, true, false},
		{"an empty card", intake.Card{}, false, true},
		{"litter only", intake.Card{Litter: 3}, false, true},
	} {
		w := Judge(&c.card, one{}, c.moved)
		if w.MayWipe != c.want {
			t.Errorf("%s: %v", c.name, w.MayWipe)
		}
	}
}
