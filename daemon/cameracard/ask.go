package cameracard

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"sync"

	"golang.org/x/sync/errgroup"

	"linecamp/daemon/archive"
	"linecamp/daemon/intake"
	"linecamp/daemon/reach"
	"linecamp/manifest"
	"linecamp/verify"
)

// asking is how many files a copy is asked for at once: a link's latency is
// hidden by several.
const asking = 8

// counted is what is remembered of a stored file on one copy, where a card's
// file may be counted on it.
func (k *kept) counted(copy int, s stored, d manifest.Digest) (verify.Held, bool) {
	is, ok := k.held[copy][s.object][s.path]
	return is, ok && is.SHA256 == d && !k.damaged[k.copies[copy].name+"\x00"+s.object+"\x00"+s.path]
}

// ask asks every copy within reach for each file of a card that is to be counted
// on it. What is remembered says that a copy had it; only the copy itself can say
// that it has it now.
func (k *kept) ask(ctx context.Context, card *intake.Card, p archive.Progress) error {
	k.answers = make([]map[stored]string, len(k.copies))
	var mu sync.Mutex
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(asking)
	done := 0
	for i := range k.copies {
		k.answers[i] = map[stored]string{}
		h := k.reach.All[i]
		asked := map[stored]bool{}
		for _, f := range card.Files {
			for _, s := range k.recorded[f.SHA256] {
				is, ok := k.counted(i, s, f.SHA256)
				if !ok || asked[s] {
					continue
				}
				asked[s] = true
				if h.Root == nil {
					mu.Lock()
					k.answers[i][s] = "cannot be asked now whether it still has it"
					mu.Unlock()
					continue
				}
				g.Go(func() error {
					why, err := k.askFor(ctx, h, s, is)
					mu.Lock()
					defer mu.Unlock()
					k.answers[i][s] = why
					done++
					p.Tell("copies", int64(done), 0)
					return err
				})
			}
		}
	}
	return g.Wait()
}

// askFor asks one copy for one file: a bucket for its checksum, a drive for its
// size. It says why the file must not be counted on, "" where it is there. What
// is gone is no longer remembered as kept, and goes on record as damage.
func (k *kept) askFor(ctx context.Context, h *reach.Copy, s stored, is verify.Held) (why string, err error) {
	info, err := h.Root.Stat(ctx, s.object+"/"+s.path)
	switch {
	case ctx.Err() != nil:
		return "", ctx.Err()
	case errors.Is(err, fs.ErrNotExist):
		if _, ierr := h.Root.Identity(ctx); ierr != nil {
			return "cannot be asked now whether it still has it", ctx.Err() // it went away just now
		}
		return "no longer has it, although it did", k.gone(h, s, is)
	case err != nil:
		return "cannot be asked now whether it still has it", nil
	case info.Size != is.Size || !info.SHA256.IsZero() && info.SHA256 != is.SHA256:
		return "has other bytes in its place", nil
	case h.Can().Tagged && info.SHA256.IsZero() && info.ETag != is.ETag:
		return "has something in its place that changed since", nil
	}
	return "", nil
}

// gone puts on record that a file went from a copy.
func (k *kept) gone(h *reach.Copy, s stored, is verify.Held) error {
	ledger := k.archive.Ledger
	if err := ledger.Remember(h.ID, s.object, []verify.Held{{Path: s.path, Files: is.Files}}); err != nil {
		return fmt.Errorf("the ledger: %w", err)
	}
	d := verify.Damage{Site: s.object, Path: s.object + "/" + s.path, Kind: verify.Gone, Detail: "it is not on this copy", Object: s.object, Content: s.path}
	if inv, rec, err := k.archive.Cached(s.object); err == nil {
		d.Site = verify.Site{Object: s.object, Site: rec.Site, Pasture: rec.Pasture}.Label()
		for p, digest := range inv.State(inv.Head()) {
			if digest == is.SHA256 {
				d.Path, d.Version = verify.WorkingPath(rec, p), inv.Head()
			}
		}
	}
	if err := ledger.AddDamage(h.ID, []verify.Damage{d}); err != nil {
		return fmt.Errorf("the ledger: %w", err)
	}
	return nil
}
