package mirror

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"linecamp/manifest"
	"linecamp/manifest/store"
)

// sealLog is the seal as one moment of a round sees it. It is replaced, never
// changed, when a line is added, so that a copy may still be writing the old
// one while the author goes on.
type sealLog struct {
	seal  *manifest.Seal
	lines []manifest.Line
	index map[string][]manifest.Digest // slug → digest of each sealed version's inventory
}

func newSealLog(archive string, s *manifest.Seal) (*sealLog, error) {
	l := &sealLog{seal: s, lines: s.Lines(), index: map[string][]manifest.Digest{}}
	for _, line := range l.lines {
		if line.What != manifest.LineVersion {
			continue
		}
		name, slug, err := manifest.ParseObjectID(line.Object)
		if err != nil {
			return nil, err
		}
		if name != archive {
			return nil, fmt.Errorf("the seal names %s, which is of another archive", line.Object)
		}
		if line.Version != len(l.index[slug])+1 {
			return nil, fmt.Errorf("the seal names version %d of %s after version %d", line.Version, slug, len(l.index[slug]))
		}
		l.index[slug] = append(l.index[slug], line.Inventory)
	}
	return l, nil
}

// head is the newest sealed version of slug, 0 for none.
func (l *sealLog) head(slug string) int { return len(l.index[slug]) }

// inventory is the digest the seal names for version n of slug.
func (l *sealLog) inventory(slug string, n int) (manifest.Digest, bool) {
	if n < 1 || n > len(l.index[slug]) {
		return manifest.Digest{}, false
	}
	return l.index[slug][n-1], true
}

// last is the newest line, a zero one where there is none.
func (l *sealLog) last() manifest.Line {
	if len(l.lines) == 0 {
		return manifest.Line{}
	}
	return l.lines[len(l.lines)-1]
}

// with is the log and one more line.
func (l *sealLog) with(line manifest.Line) (*sealLog, error) {
	seal := l.seal.Clone()
	line.N = seal.Len() + 1
	if err := seal.Append(line); err != nil {
		return nil, err
	}
	longer := &sealLog{seal: seal, lines: append(l.lines, line), index: l.index}
	if line.What == manifest.LineVersion {
		_, slug, err := manifest.ParseObjectID(line.Object)
		if err != nil {
			return nil, err
		}
		longer.index = make(map[string][]manifest.Digest, len(l.index)+1)
		for s, d := range l.index {
			longer.index[s] = d
		}
		longer.index[slug] = append(l.index[slug][:len(l.index[slug]):len(l.index[slug])], line.Inventory)
	}
	return longer, nil
}

// addLine appends one line to the seal on the holder, whose turn the caller
// has, then in the state folder, then wakes the copies that follow. Where the
// holder cannot take the line, the next copy takes the same one: whatever the
// holder then turns out to have, it is no other history. The ledger notes
// meanwhile where the line may already stand.
func (r *round) addLine(ctx context.Context, holder *copyRun, line manifest.Line) error {
	now, _, _ := r.look()
	longer, err := now.with(line)
	if err != nil {
		return err
	}
	var maybe []string // ids of the copies that may hold the line
	failed := map[*copyRun]error{}
	for c := holder; c != nil; c = r.nextHolder(failed) {
		if err = c.broken(); err != nil {
			failed[c] = err
			continue
		}
		maybe = append(maybe, c.ID)
		if err := r.noteSealing(maybe); err != nil {
			return err
		}
		if err = c.takeLine(ctx, longer, c == holder); err == nil {
			break
		}
		if ctx.Err() != nil {
			return err
		}
		if c.seals(ctx, now.seal.Len()) {
			maybe = maybe[:len(maybe)-1]
		}
		failed[c] = err
		if errors.Is(err, store.ErrConflict) {
			break // someone else writes there: a person has to look
		}
	}
	if err != nil {
		return errors.Join(failed[holder], r.Ledger.SetValue(sealingKey, strings.Join(maybe, " ")))
	}
	for c, err := range failed {
		c.fail(err)
	}
	if err := r.Cache.PutSeal(longer.seal); err != nil {
		return fmt.Errorf("caching the seal: %w", err)
	}
	r.publish(longer)
	return r.Ledger.SetValue(sealingKey, "")
}

// takeLine writes the seal on one copy, on its turn.
func (c *copyRun) takeLine(ctx context.Context, log *sealLog, mine bool) error {
	if !mine {
		c.turn.Lock()
		defer c.turn.Unlock()
	}
	if err := c.broken(); err != nil {
		return err
	}
	return c.putSeal(ctx, log.seal)
}

// noteSealing notes in the ledger which copies may hold a line of the seal that
// nobody else knows. It must outlive a power cut: they may be away then.
func (r *round) noteSealing(ids []string) error {
	if err := r.Ledger.SetValue(sealingKey, strings.Join(ids, " ")); err != nil {
		return err
	}
	if len(r.copies) > 1 {
		return r.syncLedger()
	}
	return nil
}

// sealingKey is where the ledger notes the copies that are being given a line of
// the seal. As long as one stands there, it may hold a line nobody else knows,
// and another line with the same number would make two histories.
const sealingKey = "seal being written"

// seals reports whether the copy's seal still has just n lines after a line
// could not be added. A drive can tell; a write to a bucket may still arrive.
func (c *copyRun) seals(ctx context.Context, n int) bool {
	if c.Kind != "drive" {
		return false
	}
	s, err := store.ReadSeal(ctx, c.Root)
	return err == nil && s.Len() <= n
}

// unsealed waits for the copies that may hold a line of the seal nobody else has.
// Once they can be read, their line is in the log.
func (r *round) unsealed() error {
	ids, _, err := r.Ledger.Value(sealingKey)
	if err != nil || ids == "" {
		return err
	}
	for _, c := range r.copies {
		if slices.Contains(strings.Fields(ids), c.ID) && !c.usable() {
			reason := fmt.Sprintf("%s "+holdsALine+"; %s", c.Name, c.wayOn())
			r.wait("", reason, true)
			r.heldUp(HeldUp{Copy: c.Name, Reason: reason})
			return errHoldOff
		}
	}
	return r.Ledger.SetValue(sealingKey, "")
}

// write adds one line on this copy's turn.
func (c *copyRun) write(ctx context.Context, line manifest.Line) error {
	c.turn.Lock()
	defer c.turn.Unlock()
	if err := c.broken(); err != nil {
		return err
	}
	err := c.r.addLine(ctx, c, line)
	if err != nil && ctx.Err() == nil {
		c.fail(err)
	}
	return err
}

// publish puts a longer log in place and wakes the copies that follow.
func (r *round) publish(l *sealLog) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.log = l
	close(r.grown)
	r.grown = make(chan struct{})
}

// endAuthoring tells the copies that follow that no more versions come.
func (r *round) endAuthoring() {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.authored = true
	close(r.grown)
	r.grown = make(chan struct{})
}

// look returns the log as it stands, a channel that closes at its next change,
// and whether authoring is over.
func (r *round) look() (*sealLog, <-chan struct{}, bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.log, r.grown, r.authored
}

// sealed is the digest the seal names for version n of slug.
func (r *round) sealed(slug string, n int) (manifest.Digest, bool) {
	l, _, _ := r.look()
	return l.inventory(slug, n)
}
