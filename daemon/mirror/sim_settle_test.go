package mirror

import (
	"context"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"pgregory.net/rapid"

	"linecamp/daemon/mirror/plan"
	"linecamp/daemon/mirror/report"
	"linecamp/daemon/reach"
	"linecamp/manifest"
	"linecamp/verify"
	"linecamp/verify/restore"
	"linecamp/verify/rot"
)

// settle lets the troubles cease. A few rounds, with a person's word for what
// waits, must then bring everything to where it should be.
func (s *sim) settle(t *rapid.T) {
	s.t = t
	m, _ := s.recorder()
	if m == nil {
		m = s.machines[0]
	}
	s.befall(t, false)
	s.recover()
	var rep report.Report
	const enough = 6
	for i := 1; ; i++ {
		if lines := strings.Fields(string(s.seal)); len(lines) > 0 { // the clock is right again
			s.now = latest(s.now, s.lastSealed())
		}
		s.now = latest(s.now, s.peak).Add(48 * time.Hour)
		mended := s.mend(m)
		if slices.ContainsFunc(rep.Waiting, func(w report.Waiting) bool { return strings.Contains(w.Reason, "setup --take-over") }) {
			s.takeOver(t, m)
		}
		rep, _ = s.mirror(m, func(in *In) { in.Accept = &Acceptance{Who: "Ada", Why: "looked at it"} })
		if more := s.bring(m, rep); !more && s.atRest(rep) {
			break
		}
		if i == enough {
			t.Fatalf("after %d rounds without trouble:\n%+v\n%+v", i, rep, mended)
		}
	}
	s.checkHeads()
	s.checkRot(m)
	s.checkRestored(t)
	if entries, err := os.ReadDir(s.empty); err != nil || len(entries) > 0 {
		t.Fatalf("something was written under an empty mount point: %v (%v)", entries, err)
	}
}

func latest(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

// lastSealed is the time of the newest line of the seal.
func (s *sim) lastSealed() time.Time {
	lines := strings.Split(strings.TrimSpace(string(s.seal)), "\n")
	at, err := time.Parse(time.RFC3339, strings.Fields(lines[len(lines)-1])[1])
	s.must(err)
	return at
}

// atRest reports whether a round found nothing left to do, but for what only a
// person or nobody can put right.
func (s *sim) atRest(rep report.Report) bool {
	for _, c := range rep.Copies {
		if c.State != reach.Current {
			return false
		}
	}
	for _, w := range rep.Waiting {
		f := s.files[w.Path]
		switch {
		case w.Reason == plan.ReasonEmpty && len(s.files) == 0:
		case w.Reason == plan.ReasonDamaged && f != nil && (f.rotten || f.was != nil) && !s.anywhere(f.may()[len(f.may())-1]):
		default:
			return false
		}
	}
	return rep.Made == 0
}

// anywhere reports whether any copy has good bytes of d.
func (s *sim) anywhere(d manifest.Digest) bool {
	for _, c := range s.copies {
		for key, is := range c.kept {
			if is == d && c.look[key].sum == d {
				return true
			}
		}
	}
	return false
}

// recorded are the newest versions' files, by where they lie in the folder: by several sites,
// where a place was taken. It is not ok where a record was lost with all its copies.
func (s *sim) recorded() (all map[string][]manifest.Digest, ok bool) {
	all = map[string][]manifest.Digest{}
	for _, v := range s.heads {
		if v.rec == nil {
			return nil, false
		}
		for logical, d := range v.inv.State(v.inv.Head()) {
			if raw := manifest.RawPath(v.rec.Base, logical, v.rec.Paths[logical]); !strings.HasPrefix(logical, ".linecamp/") && !slices.Contains(all[raw], d) {
				all[raw] = append(all[raw], d)
			}
		}
	}
	return all, true
}

// checkHeads: the newest versions together are the working folder, and each has
// its line.
func (s *sim) checkHeads() {
	recorded, ok := s.recorded()
	if !ok {
		return
	}
	for id := range s.versions {
		if !s.named[id] {
			s.t.Fatalf("%s never got its line in the seal", id)
		}
	}
	if len(s.files) == 0 {
		return // an empty folder is never recorded
	}
	for path, f := range s.files {
		if !slices.ContainsFunc(f.may(), func(d manifest.Digest) bool { return slices.Contains(recorded[path], d) }) {
			s.t.Fatalf("%s is not recorded as it is (nor said to wait)", path)
		}
	}
	for path := range recorded {
		if len(recorded[path]) > 1 && !s.takenPlace[path] {
			s.t.Fatalf("%s is recorded by several sites, with other bytes each", path)
		}
		if s.files[path] == nil && slices.ContainsFunc(recorded[path], s.anywhere) && !s.takenPlace[path] {
			s.t.Fatalf("%s is recorded and not there", path)
		}
	}
}

// checkRot: every copy reads back whole, but for bytes that are nowhere.
func (s *sim) checkRot(m *machine) {
	ctx := context.Background()
	copies, leave := s.reach(ctx)
	defer leave()
	for _, c := range copies {
		s.must(c.Err)
		found, err := rot.Check(ctx, verify.Copy{Name: c.Name, ID: c.ID, Root: c.Root}, rot.Options{Allowance: -1, Now: s.clock, Workers: 1})
		s.must(err)
		is := s.copyNamed(c.Name)
		for _, d := range found.Damage {
			key := d.Object + "/" + d.Content
			want, kept := is.kept[key]
			if !kept {
				want = is.lacking[key]
			}
			if d.Kind == verify.Stray && !c.Can().Local && s.unnamable(d) || d.Kind != verify.Stray && !s.anywhere(want) {
				continue
			}
			s.t.Fatalf("%s is left with damage: %+v", c.Name, d)
		}
		if len(found.Behind)+len(found.Unfinished) > 0 {
			s.t.Fatalf("%s is left behind %v, unfinished %v", c.Name, found.Behind, found.Unfinished)
		}
	}
}

// unnamable: in a bucket nothing is deleted. What was stored for a version that
// was never made stays; the version that takes its number names it, unless an
// old state or an old listing did not tell of it.
func (s *sim) unnamable(d verify.Damage) bool { return s.heads[d.Object] == nil || s.misled }

// checkRestored: one copy alone brings back exactly the working folder.
func (s *sim) checkRestored(t *rapid.T) {
	if len(s.files) == 0 || len(s.heads) == 0 {
		return
	}
	ctx := context.Background()
	copies, leave := s.reach(ctx)
	defer leave()
	c := copies[rapid.IntRange(0, len(copies)-1).Draw(t, "restored from")]
	into := s.folderFor("restored")
	recorded, _ := s.recorded()
	rep, err := restore.Run(ctx, []restore.Source{{Name: c.Name, Root: c.Root}},
		restore.Options{Everything: true, Into: into, On: s.now.Add(time.Hour).Format(time.RFC3339), Workers: 1})
	s.must(err)
	failed := map[string]bool{}
	for _, f := range rep.Failed {
		failed[f.Path] = true
	}
	for path, f := range s.files {
		b, err := os.ReadFile(filepath.Join(into, filepath.FromSlash(path)))
		may := f.may()
		if _, d := s.onRecord(path); slices.Contains(may, d) {
			may = []manifest.Digest{d}
		}
		if failed[path] && s.takenPlace[path] {
			may = recorded[path] // of two sites that have a file of this name, one brings it back
		}
		if failed[path] && !slices.ContainsFunc(may, s.anywhere) {
			continue
		}
		if err != nil || !slices.Contains(may, manifest.Sum(b)) {
			s.t.Fatalf("%s came back from %s as %q, not %q (%v; %v)", path, c.Name, b, f.bytes, err, rep.Failed)
		}
	}
}
