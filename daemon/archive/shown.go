package archive

import (
	"encoding/json"
	"iter"

	"linecamp/manifest"
	"linecamp/manifest/tally"
	"linecamp/manifest/walk"
	"linecamp/verify/gather"
)

// Where the working folder shows each file that any version had, the years need nothing
// of the manifests but the sites' names and what people decided, and reading them takes
// longer than judging. So that is kept in the ledger, for the manifests it was read from
// and for the paths and bytes that the folder showed, and holds as long as both are the
// same. Losing it costs one reading.
const shownKey = "manifests that the folder shows"

type shown struct {
	Of      string // the manifests that were read
	Files   int    // in their newest versions
	Print   uint64 // what their [walk.BytesMark] come to
	Objects []shownObject

	older bool // some version had a file that the newest has not
}

type shownObject struct {
	Slug, Site, Pasture string
	Decisions           []manifest.Decision
}

// manifestsAtHand tells the manifests from others, "" where that cannot be told.
func (k *Known) manifestsAtHand() (string, error) {
	of, err := k.a.Cache.AtHand()
	if of == "" || err != nil {
		return "", err
	}
	return of + " " + k.Seal.Digest().String(), nil
}

// shown is what was kept of the manifests where it holds for what the folder shows, nil
// where they have to be read.
func (k *Known) shown(of string, t *tally.Result) (*shown, error) {
	text, ok, err := k.a.Ledger.Value(shownKey)
	if err != nil || !ok || of == "" {
		return nil, err
	}
	var s shown
	if json.Unmarshal([]byte(text), &s) != nil || s.Of != of || !s.all(t) {
		return nil, nil
	}
	return &s, nil
}

// all reports whether the folder is as the newest versions have it.
func (s *shown) all(t *tally.Result) bool {
	return t != nil && len(t.Waiting) == 0 && s.Files == t.Files && s.Print == t.BytesPrint
}

// objects yields what was kept.
func (s *shown) objects() iter.Seq[gather.Object] {
	return func(yield func(gather.Object) bool) {
		for _, o := range s.Objects {
			if !yield(gather.Object{Slug: o.Slug, Record: &manifest.Record{Site: o.Site, Pasture: o.Pasture, Decisions: o.Decisions}}) {
				return
			}
		}
	}
}

// reading yields the objects, and takes down what is to be kept of them.
func (s *shown) reading(objects iter.Seq[gather.Object]) iter.Seq[gather.Object] {
	return func(yield func(gather.Object) bool) {
		for o := range objects {
			s.add(o)
			if !yield(o) {
				return
			}
		}
	}
}

func (s *shown) add(o gather.Object) {
	inv := o.Inventory
	if o.Record == nil {
		s.older = true
		return
	}
	for logical, d := range inv.State(inv.Head()) {
		e, ok := o.Record.Paths[logical]
		if !ok {
			continue
		}
		if s.Files++; len(e.Raw) > 0 {
			logical = string(e.Raw)
		}
		s.Print += walk.BytesMark(o.Record.Base, logical, d) // as manifest.RawPath has it
	}
	if s.older {
		return
	}
	for _, held := range inv.FullHistory() {
		s.older = s.older || held.Version != inv.Head()
	}
	s.Objects = append(s.Objects, shownObject{inv.Slug(), o.Record.Site, o.Record.Pasture, o.Record.Decisions})
}

// keep keeps s for the next time.
func (s *shown) keep(k *Known) error {
	if s.Of == "" || s.older || k.asked.Load() {
		return nil
	}
	text, err := json.Marshal(s)
	if err != nil {
		return err
	}
	return k.a.Ledger.SetValue(shownKey, string(text))
}
