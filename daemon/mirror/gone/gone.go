// Package gone knows what a copy holds, and finds what went from it: nothing of
// linecamp removes anything, so what was there once and is absent now is damage. A
// round makes a [Holds] for each copy and calls [Holds.Learn] before it brings
// anything there; [Had] is what a check holds a copy against.
//
// glance, for a drive, and look, for a bucket, are what a round with nothing new
// does (look.go); where the ledger is new to the copy, or its seal became shorter,
// all that is known to have been there is looked for (readAnew).
package gone

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

	"linecamp/daemon/authority"
	"linecamp/daemon/ledger"
	"linecamp/daemon/mirror/late"
	"linecamp/daemon/mirror/sites"
	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/verify"
)

// Gone is what a copy held once and does not hold any more, although nothing of
// linecamp removes anything. Whole versions at the end of a site's history are
// sent again in the same round, as if they had never been there; what is lacking
// in between is damage on record, and mend sends it again.
type Gone struct {
	Object string `json:"object"`
	Site   string `json:"site"`
	From   int    `json:"from,omitempty"` // the versions that went; 0 where only files of them did
	To     int    `json:"to,omitempty"`
	Files  int    `json:"files"` // people's files among it
	Again  bool   `json:"sent_again"`
}

// Holds is what one copy is known to hold, during a round.
type Holds struct {
	Copy   authority.Copy
	Ledger *ledger.Ledger
	Sites  *sites.Catalogue
	Block  func(slug, why string) // the site cannot go on there in this round

	mu    sync.Mutex
	has   map[string]int // slug → newest version committed there
	lost  map[string]int // slug → newest version that was there, where that went
	found []Gone
}

// ReasonManifest is why a site whose manifest rotted on a copy does not go on there.
const ReasonManifest = "its manifest there is damaged; run `linecamp verify` and `linecamp mend`"

// Has is the newest version of slug committed on the copy, 0 for none.
func (c *Holds) Has(slug string) int {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.has[slug]
}

// SetHas notes, here and in the ledger, that the copy has version n.
func (c *Holds) SetHas(slug string, n int) error {
	if err := c.Ledger.SetCommitted(c.Copy.ID, slug, n); err != nil {
		return err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.has == nil {
		c.has = map[string]int{}
	}
	c.has[slug] = n
	return nil
}

// Clear forgets for this round what the copy has: all of it is read again.
func (c *Holds) Clear() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.has = map[string]int{}
}

// Gone is what went from the copy, for the report.
func (c *Holds) Gone() []Gone {
	c.mu.Lock()
	defer c.mu.Unlock()
	all := slices.Clone(c.found)
	for i, g := range all {
		all[i].Again = g.To > 0 && c.has[g.Object] >= g.To
	}
	return all
}

// SentAgain forgets the damage that a version put right which was sent again, with
// content at the given paths.
func (c *Holds) SentAgain(slug string, version int, content []string) error {
	c.mu.Lock()
	_, lost := c.lost[slug]
	c.mu.Unlock()
	if !lost {
		return nil
	}
	v := fmt.Sprintf("v%d/", version)
	return c.Ledger.DropDamage(c.Copy.ID, slug, append([]string{v + "inventory.json", v + "inventory.json.sha256"}, content...))
}

// Learn finds which versions the copy has: from the ledger, or, where the ledger is
// new to it, from the copy itself, which scan reads. isShort tells that the copy's
// seal has fewer lines than it had.
func (c *Holds) Learn(ctx context.Context, isShort bool, scan func(context.Context) error) error {
	scanned, err := authority.WasScanned(c.Ledger, c.Copy.ID)
	if err != nil {
		return err
	}
	if c.has, err = c.Ledger.Committed(c.Copy.ID); err != nil {
		return err
	}
	if c.lost, err = lostFrom(c.Ledger, c.Copy.ID); err != nil {
		return err
	}
	switch {
	case !scanned || isShort:
		err = c.readAnew(ctx, isShort, scan)
	case c.Copy.Can().Local:
		err = c.glance(ctx, scan)
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

func goneKey(copyID string) string { return "gone " + copyID }

// Had tells the newest version of each object that a copy is known to have held, how
// many lines its seal had, and which logs of other histories it kept, whatever became
// of them since.
func Had(l interface {
	authority.Notes
	Committed(copyID string) (map[string]int, error)
}, copyID string) (had map[string]int, lines int, logs map[manifest.Digest]bool, err error) {
	if had, err = l.Committed(copyID); err != nil {
		return nil, 0, nil, err
	}
	lost, err := lostFrom(l, copyID)
	if err != nil {
		return nil, 0, nil, err
	}
	if logs, err = late.Had(l, copyID); err != nil {
		return nil, 0, nil, err
	}
	for slug, n := range lost {
		had[slug] = max(had[slug], n)
	}
	tail, err := authority.NotedSeal(l, copyID)
	return had, tail.Lines, logs, err
}

// lostFrom reads what the ledger notes as gone and not sent again yet.
func lostFrom(l authority.Notes, copyID string) (map[string]int, error) {
	v, _, err := l.Value(goneKey(copyID))
	if err != nil {
		return nil, err
	}
	lost := map[string]int{}
	for line := range strings.Lines(v) {
		slug, to, _ := strings.Cut(strings.TrimSpace(line), " ")
		if n, err := strconv.Atoi(to); err == nil {
			lost[slug] = n
		}
	}
	return lost, nil
}

// KeepLost notes what is gone, less what has been sent again.
func (c *Holds) KeepLost() error {
	c.mu.Lock()
	maps.DeleteFunc(c.lost, func(slug string, to int) bool { return c.has[slug] >= to })
	var b strings.Builder
	for _, slug := range slices.Sorted(maps.Keys(c.lost)) {
		fmt.Fprintf(&b, "%s %d\n", slug, c.lost[slug])
	}
	c.mu.Unlock()
	if was, _, err := c.Ledger.Value(goneKey(c.Copy.ID)); err != nil || was == b.String() {
		return err
	}
	return c.Ledger.SetValue(goneKey(c.Copy.ID), b.String())
}

// Forget has a copy no longer be known to hold more than keep versions of each site,
// nor any line of its seal: another history governs, and what it does not have may
// give way.
func Forget(l *ledger.Ledger, copyID string, keep func(slug string) int) error {
	had, _, _, err := Had(l, copyID)
	if err != nil {
		return err
	}
	has, err := l.Committed(copyID)
	if err != nil {
		return err
	}
	c := Holds{Ledger: l, lost: map[string]int{}, has: map[string]int{}}
	c.Copy.ID = copyID
	for slug, n := range had {
		if n > has[slug] {
			c.lost[slug] = min(n, keep(slug))
		}
		if has[slug] > keep(slug) {
			if err := l.ForgetVersions(copyID, slug, keep(slug)+1); err != nil {
				return err
			}
		}
		c.has[slug] = min(has[slug], keep(slug))
	}
	return errors.Join(c.KeepLost(), authority.ForgetSeal(l, copyID))
}

// readAnew reads what a copy holds, where the ledger is new to it or its seal is
// shorter than it was: a person, or a service, put it back to an earlier state.
// All that is known to have been there is looked for.
func (c *Holds) readAnew(ctx context.Context, isShort bool, scan func(context.Context) error) error {
	had := maps.Clone(c.has)
	c.has = map[string]int{}
	for slug, n := range had {
		c.lost[slug] = max(c.lost[slug], n)
	}
	if err := c.KeepLost(); err != nil { // before anything is forgotten
		return err
	}
	if isShort && !c.Copy.Can().Tagged { // nothing tells whether the files are those that were read back
		if err := c.Ledger.ForgetCopy(c.Copy.ID); err != nil {
			return err
		}
	}
	if err := scan(ctx); err != nil {
		return err
	}
	for _, slug := range slices.Sorted(maps.Keys(had)) {
		if now := c.has[slug]; now < had[slug] {
			if err := c.withdraw(slug, now); err != nil {
				return err
			}
		}
	}
	return c.KeepLost()
}

// lose finds out how much of a site is still on the copy whose newest version
// there has gone.
func (c *Holds) lose(ctx context.Context, slug string) error {
	now, err := c.Newest(ctx, slug, c.has[slug]-1)
	if err != nil {
		return err
	}
	c.lost[slug] = max(c.lost[slug], c.has[slug])
	c.has[slug] = now
	if err := c.KeepLost(); err != nil { // before anything is forgotten
		return err
	}
	if err := c.withdraw(slug, now); err != nil {
		return err
	}
	return c.GoBack(ctx, slug)
}

// Newest is the newest version of a site that is there, of those up to n.
func (c *Holds) Newest(ctx context.Context, slug string, n int) (int, error) {
	for ; n > 0; n-- {
		if there, err := c.There(ctx, slug, sidecar(n)); there || err != nil {
			return n, err
		}
	}
	return 0, nil
}

// GoBack has a drive's root pair show what is there, so that what went can be
// built again.
func (c *Holds) GoBack(ctx context.Context, slug string) error {
	d, ok := c.Copy.Root.(interface {
		GoBack(ctx context.Context, object string) error
	})
	if !ok {
		return nil
	}
	if err := d.GoBack(ctx, slug); err != nil && ctx.Err() == nil {
		c.Block(slug, ReasonManifest)
	}
	return ctx.Err()
}

// GiveWay moves a site's versions from n on out of the way of the archive's, which has
// every byte of them elsewhere. The ledger forgets them first, so that after a crash
// they are found there anew, or not at all, and never called gone.
func (c *Holds) GiveWay(ctx context.Context, slug string, n int) error {
	d, ok := c.Copy.Root.(store.Yielding)
	if !ok {
		return fmt.Errorf("nothing gives way on %s", c.Copy.Name)
	}
	c.mu.Lock()
	err := c.withdraw(slug, n-1)
	c.mu.Unlock()
	if err == nil {
		err = c.Ledger.Sync()
	}
	if err != nil {
		return err
	}
	return d.GiveWay(ctx, slug, n)
}

func sidecar(n int) string { return fmt.Sprintf("v%d/inventory.json.sha256", n) }

// There asks the copy for a key of a site.
func (c *Holds) There(ctx context.Context, slug, key string) (bool, error) {
	_, err := c.Copy.Root.Stat(ctx, slug+"/"+key)
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, fmt.Errorf("looking at %s: %w", slug, err)
	}
	return true, nil
}

// withdraw takes back what is remembered of the versions beyond now.
func (c *Holds) withdraw(slug string, now int) error {
	if err := c.Ledger.ForgetVersions(c.Copy.ID, slug, now+1); err != nil {
		return fmt.Errorf("ledger: %w", err)
	}
	if now > 0 {
		c.has[slug] = now
	} else {
		delete(c.has, slug)
	}
	return nil
}

// stillGone puts into the report what is gone, whenever it was found.
func (c *Holds) stillGone(ctx context.Context) error {
	for _, slug := range slices.Sorted(maps.Keys(c.lost)) {
		g := Gone{Object: slug, Site: slug, From: c.has[slug] + 1, To: c.lost[slug]}
		if g.From > g.To {
			continue
		}
		o, err := c.Sites.Get(ctx, slug)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err == nil {
			g.Site = o.Label()
			people := o.Inv.Files()
			for n := g.From; n <= min(g.To, o.Head()); n++ {
				for _, d := range o.Inv.Paths(n) {
					g.Files += people[d]
				}
			}
		}
		c.found = append(c.found, g)
	}
	return nil
}

// damaged puts on record that single files of a site have gone from the copy.
func (c *Holds) damaged(ctx context.Context, slug string, gone []string, held map[string]verify.Held) error {
	g := Gone{Object: slug, Site: slug}
	o, err := c.Sites.Get(ctx, slug)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	var damage []verify.Damage
	var void []verify.Held
	if err == nil {
		g.Site = o.Label()
	}
	for _, key := range gone {
		d := verify.Damage{Site: g.Site, Path: verify.InventoryPath, Kind: verify.Gone, Detail: "it is not on this copy", Object: slug, Content: key}
		first, rest, _ := strings.Cut(key, "/")
		d.Version, _ = strconv.Atoi(first[1:])
		if strings.HasPrefix(rest, "content/") {
			d.Path = slug + "/" + key
			if err == nil {
				d.Path = o.PeoplesPath(o.Head(), held[key].SHA256)
			}
			g.Files += held[key].Files
			void = append(void, verify.Held{Path: key, Files: held[key].Files})
		}
		damage = append(damage, d)
	}
	if err := c.Ledger.Remember(c.Copy.ID, slug, void); err != nil {
		return fmt.Errorf("ledger: %w", err)
	}
	c.found = append(c.found, g)
	return c.Ledger.AddDamage(c.Copy.ID, damage)
}

func unfinishedKey(copyID string) string { return "unfinished " + copyID }

// Found notes what the next round on a copy puts right of what a check found there:
// objects whose root pair is lacking or old, and logs of other histories.
func Found(l authority.Notes, copyID string, found verify.CopyReport) error {
	if found.Error == "" {
		if err := noteUnfinished(l, copyID, found.Unfinished); err != nil {
			return err
		}
	}
	return late.Went(l, copyID, found.Damage)
}

func noteUnfinished(l authority.Notes, copyID string, objects []string) error {
	now := strings.Join(objects, " ")
	if was, _, err := l.Value(unfinishedKey(copyID)); err != nil || was == now {
		return err
	}
	return l.SetValue(unfinishedKey(copyID), now)
}

// Unfinished notes one object more whose root pair the next round writes.
func (c *Holds) Unfinished(slug string) error {
	v, _, err := c.Ledger.Value(unfinishedKey(c.Copy.ID))
	if err != nil || slices.Contains(strings.Fields(v), slug) {
		return err
	}
	return noteUnfinished(c.Ledger, c.Copy.ID, append(strings.Fields(v), slug))
}

// settleNoted completes what the last check or round found unfinished.
func (c *Holds) settleNoted(ctx context.Context) error {
	v, _, err := c.Ledger.Value(unfinishedKey(c.Copy.ID))
	if err != nil {
		return err
	}
	var left []string
	for _, slug := range strings.Fields(v) {
		if _, err := store.Settle(ctx, c.Copy.Root, slug); ctx.Err() != nil {
			return ctx.Err()
		} else if err != nil && !errors.Is(err, store.ErrNoObject) {
			left = append(left, slug) // the check says what is wrong there
		}
	}
	return noteUnfinished(c.Ledger, c.Copy.ID, left)
}
