package mirror

import (
	"context"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"linecamp/daemon/reach"
	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/drive"
	"linecamp/manifest/store/s3test"
)

// weakDisk is a drive's file system that refuses some of what it is asked to do.
type weakDisk struct {
	drive.Disk
	mu     sync.Mutex
	ops    int
	refuse func(op, name string, n int) error // n counts the operations; nil refuses nothing
	after  bool                               // what is refused is done all the same
}

func (d *weakDisk) do(op, name string, do func() error) error {
	d.mu.Lock()
	d.ops++
	var err error
	if d.refuse != nil {
		err = d.refuse(op, name, d.ops)
	}
	after := d.after
	d.mu.Unlock()
	if err != nil && !after {
		return err
	}
	if derr := do(); err == nil {
		err = derr
	}
	return err
}

func (d *weakDisk) Mkdir(name string) error {
	return d.do("mkdir", name, func() error { return d.Disk.Mkdir(name) })
}
func (d *weakDisk) Rename(from, to string) error {
	return d.do("rename", to, func() error { return d.Disk.Rename(from, to) })
}
func (d *weakDisk) Remove(name string) error {
	return d.do("remove", name, func() error { return d.Disk.Remove(name) })
}
func (d *weakDisk) SyncFolder(name string) error {
	return d.do("sync", name, func() error { return nil })
}
func (d *weakDisk) SyncAll() error { return d.do("sync", "", func() error { return nil }) }
func (d *weakDisk) Create(name string) (f drive.File, err error) {
	err = d.do("create", name, func() (err error) { f, err = d.Disk.Create(name); return err })
	return closedUnless(f, err)
}
func (d *weakDisk) Update(name string) (f drive.File, err error) {
	err = d.do("update", name, func() (err error) { f, err = d.Disk.Update(name); return err })
	return closedUnless(f, err)
}

func closedUnless(f drive.File, err error) (drive.File, error) {
	if err != nil && f != nil {
		f.Close()
		f = nil
	}
	return f, err
}

// weaken puts a weakDisk between a drive and its file system.
func weaken(c *copyOf) *weakDisk {
	w := &weakDisk{}
	c.root.(*drive.Drive).WrapDisk(func(d drive.Disk) drive.Disk { w.Disk = d; return w })
	return w
}

// The ways in which a drive fails at the last step.
var lastSteps = map[string]func(op, name string, _ int) error{
	"it refuses renames": func(op, _ string, _ int) error {
		if op == "rename" {
			return syscall.EPERM
		}
		return nil
	},
	"it is full when the manifest is written": func(op, name string, _ int) error {
		if op == "create" && strings.HasSuffix(name, "/inventory.json") {
			return syscall.ENOSPC
		}
		return nil
	},
	"the folder cannot be synced after the rename": func(op, name string, _ int) error {
		if op == "sync" && strings.Contains(name, "--") {
			return syscall.EIO
		}
		return nil
	},
	"its seal cannot be written": func(op, name string, _ int) error {
		if (op == "update" || op == "create") && strings.Contains(name, "linecamp-seal") {
			return syscall.EIO
		}
		return nil
	},
}

// holds asserts that a copy holds the newest bytes of every file of the folder.
func (r *ranch) holds(c *copyOf) {
	r.t.Helper()
	have := map[manifest.Digest]bool{}
	slugs, err := store.Objects(context.Background(), c.root)
	must(r.t, err)
	for _, slug := range slugs {
		inv := head(r.t, c.root, slug)
		for _, d := range inv.State(inv.Head()) {
			for _, p := range inv.Content[d] {
				b, _, err := store.ReadSmall(context.Background(), c.root, slug+"/"+p, 1<<20)
				must(r.t, err)
				have[manifest.Sum(b)] = true
			}
		}
	}
	must(r.t, filepath.WalkDir(r.folder, func(name string, e os.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		b, err := os.ReadFile(name)
		if err == nil && !have[manifest.Sum(b)] {
			r.t.Errorf("%s does not hold %s", c.name, name)
		}
		return err
	}))
}

// A drive on which versions are made fails at the last step, round after round.
// The next copy gets everything in the same round, and once the drive is well,
// both hold the same history.
func TestTheNextCopyGoesOnWhereTheFirstFailsAtTheLastStep(t *testing.T) {
	for name, refuse := range lastSteps {
		for _, second := range []string{"drive", "bucket"} {
			t.Run(name+", then a "+second, func(t *testing.T) {
				r := newRanch(t, "shelf")
				if second == "drive" {
					r.addDrive("barn")
				} else {
					r.addBucket(s3test.Fake(t), "bucket")
				}
				r.visit("North/Windmill", "2019-06-21")
				r.wantCurrent(r.mirror())
				weak := weaken(r.copies[0])
				weak.refuse = refuse
				for i := range 3 {
					r.visit("North/Windmill", fmt.Sprintf("202%d-06-21", i))
					r.visit(fmt.Sprintf("South/Draw %d", i), "2020-06-20")
					rep := r.mirror()
					if out := rep.Copies[0]; out.State == reach.Current || out.Error == "" || !rep.Wants() {
						t.Errorf("round %d: the first copy is %+v", i+1, rep.Copies[0])
					}
					if rep.Copies[1].State != reach.Current || len(rep.Waiting)+len(rep.HeldUp) > 0 {
						t.Errorf("round %d: %+v", i+1, rep)
					}
					r.holds(r.copies[1])
				}
				weak.refuse = nil
				r.visit("East/Tank", "2020-06-20")
				r.wantCurrent(r.mirror())
				r.holds(r.copies[0])
			})
		}
	}
}

// The same, with the drive failing for good at each single operation of a round,
// before it or just after, and with the power cut then: the state folder is as it
// was. There is never a second history, and what can be kept is kept.
func TestTheNextCopyGoesOnWhereverTheFirstFails(t *testing.T) {
	for _, after := range []bool{false, true} {
		for n := 1; ; n = nextPoint(n) {
			r := newRanch(t, "shelf", "barn")
			r.visit("North/Windmill", "2019-06-21")
			r.wantCurrent(r.mirror())
			weak := weaken(r.copies[0])
			reached := false
			weak.after = after
			weak.refuse = func(_, _ string, done int) error {
				if done < n {
					return nil
				}
				reached = true
				return syscall.EIO
			}
			r.visit("North/Windmill", "2020-06-21")
			r.visit("South/Draw", "2020-06-20")
			rep := r.mirror()
			if !reached {
				break
			}
			if len(rep.HeldUp)+len(rep.Waiting) > 0 || rep.Copies[1].State != reach.Current {
				t.Errorf("%+v", rep)
			}
			r.holds(r.copies[1])
			weak.refuse = nil
			r.visit("East/Tank", "2020-06-20")
			r.wantCurrent(r.mirror())
			r.holds(r.copies[0])
			if t.Failed() {
				t.Fatalf("at operation %d, after %v", n, after)
			}
		}
	}
}

// A drive refuses to rename a version into place, and the next copy makes it. Then
// the version is there after all: a network drive was late. What nobody was told
// of gives way, and every byte of it stays in quarantine.
func TestAVersionThatComesUpLateGivesWay(t *testing.T) {
	for _, fresh := range []bool{false, true} {
		t.Run(fmt.Sprintf("a new site: %v", fresh), func(t *testing.T) {
			r := newRanch(t, "shelf", "barn")
			slug := "north--windmill"
			if !fresh {
				r.visit("North/Windmill", "2019-06-21")
			}
			r.visit("East/Tank", "2020-06-20")
			r.wantCurrent(r.mirror())
			weak := weaken(r.copies[0])
			weak.refuse = lastSteps["it refuses renames"]
			r.visit("North/Windmill", "2020-06-21")
			r.mirror(func(in *In) { in.Now = ticking(r.now) })
			n := head(t, r.copies[1].root, slug).Head()
			weak.refuse = nil
			place := filepath.Join(r.copies[0].path, slug)
			staged := filepath.Join(r.copies[0].path, "extensions/linecamp-staging", slug)
			if !fresh {
				place, staged = filepath.Join(place, fmt.Sprint("v", n)), filepath.Join(staged, fmt.Sprint("v", n))
			}
			must(t, os.Rename(staged, place))
			late, err := os.ReadFile(filepath.Join(r.copies[0].path, slug, fmt.Sprintf("v%d/inventory.json", n)))
			must(t, err)

			mine := head(t, r.copies[1].root, slug).Encode()
			if string(late) == string(mine) {
				t.Fatal("both copies made the same version")
			}
			r.visit("North/Windmill", "2021-06-21")
			r.visit("South/Draw", "2021-06-21")
			rep := r.mirror()
			for _, c := range rep.Copies {
				if c.State != reach.Current {
					t.Errorf("%s is %s: %s", c.Copy, c.State, c.Error)
				}
			}
			r.holds(r.copies[0])
			r.holds(r.copies[1])
			if sum := manifest.Sum(head(t, r.copies[0].root, slug).Encode()); sum != manifest.Sum(head(t, r.copies[1].root, slug).Encode()) {
				t.Error("the two copies have different histories")
			}
			kept, err := filepath.Glob(filepath.Join(r.copies[0].path, "extensions/linecamp-quarantine/*", slug, fmt.Sprintf("v%d/inventory.json", n)))
			must(t, err)
			if len(kept) != 1 {
				t.Fatalf("quarantine holds %v", kept)
			}
			if b, _ := os.ReadFile(kept[0]); string(b) != string(late) {
				t.Error("quarantine does not hold what came up late")
			}
		})
	}
}

// ticking is a clock that goes on a second each time it is looked at.
func ticking(from time.Time) func() time.Time {
	var mu sync.Mutex
	return func() time.Time {
		mu.Lock()
		defer mu.Unlock()
		from = from.Add(time.Second)
		return from
	}
}

// The drive where versions are made is pulled out while it commits one. Nobody
// can know whether the version is on it, so the site waits, the report says for
// which copy, and every other site goes on.
func TestWhereItCannotBeKnownTheSiteWaitsAndIsNamed(t *testing.T) {
	r := newRanch(t, "shelf", "barn")
	r.visit("North/Windmill", "2019-06-21")
	r.wantCurrent(r.mirror())
	shelf := r.copies[0]
	good := shelf.root
	weak := weaken(shelf)
	gone := &pulled{Root: good}
	shelf.root = gone
	weak.refuse = func(op, name string, _ int) error {
		if op == "rename" && strings.HasPrefix(name, "north--") {
			gone.out = true
		}
		if gone.out {
			return syscall.EIO
		}
		return nil
	}
	r.visit("North/Windmill", "2020-06-21")
	rep := r.mirror()
	r.visit("South/Draw", "2020-06-20")
	shelf.away = true
	for range 2 {
		if len(rep.HeldUp) != 1 || rep.HeldUp[0].Object != "north--windmill" || rep.HeldUp[0].Version != 2 || rep.HeldUp[0].Copy != "shelf" || rep.HeldUp[0].Reason == "" || !rep.Wants() {
			t.Errorf("held up: %+v, wants a person: %v", rep.HeldUp, rep.Wants())
		}
		rep = r.mirror()
	}
	head(t, r.copies[1].root, "south--draw")
	shelf.root, shelf.away, weak.refuse = good, false, nil
	r.wantCurrent(r.mirror())
	r.holds(r.copies[1])
}

// pulled is a drive that no longer answers once it is out.
type pulled struct {
	store.Root
	out bool
}

func (p *pulled) Identity(ctx context.Context) (store.Identity, error) {
	if p.out {
		return store.Identity{}, store.ErrNotHere
	}
	return p.Root.Identity(ctx)
}

type transport func(*http.Request) (*http.Response, error)

func (t transport) RoundTrip(q *http.Request) (*http.Response, error) { return t(q) }

// A bucket is where versions are made, and its rights to write are taken from it,
// at once or at the last step: it says no to each write, so that nothing can turn up
// later. The next copy makes the version in the same round, with all that lies in
// the bucket already, and once the bucket is well, both hold the same history.
func TestTheNextCopyGoesOnWhereABucketRefuses(t *testing.T) {
	for name, part := range map[string]string{"everything": "", "photos": "/content/", "the manifest": "/v2/inventory.json", "the sidecar": "/v2/inventory.json.sha256",
		"the pair at the top": "windmill/inventory.json", "the seal": "linecamp-seal"} {
		t.Run(name, func(t *testing.T) {
			r := newRanch(t)
			var refuses atomic.Bool
			r.addBucket(s3test.Fake(t), "near", transport(func(q *http.Request) (*http.Response, error) {
				if !refuses.Load() || q.Method != http.MethodPut || !strings.Contains(q.URL.Path, part) || strings.HasSuffix(q.URL.Path, "author.json") {
					return http.DefaultTransport.RoundTrip(q)
				}
				if q.Body != nil {
					q.Body.Close()
				}
				return answer(q, http.StatusForbidden, nil, refusal("AccessDenied")), nil
			}))
			r.addBucket(s3test.Fake(t), "far")
			r.visit("North/Windmill", "2019-06-21")
			r.wantCurrent(r.mirror())
			refuses.Store(true)
			for i := range 3 {
				r.visit("North/Windmill", fmt.Sprintf("202%d-06-21", i))
				rep := r.mirror()
				if rep.Copies[0].Error == "" || rep.Copies[1].State != reach.Current || len(rep.Waiting)+len(rep.HeldUp) > 0 {
					t.Errorf("round %d: %+v", i+1, rep)
				}
				r.holds(r.copies[1])
			}
			refuses.Store(false)
			r.visit("East/Tank", "2020-06-20")
			r.wantCurrent(r.mirror())
			r.holds(r.copies[0])
		})
	}
}

// A copy that is new has to be brought what only the failing drive holds, since it
// left the folder. The drive takes nothing more, and can still be read.
func TestWhatOnlyAFailingDriveHoldsIsReadFromIt(t *testing.T) {
	r := newRanch(t, "shelf")
	r.visit("North/Windmill", "2019-06-21")
	r.wantCurrent(r.mirror())
	must(t, os.RemoveAll(filepath.Join(r.folder, "North/Windmill/2019-06-21")))
	r.addDrive("barn")
	weaken(r.copies[0]).refuse = lastSteps["it refuses renames"]
	r.visit("North/Windmill", "2020-06-21")
	rep := r.mirror(func(in *In) { in.OneByOne = true }) // the drive fails before the other begins
	if rep.Copies[0].Error == "" || rep.Copies[1].State != reach.Current || len(rep.HeldUp) > 0 {
		t.Errorf("%+v", rep)
	}
	r.holds(r.copies[1])
	if n := head(t, r.copies[1].root, "north--windmill").Head(); n != 2 {
		t.Errorf("the new copy has %d versions", n)
	}
}
