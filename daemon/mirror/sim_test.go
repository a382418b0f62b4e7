package mirror

import (
	"context"
	"flag"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"linecamp/daemon/ledger"
	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/drive"
)

// sim is an archive's life, played by chance: people work in the folder, disks
// rot, drives come and go, services fail, the process is killed, state is lost,
// a second machine joins in. After every step each copy is read behind
// linecamp's back and held to the promises, against a model that knows only
// what people did and what the simulation broke.
//
// Everything under test is real: the drives' code over folders in memory, the
// S3 client over a service in this process, the ledger. Only the operations
// that change a drive, and the service, misbehave.
type sim struct {
	t        rapid.TB
	dir      string
	folder   string // the working folder
	foreign  string // another archive's drive
	empty    string // where nothing is mounted
	folders  int
	authors  int
	now      time.Time
	peak     time.Time // the latest it ever was
	oneByOne bool
	count    int
	writes   int      // by people
	rotted   []string // what rot made in the working folder
	kill     killer
	machines []*machine
	copies   []*simCopy

	files      map[string]*simFile                 // the working folder as people left it
	intended   map[string]map[manifest.Digest]bool // all they ever put at a path
	absent     map[string]bool                     // paths they took away at some time
	takenPlace map[string]bool                     // paths on record whose name a folder of another site has
	shown      map[string]bool                     // paths the last tally found
	versions   map[string]*versionOf               // "site--slug v3"
	heads      map[string]*versionOf               // the newest by slug
	seal       []byte                              // the longest seen
	sealSeen   int                                 // how much of it was looked at
	lines      int
	named      map[string]bool // versions with a line
	misled     bool            // an old state was put back, or a listing was old
}

func (s *sim) must(err error) {
	if err != nil {
		s.t.Helper()
		s.t.Fatal(err)
	}
}

func (s *sim) clock() time.Time { return s.now }

// folderFor makes a new name below the simulation's folder.
func (s *sim) folderFor(what string) string {
	s.folders++
	return filepath.Join(s.dir, fmt.Sprint(what, s.folders))
}

func newSim(t *rapid.T, dir string) *sim {
	return newSimOf(t, dir, rapid.SampledFrom([]string{"d", "s", "dd", "ds", "dds"}).Draw(t, "copies"))
}

// newSimOf is one with these copies: d is a drive, s a bucket.
func newSimOf(t rapid.TB, dir, kinds string) *sim {
	s := &sim{t: t, dir: dir, now: time.Date(2026, 7, 2, 2, 30, 0, 0, time.UTC), oneByOne: !*concurrent,
		files: map[string]*simFile{}, intended: map[string]map[manifest.Digest]bool{}, absent: map[string]bool{}, takenPlace: map[string]bool{},
		versions: map[string]*versionOf{}, heads: map[string]*versionOf{}, named: map[string]bool{}}
	s.folder, s.foreign, s.empty = filepath.Join(dir, "monitoring"), filepath.Join(dir, "foreign"), filepath.Join(dir, "empty")
	s.must(os.Mkdir(s.folder, 0o777))
	s.must(os.Mkdir(s.empty, 0o777))
	for i, k := range kinds {
		c := &simCopy{s: s, name: fmt.Sprint("copy ", i), kind: "drive", id: fmt.Sprintf("33333333-3333-4333-8333-%012d", i),
			kept: map[string]manifest.Digest{}, lacking: map[string]manifest.Digest{}, rotted: map[string]manifest.Digest{}, committed: map[string]int{}}
		c.path = filepath.Join(dir, fmt.Sprint("drive", i))
		if k == 's' {
			c.kind, c.path = "s3", ""
			c.bucket = &simBucket{c: c, objects: map[string]simObject{}}
		}
		s.copies = append(s.copies, c)
		s.newRoot(c, archiveID)
	}
	s.newRoot(&simCopy{s: s, name: "foreign", kind: "drive", path: s.foreign, id: "99999999-9999-4999-8999-999999999999"}, "88888888-8888-4888-8888-888888888888")
	s.machines = []*machine{s.newMachine(1), s.newMachine(2)}
	return s
}

func (s *sim) newRoot(c *simCopy, archive string) {
	ctx := context.Background()
	var root store.Root
	if c.kind == "drive" {
		d, err := drive.New(c.path)
		s.must(err)
		d.WrapDisk(func(disk drive.Disk) drive.Disk { return simDisk{disk, c} })
		root = d
	} else {
		var err error
		root, err = c.open(ctx)
		s.must(err)
	}
	s.must(root.Init(ctx, store.Identity{ArchiveID: archive, Archive: archiveName, CopyID: c.id, Created: s.now}))
	s.must(root.Close())
}

func (s *sim) close() {
	for _, m := range s.machines {
		m.led.Close()
	}
}

var (
	concurrent = flag.Bool("simulation.concurrent", false, "rounds work on all copies at once, as they do in earnest; a run then does not repeat exactly")
	simSteps   int // of all checks of this run
)

// TestSimulation plays an archive's life by chance; see [sim]. The seed rapid
// prints repeats a failure:
//
//	go test ./daemon/mirror -run TestSimulation -rapid.seed=N
//
// More of it, here 20,000 steps and a million:
//
//	go test ./daemon/mirror -run TestSimulation -rapid.nofailfile -rapid.checks=700
//	go test ./daemon/mirror -run TestSimulation -rapid.nofailfile -rapid.checks=34000 -timeout 0
//
// Without a seed it begins with seed 1, so that a run is the same every time;
// other lives are lived with other seeds.
//
// Every life ends in peace: troubles cease, and a few rounds must bring every
// copy up to date, mend what can be mended, and leave nothing waiting.
func TestSimulation(t *testing.T) {
	if flag.Lookup("rapid.seed").Value.String() == "0" { // none was asked for: the same lives every time
		must(t, flag.Set("rapid.seed", "1"))
		defer flag.Set("rapid.seed", "0")
	}
	base := simBase(t)
	rapid.Check(t, func(t *rapid.T) {
		dir, err := os.MkdirTemp(base, "linecamp-simulation-")
		if err != nil {
			t.Fatal(err)
		}
		defer os.RemoveAll(dir)
		life := func(t *rapid.T) {
			s := newSim(t, dir)
			defer s.close()
			t.Repeat(s.actions())
			s.settle(t)
		}
		if *concurrent {
			life(t) // in a bubble no time passes while one waits for another
			return
		}
		rapid.SyncTest(t, life)
	})
	t.Logf("%d steps; %s; %d rounds left something unkept and said so; %d files were brought back that no machine knew from the folder", simSteps, faultsSeen(), simUnkept, simBrought)
}

// simBase is the folder that lives lie in, "" for the usual one. It sees to it that
// what is made once is not made inside a bubble.
func simBase(t *testing.T) (base string) {
	warm := t.TempDir()
	must(t, ledger.OpenInventories(warm).Put("warm", []byte("{}")))
	ledger.OpenInventories(warm).Get("warm")
	if st, err := os.Stat("/dev/shm"); err == nil && st.IsDir() {
		base = "/dev/shm" // memory: there is nothing here that a power cut should find
	}
	return base
}

// actions are what may happen. Some stand there more than once, to happen more
// often.
func (s *sim) actions() map[string]func(*rapid.T) {
	step := func(f func(*rapid.T)) func(*rapid.T) {
		return func(t *rapid.T) {
			s.t = t
			simSteps++
			s.now = s.now.Add(time.Minute)
			f(t)
		}
	}
	plain := func(t *rapid.T) { s.round(t, false) }
	troubled := func(t *rapid.T) { s.round(t, true) }
	return map[string]func(*rapid.T){
		"":                    func(t *rapid.T) { s.t = t; s.check() },
		"visit":               step(s.addVisit),
		"another visit":       step(s.addVisit),
		"edit":                step(s.editFile),
		"delete":              step(s.deleteSome),
		"rename":              step(s.renameSome),
		"malware or the like": step(s.rarely),
		"rot of a copy":       step(s.rotCopy),
		"rot of the folder":   step(s.rotWorking),
		"a site goes":         step(s.loseSite),
		"round":               step(plain),
		"round again":         step(plain),
		"troubled round":      step(troubled),
		"more trouble":        step(troubled),
		"killed":              step(s.killed),
		"mend":                step(s.mending),
		"clock":               step(s.jump),
		"state":               step(s.meddle),
		"last step":           step(s.fallIll),
		"back-up":             step(s.backUp),
		"twin":                step(s.twin),
		"two at once":         step(s.atOnce),
	}
}

// rarely does what is rare: encrypt everything, or hand the archive over.
func (s *sim) rarely(t *rapid.T) {
	switch rapid.IntRange(0, 5).Draw(t, "rarely") {
	case 0:
		s.encrypt(t)
	case 1:
		s.recover()
		for _, c := range s.copies {
			if len(c.rotted) > 0 {
				return // it is to be mended first
			}
		}
		s.takeOver(t, s.anyMachine(t))
	}
}

// rotCopy flips a bit of a file that a copy has committed, or of its seal.
func (s *sim) rotCopy(t *rapid.T) {
	c := s.copies[rapid.IntRange(0, len(s.copies)-1).Draw(t, "copy")]
	keys := slices.Collect(maps.Keys(c.kept))
	for key := range c.look {
		if strings.HasPrefix(key, "extensions/linecamp-seal/") || strings.HasSuffix(key, "/inventory.json") || strings.HasSuffix(key, ".sha256") {
			keys = append(keys, key)
		}
	}
	slices.Sort(keys)
	keys = slices.DeleteFunc(slices.Compact(keys), func(key string) bool {
		return c.rotted[key] != manifest.Digest{} || strings.Contains(key, "linecamp-staging") || strings.Contains(key, "quarantine") || s.unfinished(c, key)
	})
	if len(keys) == 0 {
		return
	}
	key := rapid.SampledFrom(keys).Draw(t, "key")
	b := slices.Clone(c.look[key].bytes)
	if len(b) == 0 {
		return
	}
	bit := rapid.IntRange(0, 7).Draw(t, "bit")
	if strings.HasPrefix(key, "extensions/linecamp-seal/") {
		if !s.sealElsewhere(c) {
			return // nothing could bring it back
		}
		bit = 7 // a seal that still reads as one is caught by another copy or by paper only
	}
	b[rapid.IntRange(0, len(b)-1).Draw(t, "byte")] ^= 1 << bit
	c.rotted[key] = manifest.Sum(b)
	if s.lastOne(c, key) {
		delete(c.rotted, key)
		return
	}
	if c.kept[key] == (manifest.Digest{}) {
		delete(c.rotted, key) // the root pair is derived, and may be made anew
	}
	if strings.HasPrefix(key, "extensions/linecamp-seal/") {
		c.rotted[key] = manifest.Sum(b)
		c.kept[key] = c.look[key].sum
	}
	if c.kind == "s3" {
		c.bucket.mu.Lock()
		o := c.bucket.objects[key]
		o.bytes = b // the service does not notice
		c.bucket.objects[key] = o
		c.bucket.mu.Unlock()
	} else {
		name := filepath.Join(c.path, filepath.FromSlash(key))
		st, err := os.Stat(name)
		s.must(err)
		s.must(os.WriteFile(name, b, 0o666))
		s.must(os.Chtimes(name, st.ModTime(), st.ModTime()))
	}
	c.look[key] = seen{} // to be read again
	delete(c.look, key)
	c.dirty.Store(true)
}

// lastOne reports whether key is what a site is last known by: the last good
// pair of its newest manifest, or the last of a record, which a later version
// may use again. Without these nobody could say what there was, and no promise
// is left to be kept.
func (s *sim) lastOne(c *simCopy, key string) bool {
	slug, _, _ := strings.Cut(key, "/")
	v := s.heads[slug]
	if v == nil {
		return false
	}
	head := v.inv.Head()
	pairs, record, records := 0, c.kept[key], 0
	for _, o := range s.copies {
		for _, folder := range []string{slug + "/", fmt.Sprintf("%s/v%d/", slug, head)} {
			inv, side := folder+"inventory.json", folder+"inventory.json.sha256"
			if o == c && (key == inv || key == side) {
				continue
			}
			if o.look[inv].sum == v.sum && o.look[side].sum == manifest.Sum(manifest.Sidecar(v.inv.Encode())) {
				pairs++
			}
		}
		for _, path := range v.inv.Content[record] {
			if at := slug + "/" + path; (o != c || at != key) && o.look[at].sum == record {
				records++
			}
		}
	}
	isRecord := slices.ContainsFunc(v.inv.Versions, func(v manifest.Version) bool { return v.State[manifest.RecordPath] == record })
	return pairs == 0 || isRecord && records == 0
}

// sealElsewhere reports whether another copy has all of c's seal.
func (s *sim) sealElsewhere(c *simCopy) bool {
	return slices.ContainsFunc(s.copies, func(o *simCopy) bool {
		rotted := false
		for key := range o.rotted {
			rotted = rotted || strings.HasPrefix(key, store.SealFolder)
		}
		return o != c && !rotted && o.sealed >= c.sealed
	})
}

func (s *sim) anyMachine(t *rapid.T) *machine {
	return s.machines[rapid.IntRange(0, len(s.machines)-1).Draw(t, "machine")]
}

// unfinished: a version under way on a copy is nobody's promise yet.
func (s *sim) unfinished(c *simCopy, key string) bool {
	slug, rest, ok := strings.Cut(key, "/")
	return ok && slug != "extensions" && strings.Count(rest, "/") > 0 && c.kept[key] == (manifest.Digest{})
}

// round is a round of a machine, mostly of the one that records.
func (s *sim) round(t *rapid.T, troubled bool) {
	m, agreed := s.recorder()
	if m == nil {
		m = s.machines[0]
	} else if rapid.IntRange(0, 7).Draw(t, "whose") == 0 {
		if other := s.anyMachine(t); other != m {
			m = other
			// A machine that meets only copies on which nobody's name stands yet
			// would record there too: a fork, which is tested elsewhere.
			troubled = troubled && agreed
		}
	}
	s.befall(t, troubled)
	var change []func(*In)
	switch rapid.IntRange(0, 9).Draw(t, "how") {
	case 0, 1:
		change = append(change, func(in *In) { in.Accept = &Acceptance{Who: "Ada", Why: "it is meant"} })
	case 2:
		site := rapid.SampledFrom(simSites).Draw(t, "not listed")
		change = append(change, func(in *In) { hide(in.Tally, site) })
	case 3:
		change = append(change, otherDevice)
	}
	s.mirror(m, change...)
}

// befall gives each copy its trouble for the next round.
func (s *sim) befall(t *rapid.T, troubled bool) {
	for _, c := range s.copies {
		c.trouble = trouble{}
		if c.ailment.rounds--; c.ailment.rounds <= 0 {
			c.ailment = ailment{}
		}
		if c.bucket != nil && rapid.IntRange(0, 2).Draw(t, "listing of today") == 0 {
			c.older = c.bucket.listing()
		}
		if !troubled {
			continue
		}
		kinds := []string{"", "away", "another drive", "empty mount point", "full", "read-only", "failing"}
		if c.kind == "s3" {
			kinds = []string{"", "down", "denied", "busy", "lossy", "slow", "old listings", "revoked", "not handing out content"}
		}
		c.trouble = trouble{kind: rapid.SampledFrom(kinds).Draw(t, "trouble of "+c.name)}
		if c.trouble.kind == "" {
			continue
		}
		s.misled = s.misled || c.trouble.kind == "old listings"
		c.trouble.at = rapid.IntRange(0, 60).Draw(t, "from operation")
		c.trouble.salt = rapid.Uint64().Draw(t, "salt")
	}
}

func (s *sim) killed(t *rapid.T) {
	s.kill.at, s.kill.after = rapid.IntRange(1, 80).Draw(t, "at write"), rapid.Bool().Draw(t, "after it")
	if rapid.IntRange(0, 4).Draw(t, "what") == 0 {
		s.befall(t, false)
		s.mend(s.anyMachine(t))
		return
	}
	s.round(t, rapid.Bool().Draw(t, "troubled"))
}

func (s *sim) mending(t *rapid.T) {
	s.befall(t, rapid.Bool().Draw(t, "troubled"))
	s.mend(s.anyMachine(t))
}

func (s *sim) jump(t *rapid.T) {
	hours := rapid.SampledFrom([]int{1, 30, 24 * 400, -1, -30}).Draw(t, "hours")
	s.peak = latest(s.peak, s.now)
	s.now = s.now.Add(time.Duration(hours) * time.Hour)
}

// meddle loses a machine's state, keeps a copy of it, or puts an old one back.
func (s *sim) meddle(t *rapid.T) {
	m := s.anyMachine(t)
	switch rapid.IntRange(0, 3).Draw(t, "state") {
	case 0:
		was, _ := s.recorder()
		s.loseState(m)
		if was == m && rapid.Bool().Draw(t, "taken over at once") {
			s.befall(t, false)
			s.recover()
			s.takeOver(t, m)
		}
	case 1:
		if len(m.old) > 0 {
			s.misled = true
			s.putBack(m, m.old[rapid.IntRange(0, len(m.old)-1).Draw(t, "day")])
			// A state that is older than a copy out of reach cannot know it:
			// whoever puts one back has the copies at hand.
			s.befall(t, false)
			s.mirror(m)
		}
	default:
		s.saveState(m)
	}
}
