package mirror

import (
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"syscall"

	"pgregory.net/rapid"

	"linecamp/manifest"
)

// ailment is what is wrong with the last step of storing on a copy for many
// rounds: it takes the content, can be read, and refuses what makes it count.
type ailment struct {
	kind   string // "" for none
	err    error  // of a drive
	rounds int    // it has left
}

// ailments are all that a copy may have, by what they refuse.
var ailments = map[string]func(what, name string) bool{
	"refusing renames": func(what, _ string) bool { return what == "rename" },
	"full at the manifest": func(what, name string) bool {
		return (what == "create" || what == "put") && strings.HasSuffix(name, "/inventory.json")
	},
	"without its last sync": func(what, name string) bool {
		return what == "sync" && name != "" && !strings.HasPrefix(name, "extensions") && !strings.HasPrefix(name, ".")
	},
	"refusing the sidecar": func(what, name string) bool {
		return what == "put" && strings.HasSuffix(name, "/inventory.json.sha256")
	},
	"refusing its seal": func(what, name string) bool {
		return (what == "update" || what == "create" || what == "put") && strings.Contains(name, "linecamp-seal")
	},
}

func (c *simCopy) ails(what, name string) bool {
	refused, ok := ailments[c.ailment.kind]
	return ok && refused(what, name)
}

// fallIll has the last step fail on one copy from now on, for up to ten rounds.
func (s *sim) fallIll(t *rapid.T) {
	c := s.copies[rapid.IntRange(0, len(s.copies)-1).Draw(t, "copy")]
	kinds := []string{"refusing renames", "full at the manifest", "without its last sync", "refusing its seal"}
	if c.kind == "s3" {
		kinds = []string{"full at the manifest", "refusing the sidecar", "refusing its seal"}
	}
	c.ailment = ailment{kind: rapid.SampledFrom(kinds).Draw(t, "ailment"),
		err:    rapid.SampledFrom([]error{syscall.EPERM, syscall.ENOSPC, syscall.EIO}).Draw(t, "says"),
		rounds: rapid.IntRange(2, 10).Draw(t, "rounds")}
	simFaults["last step"]++
}

// recover lets all copies be well again.
func (s *sim) recover() {
	for _, c := range s.copies {
		c.trouble, c.ailment = trouble{}, ailment{}
	}
}

// dayOf is a copy as it was on an earlier day, and what the model knew of it.
type dayOf struct {
	objects       map[string]simObject // of a bucket
	path          string               // else the folder it was copied to
	look          map[string]seen
	kept, lacking map[string]manifest.Digest
	committed     map[string]int
	sealed        int
}

// backUp keeps a copy of a copy, or puts an earlier one back: a service restores
// a bucket, a person a drive. It is put back only where nothing is lost by it: all
// that it lacked on that day is on another copy.
func (s *sim) backUp(t *rapid.T) {
	c := s.copies[rapid.IntRange(0, len(s.copies)-1).Draw(t, "copy")]
	underWay := slices.ContainsFunc(slices.Collect(maps.Keys(c.look)), func(key string) bool { return strings.HasPrefix(key, "extensions/linecamp-staging") })
	if c.day == nil || rapid.IntRange(0, 2).Draw(t, "what") == 0 {
		if underWay || len(c.rotted) > 0 {
			return
		}
		d := &dayOf{look: maps.Clone(c.look), kept: maps.Clone(c.kept), lacking: maps.Clone(c.lacking), committed: maps.Clone(c.committed), sealed: c.sealed}
		if c.kind == "s3" {
			d.objects = c.bucket.listing()
		} else {
			if c.day != nil {
				s.must(os.RemoveAll(c.day.path))
			}
			d.path = s.folderFor("day")
			s.must(copyTree(c.path, d.path))
		}
		c.day = d
		return
	}
	d := c.day
	if underWay || !s.sealElsewhere(c) || c.epoch(c.look) != c.epoch(d.look) {
		return
	}
	for slug := range c.committed {
		if c.committed[slug] > 0 && !s.elsewhere(c, slug) {
			return
		}
	}
	if c.kind == "s3" {
		c.bucket.mu.Lock()
		c.bucket.objects = maps.Clone(d.objects)
		c.bucket.mu.Unlock()
	} else {
		s.must(os.RemoveAll(c.path))
		s.must(copyTree(d.path, c.path))
	}
	c.look = map[string]seen{}
	c.kept, c.lacking, c.rotted, c.committed, c.sealed = maps.Clone(d.kept), maps.Clone(d.lacking), map[string]manifest.Digest{}, maps.Clone(d.committed), d.sealed
	c.dirty.Store(true)
	s.misled = true
	simFaults["put back"]++
}

// twin has a copy of the recording machine's state folder run two rounds, after
// which the machine itself goes on: one that knows that it is a copy, which records
// nothing, or one that nobody can tell from it. All copies are within reach, as they
// must be for two that know nothing of each other.
func (s *sim) twin(t *rapid.T) {
	m, agreed := s.recorder()
	if m == nil || !agreed {
		return
	}
	if !s.peaceful(t) {
		return
	}
	w := s.copyOf(m)
	defer s.leave(w)
	var change []func(*In)
	if rapid.Bool().Draw(t, "is told") {
		s.anew(w)
		change = append(change, func(in *In) { in.Copied = m.author })
	}
	for range 2 {
		s.mirror(w, change...)
		if rapid.Bool().Draw(t, "a visit meanwhile") {
			s.addVisit(t)
			s.now = s.now.AddDate(0, 0, 1)
		}
	}
	s.mirror(m)
	simFaults["twin"]++
}

// atOnce has a twin's round run in the middle of a round of the recording machine.
func (s *sim) atOnce(t *rapid.T) {
	m, agreed := s.recorder()
	if m == nil || !agreed || *concurrent {
		return
	}
	if !s.peaceful(t) {
		return
	}
	w := s.copyOf(m)
	defer s.leave(w)
	s.kill.meetAt = rapid.IntRange(1, 60).Draw(t, "at write")
	s.kill.meet = func() {
		at, after, done, die := s.kill.at, s.kill.after, s.kill.done, s.kill.die
		s.mirror(w)
		s.kill.at, s.kill.after, s.kill.done, s.kill.die = at, after, done, die
		simFaults["two at once"]++
	}
	s.mirror(m)
	s.kill.meet = nil
	s.mirror(m)
}

// peaceful brings all copies within reach, and reports whether they are to be read
// without mending first.
func (s *sim) peaceful(t *rapid.T) bool {
	s.befall(t, false)
	for _, c := range s.copies {
		if len(c.rotted) > 0 {
			return false
		}
	}
	return true
}

func (s *sim) copyOf(m *machine) *machine {
	s.must(m.led.Flush())
	w := &machine{name: "a twin of " + m.name, author: m.author, state: s.folderFor("state")}
	s.must(copyTree(m.state, w.state))
	s.openState(w)
	return w
}

func (s *sim) leave(w *machine) {
	s.must(w.led.Close())
	s.must(os.RemoveAll(w.state))
}

// simFaults counts what happened in all lives of a run, beside the steps.
var simFaults = map[string]int{}

func faultsSeen() string {
	var all []string
	for _, what := range slices.Sorted(maps.Keys(simFaults)) {
		all = append(all, fmt.Sprintf("%s %d", what, simFaults[what]))
	}
	return strings.Join(all, ", ")
}
