package drill

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/words"
	"linecamp/verify"
	"linecamp/verify/history"
)

// inventories is what was read of the copy's inventories.
type inventories struct {
	objects int // there are
	done    int // were read
	Amount      // of those
}

// whole is what all of them come to: those that were not read, as the others are.
func (r inventories) whole() Amount {
	if r.done == 0 {
		return Amount{}
	}
	return Amount{Files: r.Files * r.objects / r.done, Bytes: int64(float64(r.Bytes) * float64(r.objects) / float64(r.done))}
}

// file is one of the chosen site's.
type file struct {
	path  string
	bytes int64
	visit string
}

// inventories reads what the copy holds, as a new machine has to, and chooses what
// is fetched.
func (t *attempt) inventories(ctx context.Context) error {
	slugs, err := store.Objects(ctx, t.root)
	if err != nil {
		return fail(Reading, err)
	}
	if len(slugs) == 0 {
		t.Untried = "nothing is recorded on it yet"
		return nil
	}
	t.read.objects = len(slugs)
	if t.asked.Site == "" && !t.asked.Everything {
		slugs = inTurn(slugs, t.Now())
	}
	var sites []verify.Site
	chosen := "" // an object that is read in full
	if t.asked.Site == "" && !t.asked.Everything {
		chosen = slugs[0]
	}
	for _, slug := range slugs {
		// The rest is told from what was read, where reading it all would use up what
		// may be downloaded.
		if chosen != "" && slug != chosen && t.left >= 0 && t.root.read.Load() > t.left/2 {
			break
		}
		before := t.root.read.Load()
		inv, rec, err := history.ReadObject(ctx, t.root, slug)
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case errors.Is(err, store.ErrNoObject) && slug != chosen:
			t.read.objects--
			t.unread = append(t.unread, slug)
			continue
		case inv == nil && slug == chosen:
			return fail(Reading, fmt.Errorf("%s: %w", slug, err))
		case inv == nil:
			t.unread = append(t.unread, slug)
			continue
		}
		t.read.done++
		t.read.Amount = t.read.plus(sizeOf(inv, rec))
		sites = append(sites, verify.SiteOf(slug, rec))
		if slug == chosen {
			t.choose(ctx, inv, rec)
			t.again = t.root.read.Load() - before
		}
	}
	switch {
	case t.asked.Site != "":
		return t.named(ctx, sites)
	case t.asked.Everything && t.left >= 0:
		// A restore reads the inventories once more.
		if read := t.root.read.Load(); t.read.Bytes+read > t.left-read {
			whose := "reread"
			if t.byLink {
				whose = "its link's allowance"
			}
			t.Untried = fmt.Sprintf("all of it is %s, and the settings let %s more be downloaded now (%s). Raise that, or drill one site", words.Size(t.read.Bytes+read), words.Size(max(0, t.left-read)), whose)
			return nil
		}
	}
	return t.within()
}

// plus adds two amounts.
func (a Amount) plus(b Amount) Amount { return Amount{a.Files + b.Files, a.Bytes + b.Bytes} }

// inTurn puts the site first whose month it is.
func inTurn(slugs []string, now time.Time) []string {
	now = now.Local()
	i := (now.Year()*12 + int(now.Month()) - 1) % len(slugs)
	return append(slices.Clone(slugs[i:]), slugs[:i]...)
}

// sizeOf is what a recovery of one object brings. Files that are no longer in its
// newest state count as large as the others are.
func sizeOf(inv *manifest.Inventory, rec *manifest.Record) (n Amount) {
	known := 0
	for path := range inv.FullHistory() {
		n.Files++
		if rec != nil {
			if e, ok := rec.Paths[path]; ok {
				known++
				n.Bytes += e.Bytes
			}
		}
	}
	if known > 0 && known < n.Files {
		n.Bytes = int64(float64(n.Bytes) * float64(n.Files) / float64(known))
	}
	return n
}

// named chooses the site that a person named.
func (t *attempt) named(ctx context.Context, sites []verify.Site) error {
	s, err := history.Find(sites, t.asked.Site)
	if errors.Is(err, history.ErrNoSite) && len(t.unread) > 0 {
		return fail(Reading, fmt.Errorf("no site that can be read there fits %q, and the inventory of %s cannot be read", t.asked.Site, strings.Join(t.unread, ", ")))
	}
	if err != nil {
		return err // it was asked for wrongly
	}
	before := t.root.read.Load()
	inv, rec, err := history.ReadObject(ctx, t.root, s.Object)
	if inv == nil {
		return fail(Reading, fmt.Errorf("%s: %w", s.Object, err))
	}
	t.choose(ctx, inv, rec)
	t.again = t.root.read.Load() - before
	return t.within()
}

// choose takes the files of a site: its newest visit, or all where a person named it.
func (t *attempt) choose(ctx context.Context, inv *manifest.Inventory, rec *manifest.Record) {
	rs := &history.Records{Inventory: inv, Roots: []store.Root{t.root}}
	if rec == nil {
		rec, _ = rs.Newest(ctx)
	}
	t.site = verify.SiteOf(inv.Slug(), rec)
	t.Site = t.site.Label()
	base := inv.Slug() // where no record tells, a restore takes this
	if rec != nil {
		base = rec.Base
	}
	t.wanted = map[string]file{}
	newest := ""
	for logical, held := range inv.FullHistory() {
		f := file{path: logical, visit: verify.DateIn(logical)}
		if base != "" {
			f.path = base + "/" + logical
		}
		var e *manifest.Entry
		if rec != nil {
			if known, ok := rec.Paths[logical]; ok {
				e = &known
			}
		}
		if e == nil {
			e, _, _ = rs.Entry(ctx, held)
		}
		if e != nil {
			f.bytes, f.visit = e.Bytes, e.Visit
		}
		newest = max(newest, f.visit)
		t.wanted[f.path] = f
	}
	if t.asked.Site == "" && newest != "" {
		t.Visit = newest
		maps.DeleteFunc(t.wanted, func(_ string, f file) bool { return f.visit != newest })
	}
}

// within leaves out what the allowance has no room for, the oldest visits first.
func (t *attempt) within() error {
	if t.asked.Everything || t.left < 0 {
		return nil
	}
	t.out = map[string]bool{}
	room := t.left - t.root.read.Load() - t.again
	files := slices.SortedFunc(maps.Values(t.wanted), func(a, b file) int {
		return cmp.Or(cmp.Compare(b.visit, a.visit), cmp.Compare(a.path, b.path))
	})
	for _, f := range files {
		if f.bytes <= room {
			room -= f.bytes
			continue
		}
		delete(t.wanted, f.path)
		t.out[f.path] = true
		t.LeftOut = t.LeftOut.plus(Amount{1, f.bytes})
	}
	if len(t.wanted) == 0 && t.LeftOut.Files > 0 {
		t.Untried = t.used()
	}
	return nil
}
