package daemon_test

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/minio/minio-go/v7"

	"linecamp/daemon"
	"linecamp/daemon/attention"
)

// lives is how many lives TestStatusTellsTheTruth lives.
const lives = 12

// TestStatusTellsTheTruth lets things happen to an archive by chance: photos come
// and go, drives are unplugged, put back to an earlier day, lose a site or refuse
// the last step of a version, the bucket loses a site or is put back, a copy of the
// state folder runs a round, the working folder is not there, nobody runs a round
// for days. After every step, what lies where is read behind linecamp's back.
// Whatever is not kept, or not where it should be, and could be known, status says
// that something wants a person. In the end all is put right, and it says so too.
func TestStatusTellsTheTruth(t *testing.T) {
	for seed := range uint64(lives) {
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
	twins    int      // rounds from a copy of the state folder
	made     bool     // a round has recorded something, so somebody records the archive

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
	r.setup()
	l := &life{ranch: r, t: t, rand: rand.New(rand.NewPCG(seed, 0)), away: map[string]string{}, saved: map[string]string{},
		had: map[string]map[digest]bool{}, told: map[string]map[digest]bool{}, seen: map[digest]bool{}}
	for _, k := range kinds {
		l.had[k], l.told[k] = map[digest]bool{}, map[digest]bool{}
	}
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
	switch what := l.rand.IntN(18); {
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
	default:
		l.mirror()
	}
}

func (l *life) plug(drive string) {
	l.say("%s is back", drive)
	l.must(os.Rename(l.away[drive], filepath.Dir(l.drive(drive))))
	delete(l.away, drive)
}

// empty deletes what lies below a prefix of the bucket.
func (l *life) empty(prefix string) {
	c, err := l.server.Client()
	l.must(err)
	for o := range c.Client.ListObjects(l.t.Context(), "monitoring", minio.ListObjectsOptions{Prefix: prefix, Recursive: true}) {
		l.must(o.Err)
		l.must(c.Client.RemoveObject(l.t.Context(), "monitoring", o.Key, minio.RemoveObjectOptions{}))
	}
}

// object is what lies under one key of the bucket.
type object struct {
	key  string
	body []byte
	meta map[string]string
}

// objects are all below a prefix of the bucket.
func (l *life) objects(prefix string) (all []object) {
	c, err := l.server.Client()
	l.must(err)
	for o := range c.Client.ListObjects(l.t.Context(), "monitoring", minio.ListObjectsOptions{Prefix: prefix, Recursive: true}) {
		l.must(o.Err)
		r, err := c.Client.GetObject(l.t.Context(), "monitoring", o.Key, minio.GetObjectOptions{})
		l.must(err)
		b, err := io.ReadAll(r)
		l.must(err)
		st, err := r.Stat()
		l.must(err)
		r.Close()
		all = append(all, object{o.Key, b, st.UserMetadata})
	}
	return all
}

func (l *life) fill(all []object) {
	c, err := l.server.Client()
	l.must(err)
	for _, o := range all {
		_, err := c.Client.PutObject(l.t.Context(), "monitoring", o.key, bytes.NewReader(o.body), int64(len(o.body)), minio.PutObjectOptions{UserMetadata: o.meta})
		l.must(err)
	}
}

// block puts a file where the next version of a site is to go on a drive, so that
// the last step of storing it is refused.
func (l *life) block(drive string) {
	site := filepath.Join(l.drive(drive), "windmill--stake-3")
	for n := 1; ; n++ {
		at := filepath.Join(site, fmt.Sprint("v", n))
		if _, err := os.Lstat(at); err == nil {
			continue
		}
		if n > 1 {
			l.say("a file stands in the way on %s: v%d", drive, n)
			l.must(os.WriteFile(at, []byte("in the way"), 0o666))
			l.blocked = append(l.blocked, at)
		}
		return
	}
}

// twin runs a round from a copy of the state folder, which must record nothing:
// the one that it was copied from goes on.
func (l *life) twin() {
	l.twins++
	cfg := l.load()
	from, err := cfg.StateDir()
	l.must(err)
	cfg.State = filepath.Join(l.dir, fmt.Sprint("state of a twin ", l.twins))
	l.must(os.CopyFS(cfg.State, os.DirFS(from)))
	twin, err := daemon.Open(cfg, daemon.Options{Log: quiet(), Now: l.clock})
	l.must(err)
	defer twin.Close()
	m, err := twin.Mirror(l.t.Context(), daemon.MirrorOptions{}, nil)
	l.must(err)
	l.say("a twin's mirror: %s", strings.ReplaceAll(strings.TrimSpace(printed(m)), "\n", "\n    "))
	if m.Made > 0 {
		l.fatal("a copy of the state folder recorded %d versions", m.Made)
	}
	if len(m.Attention) == 0 {
		l.fatal("a copy of the state folder says that all is well")
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
		if err != nil || d.IsDir() {
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
		return digests(l.t, os.DirFS(l.drive(k)))
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
		if len(wants) == 0 {
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
		for d := range l.inFolder() {
			if !now[d] {
				l.fatal("all is said to be well, and %s lacks %x", k, d[:4])
			}
		}
	}
}
