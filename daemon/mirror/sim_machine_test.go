package mirror

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"linecamp/daemon/authority"
	"linecamp/daemon/ledger"
	"linecamp/daemon/mend"
	"linecamp/daemon/mirror/report"
	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/manifest/tally"
	"linecamp/verify"
	"linecamp/verify/history"
	"linecamp/verify/rot"
)

// machine is a computer with the archive's config and a state of its own.
type machine struct {
	name, author, state string
	led                 *ledger.Ledger
	cache               *ledger.Inventories
	old                 []string // copies of the state folder, of earlier days
}

// simCopy is one copy, with what the model knows of it.
type simCopy struct {
	s              *sim
	name, id, kind string
	path           string                     // of a drive
	bucket         *simBucket                 // else
	older          map[string]simObject       // what old listings show
	trouble        trouble                    // of this round
	ailment        ailment                    // of many
	day            *dayOf                     // as it was on an earlier day; nil for none kept
	dirty          atomic.Bool                // written to, or rotted, since it was last looked at
	look           map[string]seen            // as last looked at, by key
	kept           map[string]manifest.Digest // what is committed there
	lacking        map[string]manifest.Digest // committed without its bytes
	rotted         map[string]manifest.Digest // what the simulation made of it
	committed      map[string]int
	sealed         int // bytes of its seal

	mu  sync.Mutex
	ops int
}

func (s *sim) newMachine(n int) *machine {
	m := &machine{name: fmt.Sprint("machine ", n)}
	s.anew(m)
	s.newState(m)
	return m
}

// anew gives a machine another author id.
func (s *sim) anew(m *machine) {
	s.authors++
	// As far from each other as real ones are: of two that differ in a digit, one rotted.
	m.author = uuid.NewSHA1(uuid.NameSpaceOID, []byte(strconv.Itoa(s.authors))).String()
}

func (s *sim) newState(m *machine) {
	m.state = s.folderFor("state")
	s.openState(m)
}

func (s *sim) openState(m *machine) {
	var err error
	m.led, err = ledger.Open(m.state)
	s.must(err)
	m.cache = ledger.OpenInventories(m.state)
}

// loseState makes a machine forget everything, also who it was.
func (s *sim) loseState(m *machine) {
	s.anew(m)
	s.must(m.led.Close())
	s.must(os.RemoveAll(m.state))
	s.newState(m)
}

// saveState keeps a copy of the state folder as it is on disk.
func (s *sim) saveState(m *machine) {
	s.must(m.led.Flush())
	to := s.folderFor("old")
	s.must(copyTree(m.state, to))
	if m.old = append(m.old, to); len(m.old) > 2 {
		s.must(os.RemoveAll(m.old[0]))
		m.old = m.old[1:]
	}
}

// putBack replaces a machine's state by a copy of it.
func (s *sim) putBack(m *machine, from string) {
	s.must(m.led.Close())
	s.must(os.RemoveAll(m.state))
	m.state = s.folderFor("state")
	s.must(copyTree(from, m.state))
	s.openState(m)
}

// copyTree copies a folder of plain files.
func copyTree(from, to string) error {
	entries, err := os.ReadDir(from)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(to, 0o777); err != nil {
		return err
	}
	for _, e := range entries {
		a, b := filepath.Join(from, e.Name()), filepath.Join(to, e.Name())
		if e.IsDir() {
			err = copyTree(a, b)
		} else {
			var data []byte
			if data, err = os.ReadFile(a); err == nil {
				err = os.WriteFile(b, data, 0o600)
			}
		}
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	return nil
}

// reach opens and locks every copy, as the daemon does before a round.
func (s *sim) reach(ctx context.Context) (copies []Copy, leave func()) {
	var undo []func()
	for _, c := range s.copies {
		is := Copy{Name: c.name, ID: c.id, Away: c.trouble.kind == "away"}
		root, err := c.open(ctx)
		if err == nil {
			undo = append(undo, func() { root.Close() })
			var unlock func()
			if unlock, err = root.Lock(ctx); err == nil {
				undo = append(undo, unlock)
				if c.kind == "s3" { // the daemon asks this before it uses one
					var id store.Identity
					if id, err = root.Identity(ctx); err == nil && id.CopyID != c.id {
						err = store.ErrOtherRoot
					}
				}
			}
		}
		if is.Err = err; err == nil {
			is.Root = root
		}
		copies = append(copies, is)
	}
	return copies, func() {
		for _, f := range slices.Backward(undo) {
			f()
		}
	}
}

// running is one round or mend under way, which may be killed.
func (s *sim) running(m *machine, do func(context.Context) error) (killed bool, err error) {
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	left := s.folderFor("killed")
	s.kill.dead, s.kill.done = false, 0
	s.kill.die = func() {
		s.must(copyTree(m.state, left)) // what a kill leaves, and nothing that comes after
		cancel()
	}
	err = do(ctx)
	s.kill.mu.Lock()
	killed = s.kill.dead
	s.kill.at, s.kill.dead = 0, false
	s.kill.mu.Unlock()
	if killed {
		s.putBack(m, left)
	}
	s.must(os.RemoveAll(left))
	return killed, err
}

// mirror runs one round of a machine, and holds its report to the truth.
func (s *sim) mirror(m *machine, change ...func(*In)) (rep report.Report, ok bool) {
	res, err := tally.Read(context.Background(), tally.Options{Folder: s.folder, Cache: m.led, Now: s.clock, Workers: 1})
	s.must(err)
	killed, err := s.running(m, func(ctx context.Context) (err error) {
		copies, leave := s.reach(ctx)
		defer leave()
		in := In{Archive: archiveName, ArchiveID: archiveID, Author: m.author, Machine: m.name, Tally: res,
			Copies: copies, Ledger: m.led, Cache: m.cache, Now: s.clock, OneByOne: s.oneByOne, Aside: filepath.Join(m.state, "aside")}
		for _, f := range change {
			f(&in)
		}
		s.shown = shownBy(in.Tally)
		rep, err = Run(ctx, in)
		return err
	})
	s.tell("round", m, killed, err, rep)
	s.now = s.now.Add(time.Duration(1+rep.Made) * time.Second)
	if killed {
		return rep, false
	}
	if err != nil {
		s.t.Fatalf("the round ended with %v", err)
	}
	s.checkReport(m, rep)
	if is, _ := s.recorder(); is != nil && is.author == m.author {
		s.checkUnkept(rep)
	}
	return rep, true
}

// shownBy lists the files a tally found.
func shownBy(t *tally.Result) map[string]bool {
	shown := map[string]bool{}
	for i := range t.Sites {
		for f := range t.Sites[i].Files() {
			shown[f.Path] = true
		}
	}
	for f := range t.Unfiled.All() {
		shown[f.Path] = true
	}
	return shown
}

// tell notes what a round said, for whoever reads a failure.
func (s *sim) tell(what string, m *machine, killed bool, err error, report any) {
	var b strings.Builder
	if killed {
		b.WriteString("killed. ")
	}
	if err != nil {
		fmt.Fprintf(&b, "%v. ", err)
	}
	for _, c := range s.copies {
		if c.trouble.kind != "" {
			fmt.Fprintf(&b, "%s is %s from %d. ", c.name, c.trouble.kind, c.trouble.at)
		}
		if c.ailment.kind != "" {
			fmt.Fprintf(&b, "%s is %s (%v). ", c.name, c.ailment.kind, c.ailment.err)
		}
	}
	fmt.Fprintf(&b, "%+v", report)
	s.t.Logf("%s, %s of %s: %s", s.now.Format(time.DateTime), what, m.name, b.String())
}

// mend re-reads every copy in reach and the working folder, and mends.
func (s *sim) mend(m *machine) (rep mend.Report) {
	killed, err := s.running(m, func(ctx context.Context) error {
		copies, leave := s.reach(ctx)
		defer leave()
		in := mend.In{Archive: archiveName, Folder: s.folder, Memory: m.led, Aside: filepath.Join(m.state, "aside"), Now: s.clock, Record: m.cache.Record,
			Unfinished: map[string][]string{}}
		for _, c := range copies {
			if c.Err == nil {
				in.Copies = append(in.Copies, verify.Copy{Name: c.Name, ID: c.ID, Root: c.Root})
			}
		}
		s.knownTo(ctx, m, &in)
		heads := map[string]bool{}
		for _, c := range in.Copies {
			o := rot.Options{Allowance: -1, Memory: m.led, Seal: in.Seal, Expected: in.Expected, Now: s.clock, Workers: 1}
			found, err := rot.Check(ctx, c, o)
			if ctx.Err() != nil {
				return ctx.Err()
			}
			s.t.Logf("%s: damage %v, behind %v, unfinished %v (%v)", c.Name, found.Damage, found.Behind, found.Unfinished, err)
			if err != nil {
				continue // it cannot be read now
			}
			in.Damage = append(in.Damage, found.Damage...)
			in.Unfinished[c.Name] = found.Unfinished
			for slug := range found.Heads {
				heads[slug] = true
			}
		}
		pairs := func(yield func(*manifest.Inventory, *manifest.Record) bool) {
			for _, slug := range slices.Sorted(maps.Keys(heads)) {
				if inv, rec := s.cached(m, in.Seal, slug); rec != nil {
					if !yield(inv, rec) {
						return
					}
					continue
				}
				for _, c := range in.Copies {
					inv, rec, err := history.ReadObject(ctx, c.Root, slug)
					if newest, e := in.Expected(slug); err != nil || e == nil && newest.Head() > inv.Head() {
						continue
					}
					if !yield(inv, rec) {
						return
					}
					break
				}
			}
		}
		found, err := rot.Working(ctx, s.folder, pairs, rot.Options{Now: s.clock, Workers: 1})
		if err != nil {
			return err
		}
		in.Damage = append(in.Damage, found.Damage...)
		rep, err = mend.Run(ctx, in)
		return err
	})
	s.tell("mending", m, killed, err, rep)
	if err != nil && !killed {
		s.t.Fatalf("mending ended with %v", err)
	}
	return rep
}

// cached is a site's newest manifest and record as a machine's state has them.
func (s *sim) cached(m *machine, log *seal.Seal, slug string) (*manifest.Inventory, *manifest.Record) {
	inv, err := m.cache.Get(slug)
	if err != nil || inv.Head() < log.Heads()[manifest.ObjectID(archiveName, slug)] {
		return nil, nil
	}
	raw, err := m.cache.Record(slug)
	if err != nil || manifest.Sum(raw) != inv.State(inv.Head())[manifest.RecordPath] {
		return nil, nil
	}
	rec, err := manifest.DecodeRecord(raw)
	s.must(err)
	return inv, rec
}

// knownTo gives mend what the machine knows of the archive, as the daemon does.
func (s *sim) knownTo(ctx context.Context, m *machine, in *mend.In) {
	in.Seal, _ = m.cache.Seal()
	if in.Seal == nil {
		in.Seal, _ = seal.Decode(nil)
		for _, c := range in.Copies {
			if log, err := store.ReadSeal(ctx, c.Root); err == nil && log.Len() > in.Seal.Len() {
				in.Seal = log
			}
		}
	}
	heads := in.Seal.Heads()
	in.Expected = func(slug string) (*manifest.Inventory, error) {
		inv, err := m.cache.Get(slug)
		if err == nil && inv.Head() >= heads[manifest.ObjectID(archiveName, slug)] {
			return inv, nil
		}
		inv = nil
		for _, c := range in.Copies {
			if its, err := store.Head(ctx, c.Root, slug); err == nil && (inv == nil || its.Head() > inv.Head()) {
				inv = its
			}
		}
		if inv == nil {
			return nil, fs.ErrNotExist
		}
		return inv, nil
	}
}

// takeOver makes m the author, as `setup --take-over` does with every copy in
// reach.
func (s *sim) takeOver(t *rapid.T, m *machine) {
	ctx := context.Background()
	copies, leave := s.reach(ctx)
	defer leave()
	best, err := m.cache.Seal()
	if err != nil {
		best, err = seal.Decode(nil)
		s.must(err)
	}
	epoch := 0
	was := make([]*store.Info, len(copies))
	for i, c := range copies {
		if c.Err != nil {
			return
		}
		log, err := store.ReadSeal(ctx, c.Root)
		if err != nil || !log.Extends(best) && !best.Extends(log) {
			return // it is to be mended first
		}
		if log.Len() > best.Len() {
			best = log
		}
		switch a, info, err := store.ReadAuthor(ctx, c.Root); {
		case err == nil:
			epoch, was[i] = max(epoch, a.Epoch), &info
		case !errors.Is(err, fs.ErrNotExist):
			return
		}
	}
	if is, _ := s.recorder(); is == m { // another bears its name, or a round of its was never ended
		s.anew(m)
	}
	s.must(authority.ForgetTwin(m.led))
	best = best.Clone()
	for i, c := range copies {
		s.must(authority.Unread(m.led, c.ID))
		_, err := store.WriteAuthor(ctx, c.Root, store.Author{Archive: archiveID, Author: m.author, Machine: m.name, Epoch: epoch + 1}, was[i])
		s.must(err)
	}
	at := s.now.Truncate(time.Second)
	if lines := best.Lines(); len(lines) > 0 && at.Before(lines[len(lines)-1].At) {
		at = lines[len(lines)-1].At
	}
	s.must(best.Append(seal.Line{N: best.Len() + 1, At: at, What: seal.Author, Author: m.author, Epoch: epoch + 1, Why: "taken over"}))
	for _, c := range copies {
		s.must(store.WriteSeal(ctx, c.Root, best))
	}
	s.must(m.cache.PutSeal(best))
}
