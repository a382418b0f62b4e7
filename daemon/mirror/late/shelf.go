package late

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"slices"
	"strings"

	"linecamp/daemon/authority"
	"linecamp/daemon/mirror/lost"
	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/verify"
)

// shelf is what one copy keeps of the logs of other histories. The ledger notes it, so
// that a round sees without a request whether a copy lacks one that another has: the two
// may come within reach together only years after the line that names the log.
type shelf struct {
	listed bool // else there may be more
	has    map[manifest.Digest]bool
	went   map[manifest.Digest]bool // kept once, and not whole any more; true where nothing of it is there
	named  []manifest.Digest        // logs that lines of the archive's log name
	upTo   int                      // lines looked at
}

func shelfKey(copyID string) string { return "late logs " + copyID }

// The words in the note of a copy, beside the logs that it has: it was listed, and before
// a log, that nothing of it is there, or that it rotted.
const (
	isListed = "listed"
	isGone   = "-"
	isRotten = "~"
)

func readShelf(l authority.Notes, copyID string) (*shelf, error) {
	noted, _, err := l.Value(shelfKey(copyID))
	if err != nil {
		return nil, err
	}
	s := &shelf{has: map[manifest.Digest]bool{}, went: map[manifest.Digest]bool{}}
	for _, word := range strings.Fields(noted) {
		if d, err := manifest.ParseDigest(strings.TrimLeft(word, isGone+isRotten)); err != nil {
			s.listed = s.listed || word == isListed
		} else if gone := strings.HasPrefix(word, isGone); gone || strings.HasPrefix(word, isRotten) {
			s.went[d] = gone
		} else {
			s.has[d] = true
		}
	}
	return s, nil
}

func (s *shelf) note(l authority.Notes, copyID string) error {
	var words []string
	for d := range s.has {
		words = append(words, d.String())
	}
	for d, gone := range s.went {
		mark := isRotten
		if gone {
			mark = isGone
		}
		words = append(words, mark+d.String())
	}
	slices.Sort(words)
	if s.listed {
		words = append(words, isListed)
	}
	return l.SetValue(shelfKey(copyID), strings.Join(words, " "))
}

// Had tells which logs of other histories a copy is known to have kept, whatever became
// of them since.
func Had(l authority.Notes, copyID string) (map[manifest.Digest]bool, error) {
	s, err := readShelf(l, copyID)
	if err != nil {
		return nil, err
	}
	for d := range s.went {
		s.has[d] = true
	}
	return s.has, nil
}

// Went notes which of them a check found damaged, or gone: the next round puts them there
// again.
func Went(l authority.Notes, copyID string, found []verify.Damage) error {
	s, err := readShelf(l, copyID)
	if err != nil {
		return err
	}
	changed := false
	for _, damage := range found {
		if d, ok := store.LateDigest(damage.Content); ok {
			delete(s.has, d)
			s.went[d], changed = damage.Kind == verify.Gone, true
		}
	}
	if !changed {
		return nil
	}
	return s.note(l, copyID)
}

// shelf is a copy's, as the ledger has it. The caller holds mu.
func (o *Others) shelf(id string) (*shelf, error) {
	if s := o.shelves[id]; s != nil {
		return s, nil
	}
	s, err := readShelf(o.Notes, id)
	if err != nil {
		return nil, err
	}
	if o.shelves == nil {
		o.shelves = map[string]*shelf{}
	}
	o.shelves[id] = s
	return s, nil
}

// with hands f a copy's shelf, and notes it if f changed it.
func (o *Others) with(id string, f func(s *shelf) (changed bool)) error {
	o.mu.Lock()
	defer o.mu.Unlock()
	s, err := o.shelf(id)
	if err != nil || !f(s) {
		return err
	}
	return s.note(o.Notes, id)
}

// Read takes in the logs of other histories that a copy keeps beside its own; ours is
// the archive's. One that differs as by rot is what a mend replaced, and no history; nor
// is one that does not read and names nothing that ours does not.
func (o *Others) Read(ctx context.Context, from authority.Copy, ours *seal.Seal) error {
	texts, err := o.list(ctx, from)
	for _, text := range texts {
		log, err := seal.Decode([][]byte{text})
		if err == nil && !ours.Extends(log) && !(log.Rotted(ours) && log.Len() <= ours.Len()) || err != nil && more(text, ours) {
			o.add(text, from.Name)
		}
	}
	return err
}

// more reports whether a text names anything that a log does not.
func more(text []byte, log *seal.Seal) bool {
	known := seal.Digests(log.Text(0, log.Len()))
	for d := range seal.Digests(text) {
		if !known[d] {
			return true
		}
	}
	return false
}

// list reads all that a copy keeps, and notes it. What cannot be read there is put once
// more, if another copy has it.
func (o *Others) list(ctx context.Context, from authority.Copy) (texts [][]byte, err error) {
	all, has := true, map[manifest.Digest]bool{}
	for text, err := range store.LateFiles(ctx, from.Root) {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		if all = all && err == nil; err == nil {
			texts = append(texts, text)
			has[manifest.Sum(text)] = true
		}
	}
	return texts, o.with(from.ID, func(s *shelf) bool {
		for d := range s.has {
			if !has[d] {
				s.went[d] = false
			}
		}
		maps.DeleteFunc(s.went, func(d manifest.Digest, _ bool) bool { return has[d] })
		s.has, s.listed = has, all
		return true
	})
}

// Put keeps a log of another history on a copy, unless it is there.
func (o *Others) Put(ctx context.Context, to authority.Copy, text []byte) error {
	d := manifest.Sum(text)
	has, err := o.has(ctx, to, d, false)
	if err != nil || has {
		return err
	}
	if err := store.PutLateFile(ctx, to.Root, text); err != nil {
		return fmt.Errorf("keeping the seal of another history there: %w", err)
	}
	went := false
	if err := o.with(to.ID, func(s *shelf) bool {
		_, went = s.went[d]
		delete(s.went, d)
		s.has[d] = true
		return true
	}); err != nil || !went {
		return err
	}
	return o.Notes.DropDamage(to.ID, "", []string{store.LateKey(d)})
}

// has reports whether a copy keeps that log. If what it keeps was never noted, it may be
// asked.
func (o *Others) has(ctx context.Context, on authority.Copy, d manifest.Digest, ask bool) (has bool, err error) {
	listed := false
	look := func(s *shelf) bool {
		has, listed = s.has[d], s.listed
		return false
	}
	if err := o.with(on.ID, look); err != nil || has || listed || !ask {
		return has, err
	}
	if _, err := o.list(ctx, on); err != nil { // an earlier program noted nothing
		return false, err
	}
	return has, o.with(on.ID, look)
}

// Bring puts every log that lines of the archive's log name on a copy, as far as another
// one in reach has it. What none has comes in the first round with one that does, and if
// all that ever had it lost it, that is said until [Told].
func (o *Others) Bring(ctx context.Context, to authority.Copy, lines []seal.Line, copies []authority.Copy) error {
	var named []manifest.Digest
	if err := o.with(to.ID, func(s *shelf) bool {
		for ; s.upTo < len(lines); s.upTo++ {
			if l := lines[s.upTo]; l.What == seal.Late {
				s.named = append(s.named, l.Log)
			}
		}
		named = s.named
		return false
	}); err != nil {
		return err
	}
	for _, d := range named {
		if has, err := o.has(ctx, to, d, true); err != nil {
			return err
		} else if has {
			continue
		}
		text, err := o.find(ctx, copies, to.ID, d)
		if err == nil && text != nil {
			err = o.Put(ctx, to, text)
		} else if err == nil {
			err = o.nowhere(copies, d)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// nowhere tells of a log that is gone from all copies that had it, as far as checks and
// rounds found. Nothing else tells of it, so no copy's note of it is dropped before what
// is told here is kept: a round that is cut short tells it twice, and not never.
func (o *Others) nowhere(copies []authority.Copy, d manifest.Digest) error {
	o.mu.Lock()
	defer o.mu.Unlock()
	is := false
	for _, c := range copies {
		s, err := o.shelf(c.ID)
		if err != nil {
			return err
		}
		gone, went := s.went[d]
		if is = is || gone; !s.listed || s.has[d] || went && !gone {
			return nil
		}
	}
	if is {
		o.Tell(Nowhere(d))
	}
	return nil
}

// Nowhere is what a person is told of a log that no copy has any more.
func Nowhere(d manifest.Digest) string {
	return fmt.Sprintf("the log (%.8s) of another history that this archive met once is %s, so a seal printed from that history cannot be checked any more; if a copy turns up that may have it, connect it and change nothing there", d, lost.Told)
}

// Told forgets that a copy had the logs of which a person was told by [Nowhere]. Call it
// for each copy once that is kept for the person.
func Told(l Notes, copyID string, kept func(said string) bool) error {
	s, err := readShelf(l, copyID)
	if err != nil {
		return err
	}
	var keys []string
	for d, gone := range s.went {
		if gone && kept(Nowhere(d)) {
			delete(s.went, d)
			keys = append(keys, store.LateKey(d))
		}
	}
	if len(keys) == 0 {
		return nil
	}
	if err := l.DropDamage(copyID, "", keys); err != nil {
		return err
	}
	return s.note(l, copyID)
}

// find is the log of that digest, from any copy but the one given by its id; nil for none.
func (o *Others) find(ctx context.Context, copies []authority.Copy, not string, d manifest.Digest) ([]byte, error) {
	for _, log := range o.Logs {
		if log.Digest == d {
			return log.Text, nil
		}
	}
	for _, c := range copies {
		if c.ID == not || !c.CanRead() {
			continue
		}
		if has, err := o.has(ctx, c, d, true); err != nil {
			return nil, err
		} else if !has {
			continue
		}
		text, err := store.LateFile(ctx, c.Root, d)
		if err == nil || ctx.Err() != nil {
			return text, ctx.Err()
		}
		if gone := errors.Is(err, fs.ErrNotExist); gone || errors.Is(err, store.ErrDamaged) {
			if err := o.with(c.ID, func(s *shelf) bool {
				delete(s.has, d)
				s.went[d] = gone
				return true
			}); err != nil {
				return nil, err
			}
		}
	}
	return nil, nil
}
