package mirror

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"linecamp/daemon/attention"
	"linecamp/daemon/authority"
	"linecamp/daemon/mirror/report"
	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
)

// addLine appends one line to the seal on the holder, whose turn the caller
// has, then in the state folder, then wakes the copies that follow. Where the
// holder cannot take the line, the next copy takes the same one: whatever the
// holder then turns out to have, it is no other history. The ledger notes
// meanwhile where the line may already stand.
func (r *round) addLine(ctx context.Context, holder *copyRun, line seal.Line) error {
	now, _, _ := r.look()
	longer, err := now.With(line)
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
		if c.seals(ctx, now.Seal.Len()) {
			maybe = maybe[:len(maybe)-1]
		}
		failed[c] = err
		if errors.Is(err, store.ErrConflict) {
			break // someone else writes there: a person has to look
		}
	}
	if err != nil {
		return errors.Join(failed[holder], r.Ledger.SetValue(authority.SealingKey, strings.Join(maybe, " ")))
	}
	for c, err := range failed {
		c.fail(err)
	}
	if err := r.Cache.PutSeal(longer.Seal); err != nil {
		return fmt.Errorf("caching the seal: %w", err)
	}
	r.publish(longer)
	return r.Ledger.SetValue(authority.SealingKey, "")
}

// takeLine writes the seal on one copy, on its turn.
func (c *copyRun) takeLine(ctx context.Context, log *authority.Log, mine bool) error {
	if !mine {
		c.turn.Lock()
		defer c.turn.Unlock()
	}
	if err := c.broken(); err != nil {
		return err
	}
	return c.putSeal(ctx, log)
}

// noteSealing notes in the ledger which copies may hold a line of the seal that
// nobody else knows. It must outlive a power cut: they may be away then.
func (r *round) noteSealing(ids []string) error {
	if err := r.Ledger.SetValue(authority.SealingKey, strings.Join(ids, " ")); err != nil {
		return err
	}
	if len(r.copies) > 1 {
		return r.syncLedger()
	}
	return nil
}

// seals reports whether the copy's seal still has just n lines after a line
// could not be added. A drive can tell; a write to a bucket may still arrive.
func (c *copyRun) seals(ctx context.Context, n int) bool {
	if !c.Can().Local {
		return false
	}
	s, err := store.ReadSeal(ctx, c.Root)
	return err == nil && s.Len() <= n
}

// unsealed waits for the copies that may hold a line of the seal nobody else has.
// Once they can be read, their line is in the log.
func (r *round) unsealed() error {
	ids, _, err := r.Ledger.Value(authority.SealingKey)
	if err != nil || ids == "" {
		return err
	}
	for _, c := range r.copies {
		if slices.Contains(strings.Fields(ids), c.ID) && !c.usable() {
			reason := fmt.Sprintf("%s may hold a line of the seal that no other copy has; %s", c.Name, c.wayOn())
			r.wait(attention.RecordingHeld, "", reason, true)
			r.heldUp(report.HeldUp{Copy: c.Name, Reason: reason})
			return authority.ErrHoldOff
		}
	}
	return r.Ledger.SetValue(authority.SealingKey, "")
}

// write adds one line on this copy's turn.
func (c *copyRun) write(ctx context.Context, line seal.Line) error {
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
func (r *round) publish(l *authority.Log) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.log = l
	close(r.grown)
	r.grown = make(chan struct{})
}

// endAuthoring tells the copies that follow that no more versions come.
func (r *round) endAuthoring() {
	r.planned()
	r.mu.Lock()
	defer r.mu.Unlock()
	r.authored = true
	close(r.grown)
	r.grown = make(chan struct{})
}

// look returns the log as it stands, a channel that closes at its next change,
// and whether authoring is over.
func (r *round) look() (*authority.Log, <-chan struct{}, bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.log, r.grown, r.authored
}

// sealed is the digest the seal names for version n of slug.
func (r *round) sealed(slug string, n int) (manifest.Digest, bool) {
	l, _, _ := r.look()
	return l.Inventory(slug, n)
}
