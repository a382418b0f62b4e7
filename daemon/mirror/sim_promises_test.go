package mirror

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"linecamp/daemon/mirror/gone"
	"linecamp/daemon/mirror/plan"
	"linecamp/daemon/mirror/report"
	"linecamp/daemon/reach"
	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
)

// seen is one file on a copy, as the simulation looked at it behind linecamp's
// back.
type seen struct {
	bytes []byte
	sum   manifest.Digest
	info  fs.FileInfo
}

// versionOf is what the simulation knows of one version of a site.
type versionOf struct {
	sum manifest.Digest // of its inventory
	inv *manifest.Inventory
	rec *manifest.Record // nil where its bytes were never seen
}

// check holds every copy to the promises. It reads the copies' files itself.
func (s *sim) check() {
	var changed []*simCopy
	for _, c := range s.copies {
		if c.dirty.Swap(false) {
			c.look = c.all()
			changed = append(changed, c)
		}
	}
	for _, c := range changed {
		s.checkKept(c)
		s.checkVersions(c)
	}
	for _, c := range s.copies {
		s.checkSeal(c)
	}
	s.checkSealed()
	if b := s.bucket(); b != nil && len(b.deleted) > 0 {
		s.t.Fatalf("the bucket was asked to delete %v", b.deleted)
	}
}

// all reads everything on a copy; what surely did not change since is taken
// from the last look.
func (c *simCopy) all() map[string]seen {
	now := map[string]seen{}
	if c.kind == "s3" {
		for key, o := range c.bucket.listing() {
			was, ok := c.look[key]
			if !ok || !bytes.Equal(was.bytes, o.bytes) {
				was = seen{bytes: o.bytes, sum: manifest.Sum(o.bytes)}
			}
			now[key] = was
		}
		return now
	}
	c.s.must(filepath.WalkDir(c.path, func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		key, err := filepath.Rel(c.path, name)
		if err != nil {
			return err
		}
		key = filepath.ToSlash(key)
		info, err := d.Info()
		if err != nil {
			return err
		}
		was, ok := c.look[key]
		if ok && was.info.Size() == info.Size() && was.info.ModTime().Equal(info.ModTime()) && os.SameFile(was.info, info) && was.sum != (manifest.Digest{}) {
			now[key] = was
			return nil
		}
		b, err := os.ReadFile(name)
		now[key] = seen{bytes: b, sum: manifest.Sum(b), info: info}
		return err
	}))
	return now
}

// checkKept: what a copy once had stays, and stays what it was.
func (s *sim) checkKept(c *simCopy) {
	for _, key := range slices.Sorted(maps.Keys(c.kept)) {
		is, there := c.look[key]
		bad, rotted := c.rotted[key]
		switch {
		case !there:
			s.t.Fatalf("%s no longer has %s", c.name, key)
		case rotted && is.sum == bad:
		case rotted && strings.HasPrefix(key, "extensions/linecamp-seal/"):
			delete(c.rotted, key) // written again; checkSeal looks at it
			delete(c.kept, key)
		case is.sum == c.kept[key]:
			delete(c.rotted, key)
		default:
			s.t.Fatalf("%s has other bytes at %s than it was given (rotted before: %v)", c.name, key, rotted)
		}
	}
	for key, d := range c.lacking {
		if is, there := c.look[key]; there {
			if is.sum != d {
				s.t.Fatalf("%s was filled with other bytes at %s than the manifest says", c.name, key)
			}
			c.kept[key] = d
			delete(c.lacking, key)
		}
	}
}

// checkVersions learns of every newly committed version, and holds it to the
// rules.
func (s *sim) checkVersions(c *simCopy) {
	slugs := map[string]bool{}
	for key := range c.look {
		slug, rest, _ := strings.Cut(key, "/")
		if strings.HasPrefix(rest, "v") && slug != "extensions" {
			slugs[slug] = true
		}
	}
	for _, slug := range slices.Sorted(maps.Keys(slugs)) {
		for n := c.committed[slug] + 1; ; n++ {
			v := slug + "/v" + strconv.Itoa(n) + "/"
			inv, side := c.look[v+"inventory.json"], c.look[v+"inventory.json.sha256"]
			if side.bytes == nil || !strings.HasPrefix(string(side.bytes), inv.sum.String()+" ") {
				break
			}
			if _, pending := c.look["extensions/linecamp-staging/"+slug+".v"+strconv.Itoa(n)+".pending"]; pending && !s.hasLine(slug, n, inv.sum) {
				break // its commit was cut off before anybody was told; the next lock decides
			}
			known := s.version(c, slug, n, inv)
			c.kept[v+"inventory.json"], c.kept[v+"inventory.json.sha256"] = inv.sum, side.sum
			for _, path := range slices.Sorted(maps.Keys(known.inv.Paths(n))) {
				s.checkContent(c, slug+"/"+path, known.inv.Paths(n)[path])
			}
			c.committed[slug] = n
		}
	}
}

// hasLine reports whether the seal of any copy names a version. One whose commit
// a drive cut off at its last sync is sealed on the next copy: its content was
// synced before.
func (s *sim) hasLine(slug string, n int, sum manifest.Digest) bool {
	line := fmt.Sprintf(" %s v%d %s\n", manifest.ObjectID(archiveName, slug), n, sum)
	return slices.ContainsFunc(s.copies, func(c *simCopy) bool {
		for key, is := range c.look {
			if strings.HasPrefix(key, store.SealFolder) && strings.Contains(string(is.bytes), line) {
				return true
			}
		}
		return false
	})
}

// checkContent: what a copy received is what the manifest says, and it did
// without only what nobody has.
func (s *sim) checkContent(c *simCopy, key string, d manifest.Digest) {
	if is, there := c.look[key]; there {
		if is.sum != d {
			s.t.Fatalf("%s received other bytes at %s than the manifest says", c.name, key)
		}
		c.kept[key] = d
		return
	}
	c.lacking[key] = d
	for _, other := range s.copies {
		if other != c && other.look[key].sum == d {
			s.t.Fatalf("%s went without %s, which %s has", c.name, key, other.name)
		}
	}
}

// version is the one version n of slug there may ever be. A new one is held to
// what people did in the working folder.
func (s *sim) version(c *simCopy, slug string, n int, raw seen) *versionOf {
	id := slug + " v" + strconv.Itoa(n)
	if v := s.versions[id]; v != nil {
		if v.sum != raw.sum {
			s.t.Fatalf("there are two different %s: %s has another one than was made first", id, c.name)
		}
		return v
	}
	inv, err := manifest.DecodeInventory(raw.bytes)
	if err != nil {
		s.t.Fatalf("%s: %s cannot be read: %v", c.name, id, err)
	}
	v := &versionOf{sum: raw.sum, inv: inv}
	s.versions[id] = v
	for _, path := range inv.Content[inv.State(n)[manifest.RecordPath]] {
		if is := c.look[slug+"/"+path]; is.sum == inv.State(n)[manifest.RecordPath] {
			v.rec, err = manifest.DecodeRecord(is.bytes)
			s.must(err)
		}
	}
	var before map[string]manifest.Digest
	var old *manifest.Record
	if n > 1 {
		p := s.versions[slug+" v"+strconv.Itoa(n-1)]
		if p == nil || !bytes.Equal(inv.Until(n-1).Encode(), p.inv.Encode()) {
			s.t.Fatalf("%s does not continue the version before", id)
		}
		before, old = p.inv.State(n-1), p.rec
	}
	if v.rec != nil {
		s.checkState(id, inv.State(n), before, v.rec, old)
	}
	s.heads[slug] = v
	return v
}

// checkState: only what people put into the working folder is ever recorded,
// and only what they took away leaves the record. A file that is seen may leave
// it too: renamed folders can make it another site's. Where a folder that never had
// a recorded file has another under that name, the recorded one goes on beside it.
func (s *sim) checkState(id string, state, before map[string]manifest.Digest, rec, old *manifest.Record) {
	beside := map[string]manifest.Digest{}
	for path, d := range before {
		if state[path] != d {
			beside[plan.Beside(path, d)] = d
		}
	}
	for path, d := range state {
		if strings.HasPrefix(path, ".linecamp/") || before[path] == d || beside[path] == d {
			continue
		}
		if raw := manifest.RawPath(rec.Base, path, rec.Paths[path]); !s.intended[raw][d] && !s.putBelow(path, rec.Paths[path], d) {
			s.t.Fatalf("%s records bytes of %s that nobody put there", id, raw)
		}
	}
	for path := range before {
		if _, still := state[path]; still || strings.HasPrefix(path, ".linecamp/") || old == nil {
			continue
		}
		raw := manifest.RawPath(old.Base, path, old.Paths[path])
		if !s.absent[raw] && !s.shown[raw] && !s.tookAway(id, path) && !s.movedBeside(id, raw, before[path], state) {
			s.t.Fatalf("%s leaves out %s, which nobody took away", id, raw)
		}
	}
}

// movedBeside reports whether a path has the name under which bytes go on beside others,
// and they count as moved: another path of the new state has them, of whatever site, or
// the folder still shows them where a site is recorded next.
func (s *sim) movedBeside(id, raw string, d manifest.Digest, state map[string]manifest.Digest) bool {
	beside := false
	for at, all := range s.intended {
		beside = beside || all[d] && plan.Beside(at, d) == raw
	}
	if !beside {
		return false
	}
	for slug, v := range s.heads {
		if !strings.HasPrefix(id, slug+" ") && hasDigest(v.inv.State(v.inv.Head()), d) {
			return true
		}
	}
	for _, f := range s.files {
		if slices.Contains(f.may(), d) {
			return true
		}
	}
	return hasDigest(state, d)
}

func hasDigest(state map[string]manifest.Digest, d manifest.Digest) bool {
	return slices.Contains(slices.Collect(maps.Values(state)), d)
}

// putBelow reports whether a person put these bytes at that path in some folder:
// while the new name of a site's folder is in doubt, the record has the old one.
func (s *sim) putBelow(logical string, e manifest.Entry, d manifest.Digest) bool {
	for raw, at := range s.intended {
		if at[d] && strings.HasSuffix("/"+raw, "/"+manifest.RawPath("", logical, e)) {
			return true
		}
	}
	return false
}

// tookAway reports whether a person took a path of a site away under any name
// that the site's folder had: what waits for a word goes along to the next name.
func (s *sim) tookAway(id, logical string) bool {
	slug, _, _ := strings.Cut(id, " ")
	for n := 1; s.versions[slug+" v"+strconv.Itoa(n)] != nil; n++ {
		rec := s.versions[slug+" v"+strconv.Itoa(n)].rec
		if rec == nil {
			continue
		}
		if e, ok := rec.Paths[logical]; ok && s.absent[manifest.RawPath(rec.Base, logical, e)] {
			return true
		}
	}
	return false
}

// onRecord is what the newest version of any site says of a path. One that the
// seal does not name yet may be known to a copy out of reach only.
func (s *sim) onRecord(path string) (manifest.Entry, manifest.Digest) {
	for slug, v := range s.heads {
		if v.rec == nil || !s.named[slug+" v"+strconv.Itoa(v.inv.Head())] {
			continue
		}
		for logical, e := range v.rec.Paths {
			if manifest.RawPath(v.rec.Base, logical, e) == path {
				return e, v.inv.State(v.inv.Head())[logical]
			}
		}
	}
	return manifest.Entry{}, manifest.Digest{}
}

// checkSeal: every copy's seal is a beginning of one and the same log, and only
// grows.
func (s *sim) checkSeal(c *simCopy) {
	var log []byte
	for i := 0; ; i++ {
		key := seal.File(i)
		if _, rotted := c.rotted[key]; rotted {
			return
		}
		is, there := c.look[key]
		if !there {
			break
		}
		log = append(log, is.bytes...)
	}
	log = log[:bytes.LastIndexByte(log, '\n')+1]
	if len(log) < c.sealed {
		s.t.Fatalf("the seal on %s became shorter", c.name)
	}
	c.sealed = len(log)
	switch {
	case bytes.HasPrefix(s.seal, log):
	case bytes.HasPrefix(log, s.seal):
		s.seal = bytes.Clone(log)
	default:
		s.t.Fatalf("the seal on %s tells another history:\n%s\nthan\n%s", c.name, log, s.seal)
	}
}

// checkSealed: a line stands only for a version that was committed, and names
// its inventory.
func (s *sim) checkSealed() {
	for ; s.sealSeen < len(s.seal); s.lines++ {
		line, _, _ := strings.Cut(string(s.seal[s.sealSeen:]), "\n")
		s.sealSeen += len(line) + 1
		f := strings.Fields(line)
		if len(f) != 6 || f[2] != seal.Version {
			continue
		}
		_, slug, err := manifest.ParseObjectID(f[3])
		s.must(err)
		v := s.versions[slug+" "+f[4]]
		if v == nil || v.sum.String() != f[5] {
			s.t.Fatalf("the seal names %s %s, which no copy has", slug, f[4])
		}
		s.named[slug+" "+f[4]] = true
	}
}

// checkReport: a copy called current has all there is; only the author makes
// versions.
func (s *sim) checkReport(m *machine, rep report.Report) {
	s.check()
	if rep.Made > 0 {
		if author, _ := s.recorder(); author == nil || author.author != m.author {
			s.t.Fatalf("%s made %d versions although another machine records", m.name, rep.Made)
		}
	}
	seal, err := m.cache.Seal()
	if err != nil {
		return
	}
	for _, state := range rep.Copies {
		c := s.copyNamed(state.Copy)
		if state.State != reach.Current {
			continue
		}
		for id, n := range seal.Heads() {
			_, slug, err := manifest.ParseObjectID(id)
			s.must(err)
			told := slices.ContainsFunc(state.Gone, func(g gone.Gone) bool { return g.Object == slug && !g.Again }) // a manifest of it went: damage
			if c.committed[slug] < n && !told && !c.stillListed(slug, n) {
				s.t.Fatalf("%s is called current and lacks version %d of %s", c.name, n, slug)
			}
		}
	}
}

// stillListed reports whether an old listing, which is all that a round was shown,
// has a version that went from the copy since. The next listing of its day tells.
func (c *simCopy) stillListed(slug string, n int) bool {
	if c.trouble.kind != "old listings" {
		return false
	}
	_, listed := c.older[fmt.Sprintf("%s/v%d/inventory.json", slug, n)]
	return listed
}

// recorder is the machine that records, by what stands on the copies; nil for
// none yet. agreed tells that every copy says so.
func (s *sim) recorder() (m *machine, agreed bool) {
	epoch, n := 0, 0
	for _, c := range s.copies {
		a := c.epoch(c.look)
		for _, of := range s.machines {
			switch {
			case of.author != a.Author:
			case a.Epoch > epoch:
				m, epoch, n = of, a.Epoch, 1
			case of == m && a.Epoch == epoch:
				n++
			}
		}
	}
	return m, n == len(s.copies)
}

// recordedBy is who records, as a copy says.
type recordedBy struct {
	Author string
	Epoch  int
}

func (c *simCopy) epoch(look map[string]seen) (a recordedBy) {
	if is, ok := look[store.AuthorKey]; ok {
		c.s.must(json.Unmarshal(is.bytes, &a))
	}
	return a
}

func (s *sim) copyNamed(name string) *simCopy {
	return s.copies[slices.IndexFunc(s.copies, func(c *simCopy) bool { return c.name == name })]
}

func (s *sim) bucket() *simBucket {
	for _, c := range s.copies {
		if c.bucket != nil {
			return c.bucket
		}
	}
	return nil
}
