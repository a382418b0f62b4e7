package mirror

import (
	"context"
	"errors"
	"fmt"
	"hash/fnv"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/minio/minio-go/v7"

	"linecamp/daemon/authority"
	"linecamp/daemon/authority/marks"
	"linecamp/daemon/carried"
	"linecamp/daemon/ledger"
	"linecamp/daemon/mirror/lost"
	"linecamp/daemon/mirror/plan"
	"linecamp/daemon/mirror/report"
	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/manifest/store/crashtest"
	"linecamp/manifest/store/drive"
	"linecamp/manifest/store/s3test"
	"linecamp/manifest/tally"
	"linecamp/verify"
	"linecamp/verify/rot"
)

// The tests of this file and its neighbors stop the world at every single
// operation on a drive and every request to a bucket, let the next rounds run,
// and look at all that is left. LINECAMP_CRASH_SEEDS says how many ways of
// crashing are tried at each; without it there is 1, so that all end within a
// minute. Four meet every fault at every request. With -short, one point in five
// is tried.
func crashSeeds(t testing.TB) int {
	s := os.Getenv("LINECAMP_CRASH_SEEDS")
	if s == "" {
		return 1
	}
	n, err := strconv.Atoi(s)
	if err != nil || n < 1 {
		t.Fatalf("LINECAMP_CRASH_SEEDS is %q, which is no number of seeds", s)
	}
	return n
}

// nextPoint is the point to crash at after n.
func nextPoint(n int) int {
	if testing.Short() {
		return n + 5
	}
	return n + 1
}

// nextMeeting is nextPoint where each life is a whole meeting of histories with a bucket:
// one point in five is tried, one in 25 with -short, and every one with LINECAMP_CRASH_SEEDS.
func nextMeeting(n int) int {
	if os.Getenv("LINECAMP_CRASH_SEEDS") != "" {
		return n + 1
	}
	return n + 5*(nextPoint(n)-n)
}

// files is what a working folder holds: content by path.
type files map[string]string

func (f files) visit(site, date string) {
	for _, name := range []string{"plot.jpg", "landscape.jpg", "notes.txt"} {
		f[site+"/"+date+"/"+name] = strings.Repeat("of "+site+" on "+date+" "+name+"\n", 5)
	}
}

// Four days of a working folder.
func days() [4]files {
	first := files{"budget.txt": "no site"}
	first.visit("North/Windmill", "2019-06-21")
	first.visit("South/Draw", "2020-06-21")

	second := maps.Clone(first) // new visits, a new site, an edit, a deletion, a move
	second.visit("North/Windmill", "2020-06-22")
	second.visit("East/Tank", "2021-06-23")
	second["East/Tank/2021-06-23/añojo.jpg"] = "a name that cannot be a content path"
	second["West/Gate/2021-06-25/plot.jpg"] = "of a site that is gone before the retry"
	second["North/Windmill/2019-06-21/notes.txt"] = "rewritten"
	delete(second, "South/Draw/2020-06-21/landscape.jpg")
	move(second, "South/Draw/2020-06-21/plot.jpg", "South/Draw/2020-06-21/plot again.jpg")

	changed := maps.Clone(second) // what a person did to the new files before the retry
	move(changed, "North/Windmill/2020-06-22/plot.jpg", "North/Windmill/2020-06-22/west/plot.jpg")
	delete(changed, "North/Windmill/2020-06-22/landscape.jpg")
	changed["East/Tank/2021-06-23/notes.txt"] = "rewritten"
	delete(changed, "East/Tank/2021-06-23/landscape.jpg")
	changed["budget.txt"] = "still no site"
	maps.DeleteFunc(changed, func(path, _ string) bool { return strings.HasPrefix(path, "West/") }) // a site that never was

	last := maps.Clone(changed) // something new everywhere
	for _, site := range []string{"North/Windmill", "South/Draw", "East/Tank", "West/Gate"} {
		last.visit(site, "2022-06-24")
	}
	last["wells.txt"] = "no site either"
	return [4]files{first, second, changed, last}
}

func move(f files, from, to string) {
	f[to] = f[from]
	delete(f, from)
}

// paint makes a folder hold f. A file's time depends on its bytes, as it does
// where people edit files.
func (f files) paint(t testing.TB, folder string) *tally.Result {
	t.Helper()
	for path, content := range f {
		name := filepath.Join(folder, filepath.FromSlash(path))
		must(t, os.MkdirAll(filepath.Dir(name), 0o777))
		must(t, os.WriteFile(name, []byte(content), 0o666))
		h := fnv.New32()
		h.Write([]byte(content))
		at := time.Date(2024, 1, 1, 0, 0, int(h.Sum32()%1e6), 0, time.UTC)
		must(t, os.Chtimes(name, at, at))
	}
	res, err := tally.Read(context.Background(), tally.Options{Folder: folder, Now: func() time.Time { return at }})
	must(t, err)
	return res
}

var at = time.Date(2026, 7, 2, 2, 30, 0, 0, time.UTC)

// ground is what every crash starts from: four days of a working folder, and an
// archive on some drives.
type ground struct {
	days   [4]*tally.Result
	dir    string // holds state, and a folder for each drive
	author string // whose state it is
	drives []string
	server *s3test.Server // nil for none: it serves the last copy, "bucket"
	client *minio.Core
	keys   map[string][]byte // what the bucket holds
	harmed bool              // some of it is damaged
	most   int64             // what a version carries; 0 for what it usually does
	part   int64             // the largest body sent to the bucket at once; 0 for the usual
	now    time.Time
}

func newGround(t testing.TB, drives ...string) *ground { return newGroundOf(t, days(), drives...) }

func newGroundOf(t testing.TB, days [4]files, drives ...string) *ground {
	g := &ground{dir: crashtest.Folder(t), author: authorID, drives: drives, now: at}
	for i, f := range days {
		g.days[i] = f.paint(t, filepath.Join(crashtest.Folder(t), "monitoring"))
	}
	must(t, os.Mkdir(filepath.Join(g.dir, "state"), 0o777))
	for i, name := range drives {
		d, err := drive.New(filepath.Join(g.dir, name))
		must(t, err)
		must(t, d.Init(context.Background(), store.Identity{ArchiveID: archiveID, Archive: archiveName, CopyID: copyID(i), Created: at}))
		must(t, d.Close())
	}
	for i := range drives {
		g.markRead(t, copyID(i))
	}
	return g
}

// markRead notes that a copy was read, as setup does.
func (g *ground) markRead(t testing.TB, id string) {
	led, err := ledger.Open(filepath.Join(g.dir, "state"))
	must(t, err)
	must(t, authority.MarkRead(led, id))
	must(t, led.Close())
}

func copyID(i int) string { return fmt.Sprintf("33333333-3333-4333-8333-%012d", i+1) }

// live runs rounds on the ground itself, with the drives named away.
func (g *ground) live(t testing.TB, day int, away ...string) {
	t.Helper()
	w := &world{TB: t, g: g, dir: g.dir, now: g.now, day: day}
	w.load()
	w.open()
	for _, c := range w.copies {
		c.away = slices.Contains(away, c.name)
	}
	rep, err := w.round(context.Background())
	must(t, err)
	if rep.Made == 0 || rep.Wants() {
		t.Fatalf("%+v", rep)
	}
	w.shut()
	g.now = w.now
	if g.server != nil {
		g.keys = w.unload()
	}
}

// world is one life from the ground on, with a crash in it.
type world struct {
	testing.TB
	g      *ground
	dir    string
	state  string
	now    time.Time
	day    int
	copies []*copyOf
	led    *ledger.Ledger
	cache  *ledger.Inventories
	faulty map[string]*crashtest.Drive // drives with an account, by name
	bucket string                      // its name on the server, a new one for each life
	link   *badLink                    // to the bucket
	states int                         // state folders had so far
	lost   bool                        // the state was lost once
	synced map[string]string           // marks as the ledger had them when it was last synced
	where  string                      // the crash, for messages
	kept   map[string]map[string]int   // copy, slug: the version reported as kept
	sealed *seal.Seal                  // what this machine had sealed
	good   map[string]manifest.Digest  // before a mend: what was as it should be
}

func (g *ground) begin(t testing.TB, day int) *world {
	dir, err := os.MkdirTemp(g.dir, "life-")
	must(t, err)
	w := &world{TB: t, g: g, dir: dir, now: g.now, day: day, faulty: map[string]*crashtest.Drive{}}
	for _, name := range append([]string{"state"}, g.drives...) {
		must(t, os.CopyFS(filepath.Join(dir, name), os.DirFS(filepath.Join(g.dir, name))))
	}
	w.load()
	return w
}

func (w *world) Errorf(format string, args ...any) {
	w.TB.Helper()
	w.TB.Errorf("%s: %s", w.where, fmt.Sprintf(format, args...))
}

func (w *world) Fatal(args ...any) {
	w.TB.Helper()
	w.TB.Fatalf("%s: %s", w.where, fmt.Sprint(args...))
}

func (w *world) Fatalf(format string, args ...any) {
	w.TB.Helper()
	w.TB.Fatalf("%s: %s", w.where, fmt.Sprintf(format, args...))
}

// open opens the state and the copies.
func (w *world) open() {
	if w.state == "" {
		w.state = filepath.Join(w.dir, "state")
	}
	var err error
	w.led, err = ledger.Open(w.state)
	must(w, err)
	w.noteSynced()
	w.cache = ledger.OpenInventories(w.state)
	for i, name := range w.g.drives {
		path := filepath.Join(w.dir, name)
		d, err := drive.Open(path, copyID(i))
		must(w, err)
		if f := w.faulty[name]; f != nil {
			d.WrapDisk(f.Wrap)
		}
		w.copies = append(w.copies, &copyOf{name: name, id: copyID(i), kind: "drive", path: path, root: d})
	}
	if w.g.server != nil {
		w.copies = append(w.copies, w.openBucket())
	}
}

func (w *world) shut() {
	must(w, w.led.Close())
	for _, c := range w.copies {
		must(w, c.root.Close())
	}
	w.copies = nil
}

func (w *world) end() {
	w.shut()
	must(w, os.RemoveAll(w.dir))
}

// account puts an account on a drive, as it is now.
func (w *world) account(name string, each bool) *crashtest.Drive {
	d, err := crashtest.New(filepath.Join(w.dir, name))
	must(w, err)
	d.Each = each
	w.faulty[name] = d
	return d
}

// round is one round of the service: the locks taken, then all else.
func (w *world) round(ctx context.Context, change ...func(*In)) (report.Report, error) {
	w.now = w.now.Add(time.Hour)
	in := In{Archive: archiveName, ArchiveID: archiveID, Author: w.g.author, Machine: "office", Tally: w.g.days[w.day],
		Ledger: w.led, Cache: w.cache, Now: func() time.Time { return w.now }, OneByOne: true, synced: w.noteSynced, most: w.g.most}
	for _, c := range w.copies {
		m := Copy{Name: c.name, ID: c.id, Root: c.root, Away: c.away}
		if c.away {
			m.Root = nil
		} else {
			unlock, err := c.root.Lock(ctx)
			if err != nil {
				return report.Report{}, err
			}
			defer unlock()
		}
		in.Copies = append(in.Copies, m)
	}
	for _, f := range change {
		f(&in)
	}
	rep, err := Run(ctx, in)
	rep.Asks = slices.DeleteFunc(rep.Asks, func(q report.Ask) bool { return strings.Contains(string(q), lost.Told) }) // told, and nothing waits
	return rep, err
}

// note takes down what counts as kept: what the state says was committed, and
// the lines sealed.
func (w *world) note() {
	w.kept = map[string]map[string]int{}
	for _, c := range w.copies {
		committed, err := w.led.Committed(c.id)
		must(w, err)
		w.kept[c.name] = committed
	}
	s, err := w.cache.Seal()
	if !errors.Is(err, fs.ErrNotExist) {
		must(w, err)
		w.sealed = s
	}
}

// stillKept looks for everything noted, before anybody has repaired anything.
func (w *world) stillKept() {
	ctx := context.Background()
	for _, c := range w.copies {
		for slug, n := range w.kept[c.name] {
			inv, err := store.Head(ctx, c.root, slug)
			if err != nil || inv.Head() < n {
				w.Errorf("%s: version %d of %s was kept and is not there: %v", c.name, n, slug, err)
				continue
			}
			for d, paths := range inv.Until(n).Content {
				for _, p := range paths {
					b, _, err := store.ReadSmall(ctx, c.root, slug+"/"+p, 1<<20)
					if err != nil || manifest.Sum(b) != d {
						w.Errorf("%s: %s/%s was kept and is not what it was: %v", c.name, slug, p, err)
					}
				}
			}
		}
	}
}

// How the state folder comes through a crash.
const (
	stateAsItIs = iota // the process was killed
	stateBefore        // its last changes are lost: SQLite is not synced at each
	stateLost          // all of it is lost
	stateWays
)

// crash closes everything as a crash would and opens it again.
func (w *world) crash(how int) {
	w.note()
	w.states++
	next := filepath.Join(w.dir, fmt.Sprint("state ", w.states))
	switch how {
	case stateAsItIs: // as the files are, not as closing them would leave them
		must(w, os.CopyFS(next, os.DirFS(w.state)))
	case stateBefore:
		must(w, os.CopyFS(next, os.DirFS(filepath.Join(w.g.dir, "state"))))
		if w.g.server != nil {
			w.keepMarks(next)
		}
	case stateLost:
		w.lost = true
		for _, c := range w.copies {
			takenOver(w, c)
		}
	}
	w.shut()
	w.state = next
}

// keepMarks carries the marks of versions being made over to a state that lost
// its last changes, as far as they were synced. A drive is looked through without
// them, a bucket is not.
func (w *world) keepMarks(state string) {
	w.Helper()
	led, err := ledger.Open(state)
	must(w, err)
	putMarks(w, led, w.synced)
	must(w, led.Close())
}

// noteSynced takes down what a power cut from now on leaves of the marks.
func (w *world) noteSynced() { w.synced = marksIn(w, w.led) }

func marksIn(t testing.TB, led *ledger.Ledger) map[string]string {
	noted := map[string]string{}
	for _, key := range []string{marks.BegunKey, authority.SealingKey, authority.RoundsKey} {
		v, _, err := led.Value(key)
		must(t, err)
		noted[key] = v
	}
	return noted
}

func putMarks(t testing.TB, led *ledger.Ledger, noted map[string]string) {
	for key, v := range noted {
		must(t, led.SetValue(key, v))
	}
}

// settle runs the next round, which must put everything right. Only where the
// state was lost there may be edits that a person has to accept first.
func (w *world) settle() {
	w.Helper()
	rep, err := w.round(context.Background())
	if w.lost && err == nil && len(rep.Waiting) > 0 &&
		!slices.ContainsFunc(rep.Waiting, func(x report.Waiting) bool { return x.Reason != plan.ReasonUnproven }) {
		rep, err = w.round(context.Background(), func(in *In) { in.Accept = &Acceptance{Who: "office", Why: "looked at"} })
	}
	if err != nil {
		w.Fatalf("the next round: %v", err)
	}
	if rep.Wants() {
		w.Errorf("after the next round: %+v", rep)
	}
}

// whole asserts everything there is to assert of the copies.
func (w *world) whole() {
	w.Helper()
	ctx := context.Background()
	seal, err := w.cache.Seal()
	must(w, err)
	if w.sealed != nil && !seal.Extends(w.sealed) {
		w.Errorf("the seal no longer begins with the %d lines it had", w.sealed.Len())
	}
	var objects []string
	expected := map[string]*manifest.Inventory{}
	for slug, n := range seal.Heads() {
		_, slug, err := manifest.ParseObjectID(slug)
		must(w, err)
		inv, err := w.cache.Get(slug)
		if err != nil || inv.Head() != n {
			w.Fatalf("the manifest of %s at hand is not version %d: %v", slug, n, err)
		}
		objects = append(objects, slug)
		expected[slug] = inv
	}
	var first map[string]manifest.Digest
	for _, c := range w.copies {
		rep, err := rot.Check(ctx, verify.Copy{Name: c.name, ID: c.id, Root: c.root}, rot.Options{
			Allowance: -1, Seal: seal, ExpectedObjects: objects, Workers: 2,
			Expected: func(o string) (*manifest.Inventory, error) {
				if inv := expected[o]; inv != nil {
					return inv, nil
				}
				return nil, fs.ErrNotExist
			}})
		must(w, err)
		if len(rep.Damage)+len(rep.Behind)+len(rep.Unfinished) > 0 {
			w.Errorf("%s: damage %+v, behind %+v, unfinished %v", c.name, rep.Damage, rep.Behind, rep.Unfinished)
		}
		its, err := store.ReadSeal(ctx, c.root)
		if err != nil || its.Digest() != seal.Digest() {
			w.Errorf("%s: its seal is not ours: %v", c.name, err)
		}
		known := w.named(c, expected)
		w.emptyFolders(c)
		if len(w.copies) == 1 {
			continue // nothing to compare it with, and Rot has read all of it
		}
		got := contents(w, c.root)
		maps.DeleteFunc(got, func(k string, _ manifest.Digest) bool { return !known[k] })
		if first == nil {
			first = got
		}
		diff(w, c.name, got, first)
	}
	w.everything(expected)
}

// named asserts that some manifest names every file of a copy, and returns
// those files. What was begun in a bucket and is not in the working folder any
// more waits there for the next version, which must name it.
func (w *world) named(c *copyOf, objects map[string]*manifest.Inventory) map[string]bool {
	known := map[string]bool{store.ReadmeKey: true, store.RootNamaste: true, store.LayoutKey: true, store.FormatKey: true,
		store.ExtensionKey: true, store.IdentityKey: true, store.AuthorKey: true}
	log, err := store.SealFiles(w.Context(), c.root)
	must(w, err)
	for _, file := range log {
		known[file.Key] = true
	}
	for slug, inv := range objects {
		folders := []string{slug}
		for n := 1; n <= inv.Head(); n++ {
			folders = append(folders, fmt.Sprintf("%s/v%d", slug, n))
			for p := range inv.Paths(n) {
				known[slug+"/"+p] = true
			}
		}
		for _, f := range folders {
			known[f+"/inventory.json"], known[f+"/inventory.json.sha256"] = true, true
		}
		known[slug+"/0=ocfl_object_1.1"] = true
	}
	for info, err := range c.root.List(context.Background(), "") {
		must(w, err)
		slug, rest, _ := strings.Cut(info.Key, "/")
		switch {
		case known[info.Key]:
		case strings.HasPrefix(info.Key, carried.SettingsFolder) || info.Key == carried.ListKey:
			w.readable(c, info.Key)
			known[info.Key] = info.Key != carried.ListKey // which is of each copy its own
		case strings.HasPrefix(info.Key, store.LateFolder): // what a mend kept of a seal that did not read
			b, _, err := store.ReadSmall(context.Background(), c.root, info.Key, 1<<20)
			must(w, err)
			if d, ok := store.LateDigest(info.Key); !ok || d != manifest.Sum(b) {
				w.Errorf("%s: %s does not match its name", c.name, info.Key)
			}
		case c.kind == "drive" && strings.HasPrefix(info.Key, "extensions/linecamp-quarantine/"):
		case c.kind == "s3" && w.day == 2 && strings.HasPrefix(rest, fmt.Sprintf("v%d/", headOf(objects[slug])+1)):
		default:
			w.Errorf("%s: no manifest names %s", c.name, info.Key)
		}
	}
	return known
}

// readable asserts that what a copy carries for a new machine can be read.
func (w *world) readable(c *copyOf, key string) {
	ctx := context.Background()
	if key == carried.ListKey {
		_, err := carried.ReadList(ctx, c.root)
		must(w, err)
		return
	}
	s, err := carried.ReadSettings(ctx, c.root)
	must(w, err)
	if s.Archive != archiveName || len(s.Passed) > 0 {
		w.Errorf("%s: the settings there are %+v", c.name, s)
	}
}

func headOf(inv *manifest.Inventory) int {
	if inv == nil {
		return 0
	}
	return inv.Head()
}

// emptyFolders asserts that a drive has none: OCFL 1.1 (E024) forbids them in
// content, and staging is absent when empty. What was torn is quarantined as it
// was.
func (w *world) emptyFolders(c *copyOf) {
	if c.kind != "drive" {
		return
	}
	must(w, filepath.WalkDir(c.path, func(name string, e fs.DirEntry, err error) error {
		if err != nil || !e.IsDir() {
			return err
		}
		entries, err := os.ReadDir(name)
		if len(entries) == 0 && filepath.Base(name) != "linecamp-left-behind" { // the next list of a day fills it
			w.Errorf("%s: %s is empty", c.name, strings.TrimPrefix(name, c.path))
		}
		if err == nil && filepath.Base(name) == "linecamp-quarantine" {
			return fs.SkipDir
		}
		return err
	}))
}

// everything asserts that the newest states are what the working folder shows, but
// for what this state cannot know that it was there, since it forgot.
func (w *world) everything(objects map[string]*manifest.Inventory) {
	unseen, err := w.led.Unseen()
	must(w, err)
	var kept, there []string
	for slug, inv := range objects {
		for p, d := range inv.State(inv.Head()) {
			if was, ok := unseen[slug].Paths[p]; !strings.HasPrefix(p, ".linecamp/") && !(ok && was == d) {
				kept = append(kept, d.String()+" "+filepath.Base(p))
			}
		}
	}
	t := w.g.days[w.day]
	add := func(f tally.File) { there = append(there, f.SHA256.String()+" "+filepath.Base(f.Path)) }
	for i := range t.Sites {
		for f := range t.Sites[i].Files() {
			add(f)
		}
	}
	for f := range t.Unfiled.All() {
		add(f)
	}
	slices.Sort(kept)
	slices.Sort(there)
	if !slices.Equal(kept, there) {
		w.Errorf("kept are\n%s\nthe folder has\n%s", strings.Join(kept, "\n"), strings.Join(there, "\n"))
	}
}
