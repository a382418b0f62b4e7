package mirror

import (
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"pgregory.net/rapid"

	"linecamp/manifest"
)

// loseSite has somebody remove all of a site from a copy, its newest version, or
// all but the pair at its top, where another copy has every byte of it. The copy
// may be called current no longer until it was sent again.
func (s *sim) loseSite(t *rapid.T) {
	c := s.copies[rapid.IntRange(0, len(s.copies)-1).Draw(t, "copy")]
	slugs := slices.DeleteFunc(slices.Sorted(maps.Keys(c.committed)), func(slug string) bool { return c.committed[slug] == 0 || !s.elsewhere(c, slug) })
	if len(slugs) == 0 {
		return
	}
	slug := rapid.SampledFrom(slugs).Draw(t, "site")
	from, prefix := 1, slug+"/"
	switch n := c.committed[slug]; rapid.IntRange(0, 2).Draw(t, "how much") {
	case 1:
		from, prefix = n, slug+"/v"+strconv.Itoa(n)+"/"
	case 2:
		prefix = slug + "/v"
	}
	for key := range c.look {
		if !strings.HasPrefix(key, prefix) {
			continue
		}
		if c.kind == "s3" {
			c.bucket.mu.Lock()
			delete(c.bucket.objects, key)
			c.bucket.mu.Unlock()
		}
		delete(c.look, key)
	}
	if c.kind == "drive" {
		gone := []string{filepath.Join(c.path, filepath.FromSlash(prefix))}
		if prefix == slug+"/v" {
			var err error
			gone, err = filepath.Glob(gone[0] + "*")
			s.must(err)
		}
		for _, name := range gone {
			s.must(os.RemoveAll(name))
		}
	}
	for _, known := range []map[string]manifest.Digest{c.kept, c.lacking, c.rotted} {
		maps.DeleteFunc(known, func(key string, _ manifest.Digest) bool { return strings.HasPrefix(key, prefix) })
	}
	c.committed[slug] = from - 1
	c.dirty.Store(true)
}

// elsewhere reports whether another copy has all that a copy has of a site, and
// nothing of it is under way.
func (s *sim) elsewhere(c *simCopy, slug string) bool {
	for key := range c.look {
		if strings.HasPrefix(key, "extensions/linecamp-staging/"+slug) {
			return false
		}
	}
	return slices.ContainsFunc(s.copies, func(o *simCopy) bool {
		if o == c || o.committed[slug] < c.committed[slug] {
			return false
		}
		for key, d := range c.kept {
			if strings.HasPrefix(key, slug+"/") && o.look[key].sum != d {
				return false
			}
		}
		for key := range o.rotted {
			if strings.HasPrefix(key, slug+"/") {
				return false
			}
		}
		return true
	})
}
