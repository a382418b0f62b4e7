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

// valued is the part of the ledger that keeps single values.
type valued interface {
	Value(key string) (string, bool, error)
}

func goneKey(copyID string) string { return "gone " + copyID }

// Had tells the newest version of each object that a copy is known to have held,
// and how many lines its seal had, whatever became of them since.
func Had(l interface {
	valued
	Committed(copyID string) (map[string]int, error)
}, copyID string) (had map[string]int, lines int, err error) {
	if had, err = l.Committed(copyID); err != nil {
		return nil, 0, err
	}
	lost, err := lostFrom(l, copyID)
	if err != nil {
		return nil, 0, err
	}
	for slug, n := range lost {
		had[slug] = max(had[slug], n)
	}
	lines, _, err = notedSeal(l, copyID)
	return had, lines, err
}

// lostFrom reads what the ledger notes as gone and not sent again yet.
func lostFrom(l valued, copyID string) (map[string]int, error) {
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

// recall learns what was found gone before.
func (c *copyRun) recall() (err error) {
	c.lost, err = lostFrom(c.r.Ledger, c.ID)
	return err
}

// keepLost notes what is gone, less what has been sent again.
func (c *copyRun) keepLost() error {
	c.mu.Lock()
	maps.DeleteFunc(c.lost, func(slug string, to int) bool { return c.committed[slug] >= to })
	var b strings.Builder
	for _, slug := range slices.Sorted(maps.Keys(c.lost)) {
		fmt.Fprintf(&b, "%s %d\n", slug, c.lost[slug])
	}
	c.mu.Unlock()
	if was, _, err := c.r.Ledger.Value(goneKey(c.ID)); err != nil || was == b.String() {
		return err
	}
	return c.r.Ledger.SetValue(goneKey(c.ID), b.String())
}

// readAnew reads what a copy holds, where the ledger is new to it or its seal is
// shorter than it was: a person, or a service, put it back to an earlier state.
// All that is known to have been there is looked for.
func (c *copyRun) readAnew(ctx context.Context) error {
	had := maps.Clone(c.committed)
	c.committed = map[string]int{}
	for slug, n := range had {
		c.lost[slug] = max(c.lost[slug], n)
	}
	if err := c.keepLost(); err != nil { // before anything is forgotten
		return err
	}
	if c.shrunk && c.Kind == "drive" { // nothing tells whether the files are those that were read back
		if err := c.r.Ledger.ForgetCopy(c.ID); err != nil {
			return err
		}
	}
	if err := c.scan(ctx); err != nil {
		return err
	}
	for _, slug := range slices.Sorted(maps.Keys(had)) {
		if now := c.committed[slug]; now < had[slug] {
			if err := c.withdraw(slug, now); err != nil {
				return err
			}
		}
	}
	return c.keepLost()
}

// lose finds out how much of a site is still on the copy whose newest version
// there has gone.
func (c *copyRun) lose(ctx context.Context, slug string) error {
	now, err := c.newest(ctx, slug, c.committed[slug]-1)
	if err != nil {
		return err
	}
	c.lost[slug] = max(c.lost[slug], c.committed[slug])
	c.committed[slug] = now
	if err := c.keepLost(); err != nil { // before anything is forgotten
		return err
	}
	if err := c.withdraw(slug, now); err != nil {
		return err
	}
	return c.goBack(ctx, slug)
}

// newest is the newest version of a site that is there, of those up to n.
func (c *copyRun) newest(ctx context.Context, slug string, n int) (int, error) {
	for ; n > 0; n-- {
		if there, err := c.there(ctx, slug, sidecar(n)); there || err != nil {
			return n, err
		}
	}
	return 0, nil
}

// goBack has a drive's root pair show what is there, so that what went can be
// built again.
func (c *copyRun) goBack(ctx context.Context, slug string) error {
	d, ok := c.Root.(interface {
		GoBack(ctx context.Context, object string) error
	})
	if !ok {
		return nil
	}
	if err := d.GoBack(ctx, slug); err != nil && ctx.Err() == nil {
		c.block(slug, reasonManifest)
	}
	return ctx.Err()
}

func sidecar(n int) string { return fmt.Sprintf("v%d/inventory.json.sha256", n) }

// there asks the copy for a key of a site.
func (c *copyRun) there(ctx context.Context, slug, key string) (bool, error) {
	_, err := c.Root.Stat(ctx, slug+"/"+key)
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, fmt.Errorf("looking at %s: %w", slug, err)
	}
	return true, nil
}

// withdraw takes back what is remembered of the versions beyond now.
func (c *copyRun) withdraw(slug string, now int) error {
	if err := c.r.Ledger.ForgetVersions(c.ID, slug, now+1); err != nil {
		return fmt.Errorf("ledger: %w", err)
	}
	if now > 0 {
		c.committed[slug] = now
	} else {
		delete(c.committed, slug)
	}
	return nil
}

// stillGone puts into the report what is gone, whenever it was found.
func (c *copyRun) stillGone(ctx context.Context) error {
	for _, slug := range slices.Sorted(maps.Keys(c.lost)) {
		g := Gone{Object: slug, Site: slug, From: c.committed[slug] + 1, To: c.lost[slug]}
		if g.From > g.To {
			continue
		}
		o, err := c.r.objects.get(ctx, slug)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err == nil {
			g.Site = o.label()
			people := o.inv.Files()
			for n := g.From; n <= min(g.To, o.head()); n++ {
				for _, d := range o.inv.Paths(n) {
					g.Files += people[d]
				}
			}
		}
		c.out.Gone = append(c.out.Gone, g)
	}
	return nil
}

// label names the site for people.
func (o *object) label() string {
	return verify.Site{Object: o.slug, Site: o.rec.Site, Pasture: o.rec.Pasture}.Label()
}

// again forgets the damage that a version sent again puts right.
func (t *taking) again() error {
	c := t.c
	c.mu.Lock()
	_, lost := c.lost[t.o.slug]
	c.mu.Unlock()
	if !lost {
		return nil
	}
	v := fmt.Sprintf("v%d/", t.version)
	good := []string{v + "inventory.json", v + "inventory.json.sha256"}
	t.mu.Lock()
	for _, h := range t.held {
		good = append(good, h.Path)
	}
	t.mu.Unlock()
	return c.r.Ledger.DropDamage(c.ID, t.o.slug, good)
}

func lookKey(copyID string) string { return "look " + copyID }

// look is the glance at a bucket that nothing is new for. Two requests see what
// went: one lists sites, up to a thousand, one lists keys, up to a thousand. Each
// goes on in the next round where it ended in this one. A listing may be old, so
// what it does not show is asked for by name before it is called gone.
func (c *copyRun) look(ctx context.Context) error {
	pages, ok := c.Root.(interface {
		Page(ctx context.Context, after string, folders bool) ([]store.Info, bool, error)
	})
	if !ok || len(c.committed) == 0 {
		return nil
	}
	v, _, err := c.r.Ledger.Value(lookKey(c.ID))
	if err != nil {
		return err
	}
	folder, key, _ := strings.Cut(v, "\n")
	sites, err := seePage(ctx, pages.Page, folder, true)
	if err != nil {
		return err
	}
	keys, err := seePage(ctx, pages.Page, key, false)
	if err != nil {
		return err
	}
	for _, slug := range slices.Sorted(maps.Keys(c.committed)) {
		gone := sites.lacks(slug + "/")
		if gone || keys.covers(slug+"/", slug+"0") {
			if err := c.lookAt(ctx, slug, gone, keys); err != nil {
				return err
			}
		}
	}
	return c.r.Ledger.SetValue(lookKey(c.ID), sites.next()+"\n"+keys.next())
}

// page is a part of a listing: what is there of all keys after one and up to
// another.
type page struct {
	after, last string // last is "" where it goes on to the end
	there       map[string]bool
}

func seePage(ctx context.Context, list func(context.Context, string, bool) ([]store.Info, bool, error), after string, folders bool) (page, error) {
	infos, more, err := list(ctx, after, folders)
	if err != nil {
		return page{}, fmt.Errorf("listing it: %w", err)
	}
	p := page{after: after, there: map[string]bool{}}
	for _, i := range infos {
		p.there[i.Key] = true
		if more {
			p.last = i.Key
		}
	}
	return p, nil
}

// lacks reports that the page should show a key, and does not.
func (p page) lacks(key string) bool {
	return key > p.after && (p.last == "" || key <= p.last) && !p.there[key]
}

// covers reports whether the page shows some of what lies between two keys.
func (p page) covers(from, to string) bool {
	return to > p.after && (p.last == "" || from <= p.last)
}

// next is where the next page begins. A folder's keys all begin with its name, so
// what comes after it comes after the slash.
func (p page) next() string {
	if folder, ok := strings.CutSuffix(p.last, "/"); ok {
		return folder + "0"
	}
	return p.last
}

// lookAt holds one site against a page of keys; all tells that its folder seems
// to be gone as a whole.
func (c *copyRun) lookAt(ctx context.Context, slug string, all bool, keys page) error {
	newest := sidecar(c.committed[slug])
	if all || keys.lacks(slug+"/"+newest) {
		if still, err := c.there(ctx, slug, newest); err != nil {
			return err
		} else if !still {
			return c.lose(ctx, slug)
		}
	}
	held, err := c.r.Ledger.Held(c.ID, slug)
	if err != nil {
		return err
	}
	expected := slices.Collect(maps.Keys(held))
	for n := 1; n <= c.committed[slug]; n++ {
		for _, name := range []string{"inventory.json", "inventory.json.sha256"} {
			expected = append(expected, fmt.Sprintf("v%d/%s", n, name))
		}
	}
	slices.Sort(expected)
	var gone []string
	for _, key := range slices.Compact(expected) {
		if h, ok := held[key]; ok && h.SHA256.IsZero() || !strings.HasPrefix(key, "v") || !keys.lacks(slug+"/"+key) {
			continue // known to be damaged; derived; there
		}
		if still, err := c.there(ctx, slug, key); err != nil {
			return err
		} else if !still {
			gone = append(gone, key)
		}
	}
	if len(gone) > 0 {
		if err := c.damaged(ctx, slug, gone, held); err != nil {
			return err
		}
	}
	for _, name := range []string{"0=ocfl_object_1.1", "inventory.json", "inventory.json.sha256"} {
		if keys.lacks(slug + "/" + name) {
			if _, err := store.Settle(ctx, c.Root, slug); err != nil {
				return fmt.Errorf("finishing %s: %w", slug, err)
			}
			break
		}
	}
	return nil
}

// damaged puts on record that single files of a site have gone from the copy.
func (c *copyRun) damaged(ctx context.Context, slug string, gone []string, held map[string]verify.Held) error {
	g := Gone{Object: slug, Site: slug}
	o, err := c.r.objects.get(ctx, slug)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	var damage []verify.Damage
	var void []verify.Held
	if err == nil {
		g.Site = o.label()
	}
	for _, key := range gone {
		d := verify.Damage{Site: g.Site, Path: verify.InventoryPath, Kind: verify.Gone, Detail: "it is not on this copy", Object: slug, Content: key}
		first, rest, _ := strings.Cut(key, "/")
		d.Version, _ = strconv.Atoi(first[1:])
		if strings.HasPrefix(rest, "content/") {
			d.Path = slug + "/" + key
			if err == nil {
				d.Path = o.peoplesPath(o.head(), held[key].SHA256)
			}
			g.Files += held[key].Files
			void = append(void, verify.Held{Path: key, Files: held[key].Files})
		}
		damage = append(damage, d)
	}
	if err := c.r.Ledger.Remember(c.ID, slug, void); err != nil {
		return fmt.Errorf("ledger: %w", err)
	}
	c.out.Gone = append(c.out.Gone, g)
	return c.r.Ledger.AddDamage(c.ID, damage)
}

func unfinishedKey(copyID string) string { return "unfinished " + copyID }

// NoteUnfinished notes the objects of a copy whose root pair a check found
// lacking or old; the next round there writes it again.
func NoteUnfinished(l interface {
	valued
	SetValue(key, value string) error
}, copyID string, objects []string) error {
	now := strings.Join(objects, " ")
	if was, _, err := l.Value(unfinishedKey(copyID)); err != nil || was == now {
		return err
	}
	return l.SetValue(unfinishedKey(copyID), now)
}

// settleNoted completes what the last check found unfinished.
func (c *copyRun) settleNoted(ctx context.Context) error {
	v, _, err := c.r.Ledger.Value(unfinishedKey(c.ID))
	if err != nil {
		return err
	}
	var left []string
	for _, slug := range strings.Fields(v) {
		if _, err := store.Settle(ctx, c.Root, slug); ctx.Err() != nil {
			return ctx.Err()
		} else if err != nil && !errors.Is(err, store.ErrNoObject) {
			left = append(left, slug) // the check says what is wrong there
		}
	}
	return NoteUnfinished(c.r.Ledger, c.ID, left)
}
