package daemon_test

import (
	"crypto/sha256"
	"flag"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"linecamp/daemon"
	"linecamp/daemon/attention"
)

// How many lives TestStatusTellsTheTruth lives, and from which on.
var (
	lives    = flag.Uint64("lives", 12, "lives that TestStatusTellsTheTruth lives")
	livesOne = flag.Uint64("lives.first", 0, "the first of them")
)

// TestStatusTellsTheTruth lets things happen to an archive by chance: photos come
// and go, drives are unplugged, put back to an earlier day, lose a site, refuse
// the last step of a version round after round or hand out fifty files in a row no
// more, the bucket loses a site, is put back or revokes the keys in the middle of
// a round, a copy of the state folder runs two rounds, the working folder is not
// there, nobody runs a round for days. After every step, what lies where is read
// behind linecamp's back.
// Whatever is not kept, or not where it should be, and could be known, status says
// that something wants a person. In the end all is put right, and it says so too.
func TestStatusTellsTheTruth(t *testing.T) {
	for seed := *livesOne; seed < *livesOne+*lives; seed++ {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			l := newLife(t, seed)
			for range 14 {
				l.step()
				l.check()
			}
			l.peace()
		})
	}
}

type digest = [sha256.Size]byte

// life is one archive with two drives and a bucket, and what the test knows of it.
type life struct {
	*ranch
	t     *testing.T
	a     *daemon.Archive
	rand  *rand.Rand
	log   []string
	n     int
	gone  bool              // the working folder is not there
	away  map[string]string // drives that are unplugged, and where they lie
	saved map[string]string // drives as they were on an earlier day

	bucketed []object // the bucket as it was on an earlier day; nil for none
	blocked  []string // files that stand where a version was to go

	broken  map[string]map[string]digest // by copy, files that cannot be read, and what they held
	found   map[string]map[string]bool   // of these: a check has met them since
	revoked atomic.Int64                 // requests that the bucket still answers; -1 for all
	denied  bool                         // an operation met revoked keys
	twins   int                          // rounds from a copy of the state folder
	made    bool                         // a round has recorded something, so somebody records the archive

	had   map[string]map[digest]bool // what each copy had at some time
	told  map[string]map[digest]bool // of that: lost, and a round has looked since
	seen  map[digest]bool            // in the folder when a round ran
	round time.Time                  // when the last one ran
}

var kinds = []string{"shelf", "barn", "bucket"}

func newLife(t *testing.T, seed uint64) *life {
	r := newRanch(t, "shelf", "barn").bucket()
	for _, site := range []string{"Windmill/Stake 3", "North Draw/Post 1"} { // this year's too
		r.photo(site + "/2026-06-21/plot.jpg")
		r.photo(site + "/2026-06-21/landscape.jpg")
		r.write(site+"/2026-06-21/notes.txt", "grass "+site)
	}
	l := &life{ranch: r, t: t, rand: rand.New(rand.NewPCG(seed, 0)), away: map[string]string{}, saved: map[string]string{},
		had: map[string]map[digest]bool{}, told: map[string]map[digest]bool{}, seen: map[digest]bool{}}
	l.broken, l.found = map[string]map[string]digest{}, map[string]map[string]bool{}
	for _, k := range kinds {
		l.had[k], l.told[k] = map[digest]bool{}, map[digest]bool{}
		l.broken[k], l.found[k] = map[string]digest{}, map[string]bool{}
	}
	l.revoked.Store(-1)
	r.before(func(w http.ResponseWriter, q *http.Request) bool {
		switch left := l.revoked.Load(); {
		case left < 0:
			return false
		case left > 0:
			l.revoked.Add(-1)
			return false
		}
		return refuse(w, http.StatusForbidden, "InvalidAccessKeyId")
	})
	r.setup()
	l.a = r.open()
	return l
}

func (l *life) say(format string, args ...any) { l.log = append(l.log, fmt.Sprintf(format, args...)) }

func (l *life) fatal(format string, args ...any) {
	l.t.Helper()
	l.t.Fatalf("%s\nafter:\n  %s", fmt.Sprintf(format, args...), strings.Join(l.log, "\n  "))
}

func (l *life) must(err error) {
	l.t.Helper()
	if err != nil {
		l.fatal("%v", err)
	}
}

func (l *life) step() {
	l.now = l.now.Add(time.Hour)
	drive := kinds[l.rand.IntN(2)]
	_, unplugged := l.away[drive]
	switch what := l.rand.IntN(25); {
	case what < 3 && !l.gone:
		l.n++
		path := fmt.Sprintf("%s/2026-09-%02d/plot.jpg", []string{"Windmill/Stake 3", "North Draw/Post 1"}[l.rand.IntN(2)], 1+l.n)
		l.say("a photo: %s", path)
		l.photo(path)
	case what == 3 && !l.gone:
		l.n++
		l.say("loose photos")
		for i := range 9 {
			l.photo(fmt.Sprintf("Phone %d/IMG_%d.jpg", l.n, i))
		}
	case what == 4 && !l.gone:
		l.say("years are deleted")
		for _, site := range []string{"Windmill/Stake 3", "North Draw/Post 1"} {
			for year := 2023; year <= 2025; year++ {
				l.must(os.RemoveAll(filepath.Join(l.folder, site, fmt.Sprint(year, "-06-21"))))
			}
		}
	case what == 5:
		l.gone = !l.gone
		l.say("the working folder is away: %v", l.gone)
		from, to := l.folder, l.folder+" away"
		if !l.gone {
			from, to = to, from
		}
		l.must(os.Rename(from, to))
	case what == 6 && unplugged:
		l.plug(drive)
	case what == 6:
		l.say("%s is unplugged", drive)
		l.away[drive] = filepath.Join(l.dir, drive+" in the truck")
		l.must(os.Rename(filepath.Dir(l.drive(drive)), l.away[drive]))
	case what == 7 && !unplugged && l.saved[drive] == "":
		l.say("%s is copied", drive)
		l.saved[drive] = filepath.Join(l.dir, drive+" of an earlier day")
		l.must(os.CopyFS(l.saved[drive], os.DirFS(l.drive(drive))))
	case what == 7 && !unplugged:
		l.say("%s is put back to an earlier day", drive)
		l.must(os.RemoveAll(l.drive(drive)))
		l.must(os.CopyFS(l.drive(drive), os.DirFS(l.saved[drive])))
	case what == 8 && !unplugged:
		l.say("a site goes from %s", drive)
		l.must(os.RemoveAll(filepath.Join(l.drive(drive), "windmill--stake-3")))
	case what == 9:
		l.say("a site goes from the bucket")
		l.empty("saltbush-draw/windmill--stake-3/")
	case what == 10:
		l.say("five days go by")
		l.now = l.now.AddDate(0, 0, 5)
	case what == 11 && l.bucketed == nil:
		l.say("the bucket is copied")
		l.bucketed = l.objects("saltbush-draw/")
	case what == 11:
		l.say("the bucket is put back to an earlier day")
		l.empty("saltbush-draw/")
		l.fill(l.bucketed)
	case what == 12 && !unplugged:
		l.block(drive)
	case what == 13 && l.made:
		l.twin()
	case what == 14 && !unplugged && len(l.broken[drive]) == 0:
		l.unreadable(drive)
	case what == 15 && l.revoked.Load() < 0:
		l.revoked.Store(int64(l.rand.IntN(12)))
		l.say("the keys are revoked after %d requests", l.revoked.Load())
	case what == 15:
		l.say("the keys are good again")
		l.revoked.Store(-1)
	case what == 16 && !l.gone:
		l.n++
		l.say("sixty photos")
		for i := range 60 {
			l.photo(fmt.Sprintf("Windmill/Stake 3/2026-10-%02d/plot %d.jpg", 1+l.n, i))
		}
	case what == 17 || what == 18:
		l.verify()
	case what == 19:
		d, err := l.a.Mend(l.t.Context(), daemon.MendOptions{}, nil)
		l.must(err)
		l.say("mend: %s", strings.ReplaceAll(strings.TrimSpace(printed(d)), "\n", "\n    "))
		l.meet()
	default:
		l.mirror()
	}
}

func (l *life) mirror() {
	before := l.lost()
	folder := l.inFolder()
	m, err := l.a.Mirror(l.t.Context(), daemon.MirrorOptions{}, nil)
	l.must(err)
	l.say("mirror: %s", strings.ReplaceAll(strings.TrimSpace(printed(m)), "\n", "\n    "))
	l.made = l.made || m.Made > 0
	l.round = l.now
	l.meet()
	for d := range folder {
		l.seen[d] = true
	}
	for k, lost := range before {
		if k == "bucket" {
			continue // found within some rounds, and by the next check
		}
		for d := range lost {
			l.told[k][d] = true
		}
	}
}

// inFolder are the digests of all files in the working folder.
func (l *life) inFolder() map[digest]bool {
	if l.gone {
		return nil
	}
	return digests(l.t, os.DirFS(l.folder))
}

// digests are those of all files below a folder.
func digests(t *testing.T, fsys fs.FS) map[digest]bool {
	t.Helper()
	all := map[digest]bool{}
	err := fs.WalkDir(fsys, ".", func(p string, d fs.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() {
			return err
		}
		b, err := fs.ReadFile(fsys, p)
		all[sha256.Sum256(b)] = true
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// content is what a copy holds; nil where it is unplugged.
func (l *life) content(k string) map[digest]bool {
	l.t.Helper()
	if k != "bucket" {
		if _, unplugged := l.away[k]; unplugged {
			return nil
		}
		all := digests(l.t, os.DirFS(l.drive(k)))
		for _, d := range l.stillBroken(k) {
			all[d] = true // it is there; a check finds that it cannot be read
		}
		return all
	}
	all := map[digest]bool{}
	for _, o := range l.objects("saltbush-draw/") {
		all[sha256.Sum256(o.body)] = true
	}
	return all
}

// photos are the digests that people put into the folder at any time.
func (l *life) photos() map[digest]bool {
	all := map[digest]bool{}
	for d := range l.seen {
		all[d] = true
	}
	for d := range l.inFolder() {
		all[d] = true
	}
	return all
}

// lost is, by copy within reach, what it had of people's files and has not.
func (l *life) lost() map[string]map[digest]bool {
	people := l.photos()
	lost := map[string]map[digest]bool{}
	for _, k := range kinds {
		now := l.content(k)
		if now == nil {
			continue
		}
		lost[k] = map[digest]bool{}
		for d := range people {
			switch {
			case now[d]:
				l.had[k][d] = true
				delete(l.told[k], d)
			case l.had[k][d]:
				lost[k][d] = true
			}
		}
	}
	return lost
}

// lacks says what is not as it should be, and can be known.
func (l *life) lacks() (all []string) {
	if l.gone {
		all = append(all, "the working folder is not there")
	}
	l.lost()
	if l.round.IsZero() {
		return append(all, "nothing was ever mirrored")
	}
	if l.now.Sub(l.round) > 72*time.Hour {
		all = append(all, "no round has run for days")
	}
	if l.denied && l.revoked.Load() == 0 {
		all = append(all, "the bucket refuses the keys")
	}
	for _, k := range kinds[:2] {
		if l.away[k] == "" && len(l.stillBroken(k)) > 0 && len(l.found[k]) > 0 {
			all = append(all, fmt.Sprintf("%d files of %s cannot be read", len(l.found[k]), k))
		}
	}
	kept := map[digest]bool{} // somewhere
	for _, k := range kinds {
		for d := range l.had[k] {
			if !l.told[k][d] {
				kept[d] = true
			}
		}
	}
	for d := range l.inFolder() {
		if l.seen[d] && !kept[d] {
			all = append(all, fmt.Sprintf("a round saw %x, and no copy has it", d[:4]))
		}
	}
	for _, k := range kinds {
		now := l.content(k)
		for d := range kept {
			if now != nil && !now[d] && (l.told[k][d] || !l.had[k][d]) {
				all = append(all, fmt.Sprintf("%s lacks %x", k, d[:4]))
			}
		}
	}
	return all
}

// wants is what status says beside the years, which have tests of their own.
func (l *life) wants() ([]attention.Item, daemon.Status) {
	l.t.Helper()
	s, err := l.a.Status(l.t.Context())
	l.must(err)
	return slices.DeleteFunc(slices.Clone(s.Attention), func(i attention.Item) bool {
		return i.Kind == attention.Years || i.Kind == attention.Findings
	}), s
}

func (l *life) check() {
	l.t.Helper()
	lacks := l.lacks()
	if wants, s := l.wants(); len(lacks) > 0 && len(wants) == 0 {
		l.fatal("status is content although %s:\n%s", strings.Join(lacks, "; "), printed(s))
	}
}

// peace puts everything right, as a person would who reads what status says.
func (l *life) peace() {
	if l.gone {
		l.gone = false
		l.must(os.Rename(l.folder+" away", l.folder))
	}
	for _, d := range kinds[:2] {
		if _, unplugged := l.away[d]; unplugged {
			l.plug(d)
		}
	}
	for _, at := range l.blocked {
		if st, err := os.Lstat(at); err == nil && st.Mode().IsRegular() {
			l.must(os.Remove(at))
		}
	}
	l.revoked.Store(-1)
	lost := l.nowhere()
	for i := 1; ; i++ {
		l.now = l.now.Add(time.Hour)
		m, err := l.a.Mirror(l.t.Context(), daemon.MirrorOptions{AcceptChanges: true, Why: "looked at it"}, nil)
		l.must(err)
		v, err := l.a.Verify(l.t.Context(), daemon.VerifyOptions{}, nil)
		l.must(err)
		d, err := l.a.Mend(l.t.Context(), daemon.MendOptions{}, nil)
		l.must(err)
		l.say("mirror: %s", strings.ReplaceAll(strings.TrimSpace(printed(m)), "\n", "\n    "))
		l.say("verify: %s", strings.ReplaceAll(strings.TrimSpace(printed(v)), "\n", "\n    "))
		l.say("mend: %s", strings.ReplaceAll(strings.TrimSpace(printed(d)), "\n", "\n    "))
		wants, s := l.wants()
		if len(wants) == 0 && lost > 0 {
			l.fatal("%d files are nowhere any more, and status is content:\n%s", lost, printed(s))
		}
		if len(wants) == 0 || lost > 0 && i == 4 {
			break
		}
		if i == 4 {
			l.fatal("all was put right, and status says:\n%s", printed(s))
		}
	}
	for d := range l.inFolder() {
		l.seen[d] = true
	}
	for _, k := range kinds {
		now := l.content(k)
		for _, d := range l.stillBroken(k) {
			delete(now, d)
		}
		for d := range l.inFolder() {
			if !now[d] && lost == 0 {
				l.fatal("all is said to be well, and %s lacks %x", k, d[:4])
			}
		}
	}
}
