package mirror

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"iter"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"linecamp/daemon/mirror/report"
	"linecamp/daemon/reach"
	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/verify"
	"linecamp/verify/ocfl"
	"linecamp/verify/rot"
)

// lookAll holds every copy to what it had, and learns what is new there.
func (s *meeting) lookAll() {
	for _, c := range s.copies {
		if !c.dirty.Swap(false) {
			continue
		}
		c.look = c.all()
		s.keeps(c)
		for key, side := range c.look {
			folder, ok := strings.CutSuffix(key, "/"+store.SidecarName)
			f := strings.Split(folder, "/")
			inv := c.look[folder+"/"+store.InventoryName]
			if !ok || len(f) != 2 || f[0] == "extensions" || !strings.HasPrefix(string(side.bytes), inv.sum.String()+" ") {
				continue
			}
			if _, pending := c.look["extensions/linecamp-staging/"+f[0]+"."+f[1]+".pending"]; pending || s.had[c.name][key] == side.sum {
				continue
			}
			s.learn(c, f[0], folder, inv)
			s.had[c.name][key], s.had[c.name][folder+"/"+store.InventoryName] = side.sum, inv.sum
		}
		s.print(c)
	}
	for _, c := range s.copies {
		if b := c.bucket; b != nil && len(b.deleted) > 0 {
			s.t.Fatalf("%s was asked to delete %v", c.name, b.deleted)
		}
	}
}

// keeps: what a copy had is there, or on a drive gave way to another version and is
// set aside as it was.
func (s *meeting) keeps(c *simCopy) {
	for key, d := range s.had[c.name] {
		if c.look[key].sum == d {
			continue
		}
		aside := false
		for other, is := range c.look {
			aside = aside || c.kind == "drive" && is.sum == d && strings.HasPrefix(other, "extensions/linecamp-quarantine/late-") && strings.HasSuffix(other, "/"+key)
		}
		if !aside {
			s.t.Fatalf("%s no longer has %s as it was", c.name, key)
		}
		delete(s.had[c.name], key)
	}
}

func (s *meeting) learn(c *simCopy, slug, folder string, raw seen) {
	inv, err := manifest.DecodeInventory(raw.bytes)
	s.must(err)
	where := c.name + " " + folder
	if _, known := s.made[raw.sum]; !known {
		s.made[raw.sum] = where
	}
	for path, d := range inv.Paths(inv.Head()) {
		is, there := c.look[slug+"/"+path]
		if !there {
			s.t.Fatalf("%s committed %s without %s, and nothing was ever lost", c.name, folder, path)
		}
		if is.sum != d {
			s.t.Fatalf("%s: %s/%s is not what its manifest says", c.name, slug, path)
		}
		s.had[c.name][slug+"/"+path] = d
		if _, known := s.ever[d]; !known {
			s.ever[d] = where + " " + path
		}
	}
}

// print notes the seal that the copy has now, as anybody might have it on paper.
func (s *meeting) print(c *simCopy) {
	log := s.logOf(c, "extensions/linecamp-seal/log/")
	n := bytes.Count(log, []byte("\n"))
	seal := fmt.Sprint(n, " ", manifest.Sum(log))
	if _, known := s.printed[seal]; n > 0 && !known {
		s.printed[seal] = fmt.Sprintf("%s at %s", c.name, s.now.Format(time.DateTime))
	}
}

// logOf is all whole lines below a folder of the seal's.
func (s *meeting) logOf(c *simCopy, folder string) (log []byte) {
	var keys []string
	for key := range c.look {
		if rest, ok := strings.CutPrefix(key, folder); ok && !strings.Contains(rest, "/") {
			keys = append(keys, key)
		}
	}
	slices.Sort(keys)
	for _, key := range keys {
		log = append(log, c.look[key].bytes...)
	}
	return log[:bytes.LastIndexByte(log, '\n')+1]
}

// recorder is who records by a log, and since when.
type recorder struct {
	author string
	epoch  int
	at     time.Time
}

// recorderBy is who records by a log; none where no line says so.
func recorderBy(log *seal.Seal, none recorder) recorder {
	for line := range log.All() {
		if line.What == seal.Author {
			none = recorder{line.Author, line.Epoch, line.At}
		}
	}
	return none
}

// before reports whether another take-over stands above this one.
func (r recorder) before(o recorder) bool {
	return cmp.Or(cmp.Compare(r.epoch, o.epoch), r.at.Compare(o.at), cmp.Compare(o.author, r.author)) < 0
}

// neverTwo: who makes versions with a copy at hand was made the recorder after
// whoever made some with that copy before.
func (s *meeting) neverTwo(m *machine, rep report.Report) {
	if rep.Made == 0 {
		return
	}
	log, err := m.cache.Seal()
	s.must(err)
	is := recorderBy(log, recorder{author: m.author, epoch: 1})
	if is.author != m.author {
		s.t.Fatalf("%s made %d versions, and by its seal %s records", m.name, rep.Made, is.author)
	}
	for _, of := range rep.Copies {
		if of.State != reach.Current && of.State != reach.Behind {
			continue
		}
		c := s.copyNamed(of.Copy)
		if last := s.last[c]; last.author != "" && last.author != is.author && is.before(last) {
			s.t.Fatalf("%s records with %s at hand as %+v, where %+v recorded before", m.name, c.name, is, last)
		}
		s.last[c] = is
	}
}

func (s *meeting) checkAll(m *machine) {
	log, err := m.cache.Seal()
	s.must(err)
	copies, leave := s.reach(context.Background())
	defer leave()
	for i, c := range s.copies {
		on, proved := held(s.t, c.bytes())
		for d, where := range s.ever {
			if !on[d] {
				s.t.Fatalf("%s does not have what was committed first as %s", c.name, where)
			}
		}
		for d, where := range s.made {
			if !proved[d] {
				s.t.Fatalf("%s cannot prove the version that was committed first as %s", c.name, where)
			}
		}
		for printed, where := range s.printed {
			var n int
			var digest string
			fmt.Sscan(printed, &n, &digest)
			if !sealFound(c.bytes(), n, digest) {
				s.t.Fatalf("on %s the seal cannot be checked that could be printed from %s", c.name, where)
			}
		}
		found, err := rot.Check(context.Background(), verify.Copy{Name: c.name, ID: c.id, Root: copies[i].Root}, rot.Options{Allowance: -1, Seal: log, Now: s.clock, Workers: 1})
		s.must(err)
		begun := begunOf(c.bytes())
		damage := slices.DeleteFunc(found.Damage, func(d verify.Damage) bool {
			return d.Kind == verify.Stray && c.kind == "s3" && onlyBegun(c.look, d.Path, begun)
		})
		if len(damage)+len(found.Behind)+len(found.Unfinished) > 0 {
			s.t.Fatalf("%s: damage %+v, behind %+v, unfinished %v", c.name, damage, found.Behind, found.Unfinished)
		}
		standard(s.t, c.name, c.path, copies[i].Root, c.bytes())
		broughtOnce(s.t, c.bytes())
	}
}

// bytes are all files of a copy, as last looked at.
func (c *simCopy) bytes() iter.Seq2[string, []byte] {
	return func(yield func(string, []byte) bool) {
		for key, is := range c.look {
			if !yield(key, is.bytes) {
				return
			}
		}
	}
}

// broughtOnce: bytes of another history come under one name of their own.
func broughtOnce(t rapid.TB, keys iter.Seq2[string, []byte]) {
	t.Helper()
	for key, b := range keys {
		if slug, name, _ := strings.Cut(key, "/"); name != store.InventoryName || slug == "extensions" {
			continue
		}
		inv, err := manifest.DecodeInventory(b)
		if err != nil {
			t.Fatalf("%s: %v", key, err)
		}
		named := map[manifest.Digest]string{}
		for logical, d := range inv.State(inv.Head()) {
			if !strings.Contains(logical, "~"+d.String()[:8]) {
				continue
			}
			if other, twice := named[d]; twice {
				t.Fatalf("%s brought the same bytes as %s and as %s", key, other, logical)
			}
			named[d] = logical
		}
	}
}

// held are the digests of all content of versions on a copy, and of all manifests that
// are there or follow from one that is.
func held(t rapid.TB, keys iter.Seq2[string, []byte]) (content, manifests map[manifest.Digest]bool) {
	t.Helper()
	content, manifests = map[manifest.Digest]bool{}, map[manifest.Digest]bool{}
	for key, b := range keys {
		if strings.HasPrefix(key, "extensions/") {
			continue
		}
		if strings.Contains(key, "/content/") {
			content[manifest.Sum(b)] = true
		}
		if !bytes.Contains(b, []byte(`"digestAlgorithm"`)) {
			continue
		}
		inv, err := manifest.DecodeInventory(b)
		if err != nil {
			t.Fatalf("%s: %v", key, err)
		}
		for n := range inv.Head() {
			manifests[manifest.Sum(inv.Until(n+1).Encode())] = true
		}
	}
	return content, manifests
}

// sealFound reports whether the first n lines of the log on a copy, or of a late one
// beside it, have a digest that was printed.
func sealFound(keys iter.Seq2[string, []byte], n int, printed string) bool {
	var names []string
	files := map[string][]byte{}
	for key, b := range keys {
		if d, late := store.LateDigest(key); late && d == manifest.Sum(b) && begins(b, n, printed) {
			return true
		}
		if strings.HasPrefix(key, "extensions/linecamp-seal/log/") {
			names, files[key] = append(names, key), b
		}
	}
	slices.Sort(names)
	var log []byte
	for _, name := range names {
		log = append(log, files[name]...)
	}
	return begins(log, n, printed)
}

// begins reports whether the first n lines of a log have a digest.
func begins(log []byte, n int, digest string) bool {
	end := 0
	for range n {
		i := bytes.IndexByte(log[end:], '\n')
		if i < 0 {
			return false
		}
		end += i + 1
	}
	return manifest.Sum(log[:end]).String() == digest
}

// lessBegun is a bucket without what was begun of versions there and never finished: by
// a machine that nobody could ask when another took over. That is not deleted, and
// nothing names it.
type lessBegun struct {
	store.Root
	begun func(key string) bool
}

func (r lessBegun) List(ctx context.Context, prefix string) iter.Seq2[store.Info, error] {
	return func(yield func(store.Info, error) bool) {
		for info, err := range r.Root.List(ctx, prefix) {
			if (err != nil || !r.begun(info.Key)) && !yield(info, err) {
				return
			}
		}
	}
}

// onlyBegun reports whether a file, or all in a folder, which a finding names with a slash
// at its end, was begun.
func onlyBegun(look map[string]seen, path string, begun func(key string) bool) bool {
	for key := range look {
		if (key == path || strings.HasSuffix(path, "/") && strings.HasPrefix(key, path)) && !begun(key) {
			return false
		}
	}
	return true
}

// begunOf tells, by its name, whether a key is of a version that was begun in a bucket and
// never committed there: above all that are, without a sidecar, its manifest or content.
func begunOf(keys iter.Seq2[string, []byte]) func(key string) bool {
	all, heads := maps.Collect(keys), map[string]int{}
	for key, side := range all {
		folder, ok := strings.CutSuffix(key, "/"+store.SidecarName)
		if ok && manifest.CheckSidecar(all[folder+"/"+store.InventoryName], side) == nil {
			slug, version, _ := strings.Cut(folder, "/")
			heads[slug] = max(heads[slug], store.VersionNumber(version))
		}
	}
	return func(key string) bool {
		slug, path, _ := strings.Cut(key, "/")
		version, name, _ := strings.Cut(path, "/")
		n := store.VersionNumber(version)
		_, sidecar := all[slug+"/"+version+"/"+store.SidecarName]
		return slug != "extensions" && n > heads[slug] && !sidecar && (name == store.InventoryName || store.CheckContentPath(path, n) == nil)
	}
}

// Only what was begun in a bucket is left out of the checks there.
func TestBegunInABucket(t *testing.T) {
	had := map[string][]byte{}
	for _, folder := range []string{"site", "site/v1", "site/v2"} {
		had[folder+"/"+store.InventoryName] = []byte("{}")
		had[folder+"/"+store.SidecarName] = manifest.Sidecar([]byte("{}"))
	}
	had["site/v4/"+store.InventoryName], had["site/v4/"+store.SidecarName] = []byte("{}"), manifest.Sidecar([]byte("other"))
	begun := begunOf(maps.All(had))
	for key, want := range map[string]bool{
		"site/v3/content/2019/a.jpg":       true,
		"site/v3/inventory.json":           true,
		"new/v1/content/2019/a.jpg":        true,
		"site/v2/content/2019/a.jpg":       false, // of a committed version
		"site/v1/content/2019/a.jpg":       false,
		"site/v4/content/2019/a.jpg":       false, // its sidecar is there, so it is damaged
		"site/v4/inventory.json":           false,
		"site/v3/a.jpg":                    false, // nothing that a version has
		"site/v3/content/../a.jpg":         false,
		"site/v03/content/a.jpg":           false,
		"site/a.jpg":                       false,
		"a.jpg":                            false,
		"extensions/v1/content/2019/a.jpg": false,
	} {
		if begun(key) != want {
			t.Errorf("%s counts as begun: %v", key, !want)
		}
	}
}

// standard: a copy is what OCFL says, but for what every copy of ours is warned of.
func standard(t rapid.TB, name, path string, root store.Root, keys iter.Seq2[string, []byte]) {
	t.Helper()
	var files ocfl.Files
	var err error
	if path != "" {
		local, e := ocfl.OpenFolder(path)
		if files, err = local, e; err == nil {
			defer local.Close()
		}
	} else {
		files, err = ocfl.Stored(context.Background(), lessBegun{root, begunOf(keys)})
	}
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	rep, err := ocfl.Validate(context.Background(), files, ocfl.Options{Workers: 1})
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	found := slices.Concat(rep.Errors, rep.Warnings)
	for _, o := range rep.Objects {
		found = slices.Concat(found, o.Errors, o.Warnings)
	}
	for _, f := range found {
		if f.Code != "W004" && f.Code != "W016" && !strings.HasPrefix(f.Path, "extensions/linecamp-quarantine/") { // what was torn lies there as it was
			t.Errorf("%s: %+v", name, f)
		}
	}
}
