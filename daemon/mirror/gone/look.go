package gone

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"

	"linecamp/manifest/store"
)

// glance holds what the ledger says of a drive against the newest version folders
// there. What was there and is not any more is gone. A drive that has more was written to by a round whose lines in the ledger a power cut took,
// or by one after the day the state folder was put back to. Of a closed object it has more for good.
func (c *Holds) glance(ctx context.Context, scan func(context.Context) error) error {
	for _, slug := range slices.Sorted(maps.Keys(c.has)) {
		if now, err := c.There(ctx, slug, sidecar(c.has[slug])); err != nil {
			return err
		} else if !now {
			if err := c.lose(ctx, slug); err != nil {
				return err
			}
		}
	}
	slugs, err := store.Objects(ctx, c.Copy.Root)
	if err != nil {
		return fmt.Errorf("listing its sites: %w", err)
	}
	log := c.Sites.Log()
	for _, slug := range slugs {
		if log.Closed(slug) {
			continue
		}
		if more, err := c.There(ctx, slug, sidecar(c.has[slug]+1)); more || err != nil {
			if err != nil {
				return err
			}
			return scan(ctx)
		}
	}
	return nil
}

func lookKey(copyID string) string { return "look " + copyID }

// look is the glance at a bucket that nothing is new for. Two requests see what
// went: one lists sites, one lists keys, up to a thousand each. Each goes on in the next
// round where it ended in this one. Over a limited link they are up to ten (link.Page), so
// that rounds alone see what went from a bucket of 30,000 keys after years: there a verify,
// which lists them all, is what sees it. A listing may be old, so
// what it does not show is asked for by name before it is called gone.
func (c *Holds) look(ctx context.Context) error {
	pages, ok := c.Copy.Root.(interface {
		Page(ctx context.Context, after string, folders bool) ([]store.Info, bool, error)
	})
	if !ok || len(c.has) == 0 {
		return nil
	}
	v, _, err := c.Ledger.Value(lookKey(c.Copy.ID))
	if err != nil {
		return err
	}
	folder, key, _ := strings.Cut(v, "\n")
	all, err := seePage(ctx, pages.Page, folder, true)
	if err != nil {
		return err
	}
	keys, err := seePage(ctx, pages.Page, key, false)
	if err != nil {
		return err
	}
	for _, slug := range slices.Sorted(maps.Keys(c.has)) {
		gone := all.lacks(slug + "/")
		if gone || keys.covers(slug+"/", slug+"0") {
			if err := c.lookAt(ctx, slug, gone, keys); err != nil {
				return err
			}
		}
	}
	return c.Ledger.SetValue(lookKey(c.Copy.ID), all.next()+"\n"+keys.next())
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
func (c *Holds) lookAt(ctx context.Context, slug string, all bool, keys page) error {
	newest := sidecar(c.has[slug])
	if all || keys.lacks(slug+"/"+newest) {
		if still, err := c.There(ctx, slug, newest); err != nil {
			return err
		} else if !still {
			return c.lose(ctx, slug)
		}
	}
	held, err := c.Ledger.Held(c.Copy.ID, slug)
	if err != nil {
		return err
	}
	expected := slices.Collect(maps.Keys(held))
	for n := 1; n <= c.has[slug]; n++ {
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
		if still, err := c.There(ctx, slug, key); err != nil {
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
			if _, err := store.Settle(ctx, c.Copy.Root, slug); err != nil {
				return fmt.Errorf("finishing %s: %w", slug, err)
			}
			break
		}
	}
	return nil
}
