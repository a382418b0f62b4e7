package mirror

import (
	"context"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"linecamp/daemon/authority"
	"linecamp/daemon/identity"
	"linecamp/daemon/mirror/adopt"
	"linecamp/daemon/mirror/plan"
	"linecamp/daemon/mirror/report"
	"linecamp/daemon/reach"
	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/tally"
	"linecamp/verify/restore"
)

// meeting is an archive's life between three machines, each with a folder of its
// own, and copies of which each machine reaches some at a time. Machines take over with
// whatever copy is at hand, are cloned, and put back: what makes several histories, which
// then meet. It knows every file
// of a version that was ever committed anywhere, and every seal that anybody could
// have printed. Nothing rots here; that is what sim is for.
type meeting struct {
	*sim
	folders map[*machine]string
	ever    map[manifest.Digest]string            // content of a version → where it was committed first
	made    map[manifest.Digest]string            // inventory of a version → the same
	had     map[string]map[string]manifest.Digest // what each copy had committed, by key
	printed map[string]string                     // "N SHA256" → where it could be printed first
	last    map[*simCopy]recorder                 // who made versions last with that copy at hand
	photos  int
}

func newMeeting(t rapid.TB, dir, copies string) *meeting {
	s := &meeting{sim: newSimOf(t, dir, copies), folders: map[*machine]string{}, ever: map[manifest.Digest]string{}, made: map[manifest.Digest]string{},
		had: map[string]map[string]manifest.Digest{}, printed: map[string]string{}, last: map[*simCopy]recorder{}}
	s.machines = append(s.machines, s.newMachine(3))
	for i, m := range s.machines {
		s.folders[m] = filepath.Join(dir, fmt.Sprint("folder", i))
		s.must(os.MkdirAll(s.folders[m], 0o777))
		s.known(m)
		s.photo(m, "North/Windmill/2018-06-21/first.jpg", "the first photo") // a folder is never empty
	}
	for _, c := range s.copies {
		s.had[c.name] = map[string]manifest.Digest{}
	}
	return s
}

// known writes down in a machine's state who it is.
func (s *meeting) known(m *machine) {
	s.must(os.WriteFile(filepath.Join(m.state, "machine.json"), fmt.Appendf(nil, `{"author": %q, "machine": %q, "place": {"folder": "somewhere"}}`, m.author, m.name), 0o600))
}

// who reads from a machine's state who it is.
func (s *meeting) who(m *machine) {
	var err error
	m.author, err = identity.Known(m.state)
	s.must(err)
}

func (s *meeting) photo(m *machine, path, text string) {
	s.photos++
	name := filepath.Join(s.folders[m], filepath.FromSlash(path))
	s.must(os.MkdirAll(filepath.Dir(name), 0o777))
	s.must(os.WriteFile(name, []byte(text), 0o666))
	at := s.now.Add(-48*time.Hour + time.Duration(s.photos)*time.Millisecond)
	s.must(os.Chtimes(name, at, at))
}

func (s *meeting) files(m *machine) (all []string) {
	s.must(filepath.WalkDir(s.folders[m], func(name string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() && d.Name() != "first.jpg" {
			all = append(all, name)
		}
		return err
	}))
	return all
}

// reachable draws which copies a machine reaches now: at least one. Of those, some
// take no writes, or not for long.
func (s *meeting) reachable(t *rapid.T) {
	any := false
	for _, c := range s.copies {
		c.trouble = trouble{}
		switch n := rapid.IntRange(0, 5).Draw(t, "reaches "+c.name); {
		case n < 2:
			c.trouble = trouble{kind: away(c)}
		case n == 2:
			c.trouble = trouble{kind: rapid.SampledFrom(refusals(c)).Draw(t, "trouble"), at: rapid.IntRange(0, 40).Draw(t, "from write"), salt: rapid.Uint64().Draw(t, "salt")}
		default:
			any = true
		}
	}
	if !any {
		s.copies[rapid.IntRange(0, len(s.copies)-1).Draw(t, "reaches")].trouble = trouble{}
	}
}

// refusals are the ways in which a copy that can be read takes no writes.
func refusals(c *simCopy) []string {
	if c.kind == "s3" {
		return []string{"denied", "lossy", "busy"}
	}
	return []string{"read-only", "full", "failing"}
}

// alone has one copy in reach, and the others away.
func (s *meeting) alone(t *rapid.T) {
	at := rapid.IntRange(0, len(s.copies)-1).Draw(t, "reaches only")
	for i, c := range s.copies {
		if c.trouble = (trouble{}); i != at {
			c.trouble.kind = away(c)
		}
	}
}

func away(c *simCopy) string {
	if c.kind == "s3" {
		return "down"
	}
	return "away"
}

// only has all troubles cease but these.
func (s *meeting) only(kinds ...string) {
	for _, c := range s.copies {
		if !slices.Contains(kinds, c.trouble.kind) {
			c.trouble = trouble{}
		}
	}
}

func (s *meeting) all() {
	for _, c := range s.copies {
		c.trouble = trouble{}
	}
}

func (s *meeting) round(m *machine, change ...func(*In)) (rep report.Report, ok bool) {
	res, err := tally.Read(context.Background(), tally.Options{Folder: s.folders[m], Cache: m.led, Now: s.clock, Workers: 1})
	s.must(err)
	killed, err := s.running(m, func(ctx context.Context) (err error) {
		copies, leave := s.reach(ctx)
		defer leave()
		in := In{Archive: archiveName, ArchiveID: archiveID, Author: m.author, Machine: m.name, Tally: res,
			Copies: copies, Ledger: m.led, Cache: m.cache, Now: s.clock, OneByOne: true, Aside: filepath.Join(m.state, "aside")}
		for _, f := range change {
			f(&in)
		}
		rep, err = Run(ctx, in)
		return err
	})
	s.tell("round", m, killed, err, rep)
	s.now = s.now.Add(time.Duration(1+rep.Made) * time.Second)
	if err != nil && !killed {
		s.t.Fatalf("the round ended with %v", err)
	}
	if !killed {
		s.neverTwo(m, rep)
	}
	return rep, !killed
}

// takeOver makes a machine the one that records, with the copies it reaches. A
// photo that it then has is recorded in the next round.
func (s *meeting) takeOver(m *machine) {
	s.lookAll() // so that what the machine before had is known
	copies, leave := s.reach(context.Background())
	var with []authority.Copy
	for _, c := range copies {
		with = append(with, authority.Copy{Name: c.Name, ID: c.ID, Root: c.Root})
	}
	taken, err := authority.TakeOver(context.Background(), authority.Taker{Archive: archiveID, Folder: m.state,
		Self: identity.State{Author: m.author, Machine: m.name}, Copies: with, Notes: m.led, Seal: m.cache, Now: s.clock,
		Adopt: func(was, is *seal.Seal) error {
			return adopt.History(m.led, m.cache, archiveName, with, was, is)
		}})
	leave()
	s.t.Logf("%s takes over: %+v %v", m.name, taken, err)
	if err != nil {
		s.t.Fatalf("%s cannot take over: %v", m.name, err)
	}
	s.who(m)
	s.photo(m, fmt.Sprintf("South/Draw/2020-06-20/new%d.jpg", s.photos), fmt.Sprint("new ", s.photos))
	if rep, ok := s.round(m); ok && rep.Made == 0 {
		s.t.Fatalf("%s took over, and records nothing: %+v", m.name, rep)
	}
}

func (s *meeting) bring(m *machine, rep report.Report) {
	for _, w := range rep.Waiting {
		if w.Reason == plan.ReasonNewer {
			s.must(os.Remove(filepath.Join(s.folders[m], filepath.FromSlash(w.Path))))
		}
	}
	copies, leave := s.reach(context.Background())
	defer leave()
	var from []restore.Source
	for _, c := range copies {
		if c.Err == nil {
			from = append(from, restore.Source{Name: c.Name, Root: c.Root})
		}
	}
	if len(from) > 0 {
		_, err := restore.Run(context.Background(), from, restore.Options{Everything: true, Into: s.folders[m], On: s.now.Add(time.Hour).Format(time.RFC3339), Workers: 1})
		s.must(err)
	}
}

// peace has one machine go on with every copy in reach, the one that records by the
// copies, or one that takes over. A few rounds bring all copies together: every byte
// that was ever committed is on each of them, every seal that was ever printed checks
// there, nothing is damaged, and nobody else records. Then each site is gone on with.
func (s *meeting) peace(t *rapid.T) {
	s.t = t
	s.all()
	m := s.governing()
	if m == nil || rapid.Bool().Draw(t, "a person says who goes on") {
		m = s.machines[rapid.IntRange(0, len(s.machines)-1).Draw(t, "who goes on")]
		s.takeOver(m)
	}
	s.goesOnAlone(m)
}

// goesOnAlone is peace with one machine that goes on.
func (s *meeting) goesOnAlone(m *machine) {
	accept := func(in *In) { in.Accept = &Acceptance{Who: "Ada", Why: "looked at it"} }
	const enough = 10
	rest := func() {
		for i := 1; ; i++ {
			s.now = s.now.Add(time.Hour)
			rep, _ := s.round(m, accept)
			s.bring(m, rep)
			if rep.Made == 0 && len(rep.Waiting) == 0 && !slices.ContainsFunc(rep.Copies, func(c report.CopyState) bool { return c.State != reach.Current }) {
				break
			}
			if i == enough {
				s.t.Fatalf("after %d rounds in peace: %+v", i, rep)
			}
		}
		s.lookAll()
		s.checkAll(m)
	}
	rest()
	for _, other := range s.machines {
		if other == m {
			continue
		}
		s.now = s.now.Add(time.Hour)
		s.photo(other, "North/Gully/2020-06-20/late.jpg", other.name)
		rep, _ := s.round(other, accept)
		if other.author == m.author {
			continue // a copy of its state folder
		}
		if rep.Made > 0 {
			s.t.Fatalf("%s records beside %s: %+v", other.name, m.name, rep)
		}
		if !slices.ContainsFunc(rep.Waiting, func(w report.Waiting) bool { return strings.Contains(w.Reason, "setup --take-over") }) {
			s.t.Fatalf("%s is not told that %s records: %+v", other.name, m.name, rep)
		}
	}
	s.goesOn(m, rest)
}

// goesOn adds a photo to every site, and wants it on every copy.
func (s *meeting) goesOn(m *machine, rest func()) {
	var added []string
	for _, site := range simSites {
		text := "at last " + site
		s.photo(m, site+"/2021-06-21/plot.jpg", text)
		added = append(added, text)
	}
	rest()
	for _, c := range s.copies {
		on, _ := held(s.t, c.bytes())
		for _, text := range added {
			if !on[manifest.Sum([]byte(text))] {
				s.t.Fatalf("%s does not have what was added %s", c.name, text)
			}
		}
	}
}

// governing is the machine that records by the seals on the copies, if it still is
// who it was.
func (s *meeting) governing() *machine {
	var best recorder
	for _, c := range s.copies {
		log, err := seal.Decode([][]byte{s.logOf(c, "extensions/linecamp-seal/log/")})
		s.must(err)
		if is := recorderBy(log, recorder{}); best.author == "" || best.before(is) {
			best = is
		}
	}
	for _, m := range s.machines {
		if m.author == best.author {
			return m
		}
	}
	return nil
}

// TestMeetingSimulation plays the lives of archives that several machines go on
// with; see [meeting]. More of it:
//
//	go test ./daemon/mirror -run TestMeetingSimulation -rapid.nofailfile -rapid.checks=34000 -timeout 0
func TestMeetingSimulation(t *testing.T) {
	if flag.Lookup("rapid.seed").Value.String() == "0" { // none was asked for: the same lives every time
		must(t, flag.Set("rapid.seed", "1"))
		defer flag.Set("rapid.seed", "0")
	}
	base := simBase(t)
	steps := map[string]int{}
	rapid.Check(t, func(t *rapid.T) {
		dir, err := os.MkdirTemp(base, "linecamp-meeting-")
		if err != nil {
			t.Fatal(err)
		}
		defer os.RemoveAll(dir)
		rapid.SyncTest(t, func(t *rapid.T) {
			s := newMeeting(t, dir, rapid.SampledFrom([]string{"d", "s", "dd", "ds", "ss", "dds", "dss"}).Draw(t, "copies"))
			defer s.close()
			s.takeOver(s.machines[0])
			t.Repeat(s.steps(steps))
			s.peace(t)
		})
	})
	t.Logf("%v", steps)
}

func (s *meeting) steps(count map[string]int) map[string]func(*rapid.T) {
	all := map[string]func(*rapid.T){"": func(t *rapid.T) { s.t = t; s.lookAll() }}
	step := func(name string, f func(t *rapid.T, m *machine)) {
		all[name] = func(t *rapid.T) {
			s.t = t
			count[name]++
			s.now = s.now.Add(time.Minute)
			f(t, s.anyMachine(t))
		}
	}
	photo := func(t *rapid.T, m *machine) {
		path := rapid.SampledFrom(simSites).Draw(t, "site") + "/" + rapid.SampledFrom(simDates[:2]).Draw(t, "date") + "/" + rapid.SampledFrom(simNames[:3]).Draw(t, "name")
		s.photo(m, path, fmt.Sprint("photo ", s.photos))
	}
	round := func(t *rapid.T, m *machine) {
		s.reachable(t)
		rep, ok := s.round(m, func(in *In) {
			if rapid.Bool().Draw(t, "accepted") {
				in.Accept = &Acceptance{Who: "Ada", Why: "it is meant"}
			}
		})
		if ok && rapid.IntRange(0, 3).Draw(t, "brought") == 0 {
			s.bring(m, rep)
		}
	}
	step("photo", photo)
	step("another photo", photo)
	step("deleted", func(t *rapid.T, m *machine) {
		if files := s.files(m); len(files) > 0 {
			s.must(os.Remove(rapid.SampledFrom(files).Draw(t, "file")))
		}
	})
	step("round", round)
	step("round again", round)
	step("round once more", round)
	step("killed", func(t *rapid.T, m *machine) {
		s.kill.at, s.kill.after = rapid.IntRange(1, 60).Draw(t, "at write"), rapid.Bool().Draw(t, "after it")
		round(t, m)
		s.kill.at = 0
	})
	step("taken over", func(t *rapid.T, m *machine) {
		s.alone(t)
		if rapid.Bool().Draw(t, "others too") {
			s.reachable(t)
			s.only("away", "down")
		}
		s.takeOver(m)
	})
	step("state", func(t *rapid.T, m *machine) {
		switch rapid.IntRange(0, 3).Draw(t, "state") {
		case 0:
			s.loseState(m)
			s.known(m)
		case 1:
			if len(m.old) > 0 {
				s.putBack(m, m.old[rapid.IntRange(0, len(m.old)-1).Draw(t, "day")])
				s.who(m)
			}
		case 2:
			if twin := s.anyMachine(t); twin != m { // a clone of the disk
				s.saveState(m)
				s.putBack(twin, m.old[len(m.old)-1])
				s.who(twin)
			}
		default:
			s.saveState(m)
		}
	})
	return all
}
