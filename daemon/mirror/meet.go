package mirror

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"slices"
	"strconv"
	"strings"
	"sync"

	"linecamp/manifest"
	"linecamp/manifest/store"
)

// meet opens the round: it reads every copy's seal, settles which is the
// longest, and learns which versions each copy has.
func (r *round) meet(ctx context.Context) error {
	local, err := r.Cache.Seal()
	if errors.Is(err, fs.ErrNotExist) {
		local, err = manifest.DecodeSeal(nil)
	}
	if err != nil {
		return fmt.Errorf("reading the seal in the state folder: %w", err)
	}
	// First, so that what another recorded after this look is noticed before
	// anything is recorded here.
	if err := r.readAuthors(ctx); err != nil {
		return err
	}
	seals := make([]*manifest.Seal, len(r.copies))
	var reading sync.WaitGroup
	for i, c := range r.copies {
		if c.usable() {
			reading.Go(func() {
				s, err := c.readSeal(ctx, local)
				if err != nil {
					c.fail(err)
				}
				seals[i] = s
			})
		}
	}
	reading.Wait()
	if err := ctx.Err(); err != nil {
		return err
	}

	best := r.longest(local, seals)
	for i, c := range r.copies {
		if s := seals[i]; s != nil && !best.Extends(s) {
			c.astray = !s.Rotted(best)
			c.fail(r.strayed(c, best))
		}
	}
	if best.Len() > local.Len() {
		// Another state of this archive got further than ours: whatever we
		// knew about the other copies may be old as well.
		for _, c := range r.copies {
			if err := Unread(r.Ledger, c.ID); err != nil {
				return err
			}
		}
		if err := r.Cache.PutSeal(best); err != nil {
			return fmt.Errorf("caching the seal: %w", err)
		}
	}
	if r.log, err = newSealLog(r.Archive, best); err != nil {
		return err
	}
	for _, c := range r.copies {
		if !c.usable() {
			continue
		}
		if err := c.learn(ctx); err != nil {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			c.fail(err)
			continue
		}
		if err := MarkRead(r.Ledger, c.ID); err != nil {
			return err
		}
	}
	return r.forgetRecords()
}

// longest is the longest of the seals that go on from ours. Where two of them go
// different ways, and ours is too short to tell (the state folder was lost),
// the one whose copy names the later epoch is the archive's: a person decided.
// In the same epoch nobody did, and this machine's own comes first.
func (r *round) longest(local *manifest.Seal, seals []*manifest.Seal) *manifest.Seal {
	order := make([]int, len(seals))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int {
		a, b := r.authors[r.copies[i]].Author, r.authors[r.copies[j]].Author
		switch {
		case a.Epoch != b.Epoch || (a.Author == r.Author) == (b.Author == r.Author):
			return b.Epoch - a.Epoch
		case a.Author == r.Author:
			return -1
		}
		return 1
	})
	best := local
	for _, i := range order {
		if s := seals[i]; s != nil && s.Len() > best.Len() && s.Extends(best) {
			best = s
		}
	}
	return best
}

// strayed says what to do about a copy whose seal is not the beginning of ours:
// it rotted, or it goes another way.
func (r *round) strayed(c *copyRun, ours *manifest.Seal) error {
	if !c.astray {
		return errors.New("its seal is damaged; run `linecamp verify`, then `linecamp mend`")
	}
	if a := r.authors[c].Author; a.Author != r.Author && a.Epoch > lastEpoch(ours.Lines()) {
		return fmt.Errorf("the machine %s took this archive over, and the history recorded there goes another way than the one this machine recorded since; nothing is written there. To follow it, move this archive's state folder aside and run `linecamp mirror`: it then says which copies here have to be given a new root. Both histories stay readable with --from", a.Machine)
	}
	return errors.New("its seal tells another history than this archive's; it stays readable with --from, but give this copy a new root (`linecamp setup --add-copy`)")
}

// readKey is where the ledger notes that a copy was read once by this state.
func readKey(copyID string) string { return "read " + copyID }

// MarkRead notes that this machine's state has seen what the copy holds. Until
// every copy is marked, nothing is authored. A person who gives a copy up
// answers for what it holds; no round has it among its copies.
func MarkRead(l interface{ SetValue(key, value string) error }, copyID string) error {
	return l.SetValue(readKey(copyID), "yes")
}

// WasRead reports whether MarkRead noted the copy.
func WasRead(l interface {
	Value(key string) (string, bool, error)
}, copyID string) (bool, error) {
	v, _, err := l.Value(readKey(copyID))
	return v != "", err
}

// Unread makes this machine's state new to a copy again: what the copy holds is
// to be read before anything is authored. A machine that takes over does this
// for every copy, since the one before may have committed more than it sealed.
func Unread(l interface{ SetValue(key, value string) error }, copyID string) error {
	return errors.Join(l.SetValue(readKey(copyID), ""), l.SetValue(scanKey(copyID), ""))
}

// ReadAnew makes this machine's state new to a copy that was given up and is used
// again. The person who gave it up answered for what it holds, so nothing waits
// for it.
func ReadAnew(l interface{ SetValue(key, value string) error }, copyID string) error {
	return errors.Join(MarkRead(l, copyID), l.SetValue(scanKey(copyID), ""))
}

// readSeal reads the copy's seal. On S3 an unchanged open file is recognised by
// its ETag, so that a round with nothing new costs one request whatever the
// length of the log; the seal is then the beginning of ours.
func (c *copyRun) readSeal(ctx context.Context, local *manifest.Seal) (*manifest.Seal, error) {
	if n, ok := c.rememberedSeal(ctx); ok && n <= local.Len() {
		c.sealLen = n
		return nil, nil
	}
	s, err := store.ReadSeal(ctx, c.Root)
	if err != nil {
		return nil, fmt.Errorf("reading its seal: %w", err)
	}
	c.sealLen = s.Len()
	had, _, err := c.notedSeal()
	if err != nil {
		return nil, err
	}
	c.shrunk = s.Len() < had
	if local.Extends(s) && !c.shrunk { // else it is noted once it is whole again
		return s, c.rememberSeal(ctx, s)
	}
	return s, nil
}

func sealKey(copyID string) string { return "seal " + copyID }

// rememberSeal notes how many lines the copy's seal has, and the ETag of the file
// that a bucket appends to.
func (c *copyRun) rememberSeal(ctx context.Context, s *manifest.Seal) error {
	if s.Len() == 0 {
		return nil
	}
	etag := ""
	if c.Kind == "s3" {
		info, err := c.Root.Stat(ctx, manifest.SealFile(s.Files()-1))
		if err != nil {
			return fmt.Errorf("looking at its seal: %w", err)
		}
		etag = info.ETag
	}
	return c.r.Ledger.SetValue(sealKey(c.ID), strconv.Itoa(s.Len())+" "+etag)
}

// notedSeal is what rememberSeal noted last.
func (c *copyRun) notedSeal() (lines int, etag string, err error) { return notedSeal(c.r.Ledger, c.ID) }

func notedSeal(l valued, copyID string) (lines int, etag string, err error) {
	v, _, err := l.Value(sealKey(copyID))
	if err != nil {
		return 0, "", err
	}
	text, etag, _ := strings.Cut(v, " ")
	lines, _ = strconv.Atoi(text)
	return lines, etag, nil
}

// rememberedSeal is the number of lines the copy's seal still has, if its open
// file is the one last seen.
func (c *copyRun) rememberedSeal(ctx context.Context) (int, bool) {
	n, etag, err := c.notedSeal()
	if c.Kind != "s3" || err != nil || n == 0 || etag == "" || n%manifest.SealLines == 0 {
		return 0, false // a full file says nothing of the next one
	}
	info, err := c.Root.Stat(ctx, manifest.SealFile((n-1)/manifest.SealLines))
	return n, err == nil && info.ETag == etag
}

// learn finds which versions the copy has: from the ledger, or, where the
// ledger is new to it, from the copy itself.
func (c *copyRun) learn(ctx context.Context) error {
	scanned, ok, err := c.r.Ledger.Value(scanKey(c.ID))
	if err != nil {
		return err
	}
	if c.committed, err = c.r.Ledger.Committed(c.ID); err != nil {
		return err
	}
	if err := c.recall(); err != nil {
		return err
	}
	switch {
	case !ok || scanned == "" || c.shrunk:
		err = c.readAnew(ctx)
	case c.Kind == "drive":
		err = c.glance(ctx)
	default:
		err = c.look(ctx)
	}
	if err == nil {
		err = c.settleNoted(ctx)
	}
	if err != nil {
		return err
	}
	return c.stillGone(ctx)
}

func scanKey(copyID string) string { return "scanned " + copyID }

// scan reads the head of every object on the copy. Versions beyond the seal
// were committed by a round that ended before it could add their lines; they
// are noted, and the author adds the lines.
func (c *copyRun) scan(ctx context.Context) error {
	c.committed = map[string]int{}
	slugs, err := store.Objects(ctx, c.Root)
	if err != nil {
		return fmt.Errorf("listing its sites: %w", err)
	}
	for _, slug := range slugs {
		n := 0
		inv, settled, err := c.headOf(ctx, slug)
		switch {
		case errors.Is(err, store.ErrNoObject):
		case err != nil:
			return fmt.Errorf("reading %s: %w", slug, err)
		case inv.ID != manifest.ObjectID(c.r.Archive, slug):
			return fmt.Errorf("%s there says it is %q", slug, inv.ID)
		default:
			n = inv.Head()
			if want, ok := c.r.sealed(slug, n); ok && manifest.Sum(inv.Encode()) != want {
				c.forked[slug] = true
			}
			c.committed[slug] = n
			if err := c.r.Ledger.SetCommitted(c.ID, slug, n); err != nil {
				return err
			}
			if _, sealed := c.r.sealed(slug, n); !sealed {
				if err := c.r.addMark(mark{c.ID, slug, n}); err != nil {
					return err
				}
				continue
			}
			if !settled && !c.forked[slug] { // the round that committed it ended there
				if _, err := store.Settle(ctx, c.Root, slug); err != nil {
					return fmt.Errorf("finishing %s: %w", slug, err)
				}
			}
		}
		if c.Kind != "s3" {
			continue
		}
		// Content of a version that was never finished may lie in a bucket; the
		// version that takes its number must name it.
		for _, err := range c.Root.List(ctx, fmt.Sprintf("%s/v%d/content", slug, n+1)) {
			if err != nil {
				return fmt.Errorf("listing %s: %w", slug, err)
			}
			if err := c.r.addMark(mark{c.ID, slug, n + 1}); err != nil {
				return err
			}
			break
		}
	}
	return c.r.Ledger.SetValue(scanKey(c.ID), "yes")
}

// headOf is store.HeadSettled, once what another copy outran is out of the way,
// and less the versions that went while the root pair still shows them.
func (c *copyRun) headOf(ctx context.Context, slug string) (*manifest.Inventory, bool, error) {
	inv, settled, err := store.HeadSettled(ctx, c.Root, slug)
	if err != nil {
		return nil, false, err
	}
	if want, ok := c.r.sealed(slug, inv.Head()); ok && manifest.Sum(inv.Encode()) != want {
		if cleared, err := c.outrun(ctx, slug, inv.Head()); err != nil {
			return nil, false, err
		} else if cleared {
			return store.HeadSettled(ctx, c.Root, slug)
		}
	}
	n, err := c.newest(ctx, slug, inv.Head())
	switch {
	case err != nil || n == inv.Head():
		return inv, settled, err
	case n == 0:
		return nil, false, errors.Join(store.ErrNoObject, c.goBack(ctx, slug))
	}
	return inv.Until(n), true, c.goBack(ctx, slug)
}

// glance holds what the ledger says of a drive against the newest version folders
// there. What was there and is not any more is gone. A drive that has more was written to by a round whose lines in the ledger a power cut took,
// or by one after the day the state folder was put back to.
func (c *copyRun) glance(ctx context.Context) error {
	for _, slug := range slices.Sorted(maps.Keys(c.committed)) {
		if now, err := c.there(ctx, slug, sidecar(c.committed[slug])); err != nil {
			return err
		} else if !now {
			if err := c.lose(ctx, slug); err != nil {
				return err
			}
		}
	}
	slugs, err := store.Objects(ctx, c.Root)
	if err != nil {
		return fmt.Errorf("listing its sites: %w", err)
	}
	for _, slug := range slugs {
		if more, err := c.there(ctx, slug, sidecar(c.committed[slug]+1)); more || err != nil {
			if err != nil {
				return err
			}
			return c.scan(ctx)
		}
	}
	return nil
}

// isSealed checks that version n of slug on a copy is the one the seal names,
// by the digest its sidecar states. Another one is errForked if it agrees with
// itself, and else rot: store.ErrDamaged.
func isSealed(ctx context.Context, root store.Root, slug string, n int, want manifest.Digest) error {
	folder := fmt.Sprintf("%s/v%d/", slug, n)
	side, _, err := store.ReadSmall(ctx, root, folder+"inventory.json.sha256", 4096)
	if err != nil {
		return fmt.Errorf("reading version %d of %s: %w", n, slug, err)
	}
	hex, _, _ := strings.Cut(string(side), " ")
	if got, err := manifest.ParseDigest(hex); err == nil && got == want {
		return nil
	}
	inv, _, err := store.ReadSmall(ctx, root, folder+"inventory.json", manifest.MaxInventory)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("reading version %d of %s: %w", n, slug, err)
	}
	if err == nil && manifest.CheckSidecar(inv, side) == nil {
		return errForked
	}
	return fmt.Errorf("version %d of %s: %w", n, slug, store.ErrDamaged)
}
