package plan

import (
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"linecamp/daemon/authority"
	"linecamp/daemon/ledger"
	"linecamp/daemon/mirror/sites"
	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/tally"
	"linecamp/manifest/walk"
)

// side is one state folder.
type side struct {
	dir    string
	ledger *ledger.Ledger
	sites  *sites.Catalogue
}

// world is what both sides see: one remembers quiet plans, the other one makes each anew.
type world struct {
	*rapid.T
	shown            map[string]tally.File // by path
	base             map[string]string     // site → its folder
	pasture          string
	waiting, passed  map[string]bool
	unlisted         []string
	device           uint64
	log              *authority.Log
	invs             map[string]*manifest.Inventory
	remembers, makes side
	kept             []string // every memory there was
	clock            time.Time
}

func check(err error) {
	if err != nil {
		panic(err)
	}
}

func (w *world) both(do func(*side) error) {
	check(do(&w.remembers))
	check(do(&w.makes))
}

func (w *world) newSide(dir string) side {
	l, err := ledger.Open(dir)
	check(err)
	return side{dir, l, &sites.Catalogue{Cache: ledger.OpenInventories(dir), Log: func() *authority.Log { return w.log }}}
}

func (w *world) tally() *tally.Result {
	t := &tally.Result{Folder: w.remembers.dir, Found: walk.Found{Device: w.device, Unlisted: w.unlisted}}
	for path := range w.passed {
		t.Passed = append(t.Passed, walk.Waiting{Path: path})
	}
	for _, folder := range w.unlisted {
		t.Waiting = append(t.Waiting, walk.Waiting{Path: folder, Reason: "a folder that could not be listed"})
	}
	files := map[string][]tally.File{}
	for _, path := range slices.Sorted(maps.Keys(w.shown)) {
		f := w.shown[path]
		if w.waiting[path] {
			t.Waiting = append(t.Waiting, walk.Waiting{Path: path, Reason: "unreadable", Size: f.Size})
			continue
		}
		t.Files++
		of := ""
		for site, base := range w.base {
			if strings.HasPrefix(path, base+"/") {
				of = site
			}
		}
		files[of] = append(files[of], f)
	}
	for _, site := range slices.Sorted(maps.Keys(w.base)) {
		if len(files[site]) > 0 {
			t.Sites = append(t.Sites, tally.Site{Site: site, Pasture: w.pasture, Base: w.base[site], Loose: tally.PackFiles(files[site]...)})
		}
	}
	t.Unfiled = tally.PackFiles(files[""]...)
	return t
}

// plan tells all that a plan says, and all that it leaves in the ledger.
func (w *world) plan(s *side, accepted bool, how func(In) ([]Step, error)) string {
	var said []string
	steps, err := how(In{Tally: w.tally(), Accepted: accepted, Ledger: s.ledger, Sites: s.sites,
		Wait:     func(path, reason string, person bool) { said = append(said, fmt.Sprint(path, ": ", reason, person)) },
		Question: func(what string) { said = append(said, what) }})
	check(err)
	slices.Sort(said)
	for _, st := range steps {
		said = append(said, fmt.Sprintf("%s %v %q %q %q %v %v %v %q", st.Slug, st.First, st.Gone, st.Altered, st.Known, st.Renamed, st.Stays, st.Said, st.Paths.list()))
	}
	for _, key := range []string{deviceKey, provenKey, massKey, unfiledKey} {
		value, _, err := s.ledger.Value(key)
		check(err)
		said = append(said, key+"="+value)
	}
	lines, sum, _, err := s.ledger.Accounted()
	check(err)
	unseen, err := s.ledger.Unseen()
	check(err)
	return strings.Join(append(said, fmt.Sprint(lines, sum, unseen)), "\n")
}

// seal adds a line.
func (w *world) seal(l seal.Line) {
	w.clock = w.clock.Add(time.Second)
	l.At = w.clock
	log, err := w.log.With(l)
	check(err)
	w.log = log
}

// record makes a version of what the folder shows of each group, as far as it can.
func (w *world) record() {
	for _, g := range sites.Groups(w.tally()) {
		slug := manifest.Slug(g.Pasture, g.Site, func(string) bool { return false })
		if g.Unfiled {
			slug = manifest.UnfiledSlug(g.Top, func(string) bool { return false })
		}
		inv := w.invs[slug]
		if w.log.Head(slug) == 0 {
			inv = manifest.New(manifest.ObjectID("ranch", slug))
		}
		inv = inv.Until(w.log.Head(slug))
		g.Load()
		next := manifest.Next{Created: w.clock, User: manifest.User{Name: "office", Address: "urn:uuid:22222222-2222-4222-8222-222222222222"},
			State: map[string]manifest.Digest{}, Record: manifest.Record{Site: g.Site, Pasture: g.Pasture, Base: g.Base, Paths: map[string]manifest.Entry{}}}
		for logical, f := range g.Files {
			next.State[logical], next.Record.Paths[logical] = f.SHA256, g.Entry(logical)
		}
		draft, err := inv.Add(next)
		check(err)
		w.invs[slug] = draft.Inventory
		w.seal(seal.Line{What: seal.Version, Object: draft.Inventory.ID, Version: draft.Inventory.Head(), Inventory: manifest.Sum(draft.Encoded)})
		w.both(func(s *side) error {
			check(s.sites.Cache.PutRecord(slug, draft.Record))
			return s.sites.Cache.Put(slug, draft.Encoded)
		})
	}
}

// A plan that is remembered is the one that would be made, whatever changed since: what
// the folder shows, what is on record, what people said, what the ledger notes, which
// manifests are at hand, and whether an old memory was put back.
func TestTheRememberedPlanIsTheComputedOne(t *testing.T) {
	remembered, anew := 0, 0
	paths := []string{"North/Windmill/a.jpg", "North/Windmill/b.jpg", "North/Gully/a.jpg", "North/Gully/c.txt", "map.txt", "wells/list.txt"}
	rapid.Check(t, func(rt *rapid.T) {
		base := ""
		if st, err := os.Stat("/dev/shm"); err == nil && st.IsDir() {
			base = "/dev/shm"
		}
		dir, err := os.MkdirTemp(base, "linecamp-quiet-")
		check(err)
		defer os.RemoveAll(dir)
		w := &world{T: rt, shown: map[string]tally.File{}, base: map[string]string{"Windmill": "North/Windmill", "Gully": "North/Gully"},
			waiting: map[string]bool{}, passed: map[string]bool{}, invs: map[string]*manifest.Inventory{}, clock: time.Date(2026, 7, 2, 2, 30, 0, 0, time.UTC)}
		none, err := seal.Decode(nil)
		check(err)
		w.log, err = authority.NewLog("ranch", none)
		check(err)
		w.remembers, w.makes = w.newSide(filepath.Join(dir, "a")), w.newSide(filepath.Join(dir, "b"))
		defer func() { w.both(func(s *side) error { return s.ledger.Close() }) }()
		one := func(of []string) string { return rapid.SampledFrom(of).Draw(rt, "of") }
		flip := func(set map[string]bool, path string) {
			if set[path] = !set[path]; !set[path] {
				delete(set, path)
			}
		}
		put := func(path string, bytes string) {
			kind := manifest.KindPhoto
			if strings.HasSuffix(path, ".txt") {
				kind = manifest.KindNote
			}
			w.shown[path] = tally.File{Path: path, SHA256: manifest.Sum([]byte(bytes)), Size: int64(len(bytes)), Modified: w.clock, Kind: kind}
		}
		slug := func() string { return one([]string{"north--windmill", "north--gully", "unfiled", "unfiled--wells"}) }
		settle := func(*rapid.T) {
			clear(w.waiting)
			clear(w.shown)
			w.pasture = "North"
			w.unlisted, w.base["Gully"] = nil, "North/Gully"
			for _, path := range paths {
				put(path, path)
			}
			w.record()
			w.both(func(s *side) error {
				rows := map[string]ledger.Unseen{}
				for of := range w.log.Index {
					rows[of] = ledger.Unseen{}
				}
				return errors.Join(s.ledger.DropSaid(func(ledger.Said) bool { return true }), s.ledger.SetValue(massKey, ""),
					s.ledger.SetValue(provenKey, "yes"), s.ledger.AccountFor(w.log.Seal.Len(), w.log.Seal.Digest(), rows))
			})
		}
		settle(rt)
		steps := map[string]func(*rapid.T){
			"nothing": func(*rapid.T) {}, "nothing again": func(*rapid.T) {},
			"write": func(*rapid.T) { w.clock = w.clock.Add(time.Second); put(one(paths), one([]string{"x", "y", "zz"})) },
			"rot": func(*rapid.T) {
				path := one(paths)
				if f, ok := w.shown[path]; ok {
					f.SHA256[0]++
					w.shown[path] = f
				}
			},
			"rename": func(*rapid.T) {
				path := one(paths)
				if f, ok := w.shown[path]; ok {
					delete(w.shown, path)
					f.Path = path + "x"
					w.shown[f.Path] = f
				}
			},
			"another pasture": func(*rapid.T) { w.pasture = one([]string{"North", "South"}) },
			"delete":          func(*rapid.T) { delete(w.shown, one(paths)) },
			"understood otherwise": func(*rapid.T) {
				path := one(paths)
				if f, ok := w.shown[path]; ok {
					f.Kind = rapid.SampledFrom([]manifest.Kind{manifest.KindPhoto, manifest.KindOther}).Draw(rt, "kind")
					w.shown[path] = f
				}
			},
			"another layout": func(*rapid.T) {
				if w.base["Gully"] != "" && rapid.Bool().Draw(rt, "gone") {
					delete(w.base, "Gully")
				} else {
					w.base["Gully"] = "North/Gully"
				}
			},
			"cannot be read":   func(*rapid.T) { flip(w.waiting, one(paths)) },
			"is passed":        func(*rapid.T) { flip(w.passed, one(paths)) },
			"cannot be listed": func(*rapid.T) { w.unlisted = rapid.SampledFrom([][]string{nil, {"North/Gully"}}).Draw(rt, "folder") },
			"another disk":     func(*rapid.T) { w.device = rapid.Uint64Range(1, 2).Draw(rt, "device") },
			"said": func(*rapid.T) {
				d := ledger.Said{Object: slug(), Decision: manifest.Decision{What: manifest.Explained, Who: "Ann", When: w.clock, Why: "fire"}}
				w.both(func(s *side) error { return s.ledger.AddSaid(d) })
			},
			"recorded what was said": func(*rapid.T) {
				w.both(func(s *side) error { return s.ledger.DropSaid(func(ledger.Said) bool { return true }) })
			},
			"noted": func(*rapid.T) {
				key, value := one([]string{deviceKey, provenKey, massKey, unfiledKey}), one([]string{"", "yes"})
				w.both(func(s *side) error { return s.ledger.SetValue(key, value) })
			},
			"never seen": func(*rapid.T) {
				row := ledger.Unseen{Paths: map[string]manifest.Digest{one([]string{"a.jpg", "map.txt"}): manifest.Sum([]byte(one(paths)))}}
				if rapid.Bool().Draw(rt, "open") {
					row = ledger.Unseen{Open: true}
				}
				of, lines := slug(), rapid.SampledFrom([]int{len(w.log.Lines), len(w.log.Lines), 0}).Draw(rt, "lines")
				w.both(func(s *side) error {
					return s.ledger.AccountFor(lines, w.log.Seal.DigestOf(lines), map[string]ledger.Unseen{of: row})
				})
			},
			"recorded":    func(*rapid.T) { w.record() },
			"all is well": settle, "all is well again": settle, "all is well at last": settle,
			"taken back": func(*rapid.T) {
				if of := slug(); w.log.Head(of) > 0 {
					w.seal(seal.Line{What: rapid.SampledFrom([]string{seal.Lost, seal.Closed}).Draw(rt, "what"), Object: manifest.ObjectID("ranch", of), Version: w.log.Head(of)})
				}
			},
			"a manifest is lost": func(*rapid.T) {
				file := filepath.Join(one([]string{"inventories", "records"}), slug()+".json.zst")
				w.both(func(s *side) error { // as in the next round, with nothing at hand in memory
					s.sites = &sites.Catalogue{Cache: s.sites.Cache, Log: s.sites.Log}
					return os.RemoveAll(filepath.Join(s.dir, file))
				})
			},
			"an old memory": func(*rapid.T) {
				if len(w.kept) > 0 {
					check(w.remembers.ledger.SetValue(quietKey, one(w.kept)))
				}
			},
			"": func(*rapid.T) {
				accepted := rapid.IntRange(0, 9).Draw(rt, "accepted") == 0
				got := w.plan(&w.remembers, accepted, func(r In) ([]Step, error) {
					kept, _, _ := r.Ledger.Value(quietKey)
					if sum, _ := r.sum(); sum != "" && kept == sum {
						remembered++
					} else {
						anew++
					}
					return Make(rt.Context(), r)
				})
				want := w.plan(&w.makes, accepted, func(r In) ([]Step, error) { return compute(rt.Context(), r) })
				if got != want {
					rt.Fatalf("it remembered\n%s\nand would have made\n%s", got, want)
				}
				if kept, ok, _ := w.remembers.ledger.Value(quietKey); ok && !slices.Contains(w.kept, kept) {
					w.kept = append(w.kept, kept)
				}
			},
		}
		rt.Repeat(steps)
		settle(rt) // so that lives end with a plan that can be remembered
		for range 4 {
			steps[""](rt)
		}
	})
	if remembered < 10 || anew < 10 {
		t.Errorf("%d plans were remembered, %d made", remembered, anew)
	}
	t.Logf("%d plans were remembered, %d made", remembered, anew)
}
