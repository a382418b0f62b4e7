package late

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"linecamp/daemon/authority"
	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
)

// shelf is what one copy keeps of the logs of other histories. The ledger notes it, so
// that a round sees without a request whether a copy lacks one that another has: the two
// may come within reach together only years after the line that names the log.
type shelf struct {
	listed bool // else there may be more
	has    map[manifest.Digest]bool
	named  []manifest.Digest // logs that lines of the archive's log name
	upTo   int               // lines looked at
}

func shelfKey(copyID string) string { return "late logs " + copyID }

// isListed is the word in the note of a copy that was listed.
const isListed = "listed"

// with hands f a copy's shelf, and notes it if f changed it.
func (o *Others) with(id string, f func(s *shelf) (changed bool)) error {
	o.mu.Lock()
	defer o.mu.Unlock()
	s := o.shelves[id]
	if s == nil {
		noted, _, err := o.Notes.Value(shelfKey(id))
		if err != nil {
			return err
		}
		s = &shelf{has: map[manifest.Digest]bool{}}
		for _, word := range strings.Fields(noted) {
			if d, err := manifest.ParseDigest(word); err == nil {
				s.has[d] = true
			} else if word == isListed {
				s.listed = true
			}
		}
		if o.shelves == nil {
			o.shelves = map[string]*shelf{}
		}
		o.shelves[id] = s
	}
	if !f(s) {
		return nil
	}
	var words []string
	for d := range s.has {
		words = append(words, d.String())
	}
	slices.Sort(words)
	if s.listed {
		words = append(words, isListed)
	}
	return o.Notes.SetValue(shelfKey(id), strings.Join(words, " "))
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
	return o.with(to.ID, func(s *shelf) bool {
		s.has[d] = true
		return true
	})
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
// one in reach has it. What none has comes in the first round with one that does.
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
		if text, err := o.find(ctx, copies, to.ID, d); err != nil {
			return err
		} else if text != nil {
			if err := o.Put(ctx, to, text); err != nil {
				return err
			}
		}
	}
	return nil
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
		if text, err := store.LateFile(ctx, c.Root, d); err == nil || ctx.Err() != nil {
			return text, ctx.Err()
		}
	}
	return nil, nil
}
