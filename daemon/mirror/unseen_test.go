package mirror

import (
	"context"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"linecamp/daemon/authority"
	"linecamp/daemon/identity"
	"linecamp/daemon/mirror/plan"
	"linecamp/daemon/mirror/report"
	"linecamp/manifest"
	"linecamp/manifest/store/drive"
	"linecamp/verify/restore"
)

// twoPeople are two people with a computer and a folder each, and one archive on
// one drive that they hand to one another.
type twoPeople struct {
	t      *rapid.T
	both   [2]*ranch
	had    [2]map[string]map[manifest.Digest]bool // what each folder ever had, by path
	shown  [2]map[string]manifest.Digest          // what it showed in the last round of a state that was not lost since
	state  map[string]manifest.Digest             // the newest versions together
	older  map[string]map[manifest.Digest]bool    // bytes that a path had in any version
	writes int
}

func (p *twoPeople) look(who int) map[string]manifest.Digest {
	r, files := p.both[who], map[string]manifest.Digest{}
	must(r.t, filepath.WalkDir(r.folder, func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		path, err := filepath.Rel(r.folder, name)
		files[filepath.ToSlash(path)] = manifest.Sum(b)
		return err
	}))
	for path, d := range files {
		if p.had[who][path] == nil {
			p.had[who][path] = map[manifest.Digest]bool{}
		}
		p.had[who][path][d] = true
	}
	return files
}

func (p *twoPeople) takeOver(who int) {
	r := p.both[who]
	var copies []authority.Copy
	for _, c := range r.copies {
		unlock, err := c.root.Lock(context.Background())
		must(r.t, err)
		defer unlock()
		copies = append(copies, authority.Copy{Name: c.name, ID: c.id, Root: c.root})
	}
	_, err := authority.TakeOver(context.Background(), authority.Taker{Archive: archiveID, Folder: r.state,
		Self: identity.State{Author: r.author, Machine: fmt.Sprint("computer ", who)}, Copies: copies, Notes: r.led, Seal: r.cache, Now: func() time.Time { return r.now }})
	must(r.t, err)
}

// round is one round of a computer that a person lets take everything, and holds
// what it recorded to what that person's folder had.
func (p *twoPeople) round(who int) report.Report {
	r := p.both[who]
	r.now = r.now.Add(time.Hour)
	p.both[1-who].now = r.now
	files := p.look(who)
	rep := r.mirror(func(in *In) { in.Accept = &Acceptance{Who: "Ada", Why: "it is meant"} })
	was := p.state
	p.state = map[string]manifest.Digest{}
	slugs, err := os.ReadDir(r.copies[0].path)
	must(r.t, err)
	for _, e := range slugs {
		if !strings.Contains(e.Name(), "--") {
			continue
		}
		inv := head(r.t, r.copies[0].root, e.Name())
		for logical, d := range inv.State(inv.Head()) {
			if !strings.HasPrefix(logical, ".linecamp/") {
				p.state["North/"+strings.ToUpper(e.Name()[7:8])+e.Name()[8:]+"/"+logical] = d
			}
		}
	}
	for path, d := range was {
		now, still := p.state[path]
		switch {
		case now == d:
			if shown, was := p.shown[who][path]; was && shown == d && rep.Made > 0 && !hasPath(files, path) {
				p.t.Fatalf("computer %d deleted %s, and the record has it still", who, path)
			}
		case !p.had[who][path][d] && !still:
			p.t.Fatalf("computer %d dropped %s, which its folder never had", who, path)
		case still && p.older[path][now] && !p.had[who][path][d]:
			p.t.Fatalf("computer %d put older bytes back at %s, where its folder never had the newer ones", who, path)
		case still && !p.had[who][path][d] && p.state[plan.Beside(path, d)] != d:
			p.t.Fatalf("computer %d recorded other bytes at %s, and those that its folder never had are under no name", who, path)
		}
	}
	kept := map[string]manifest.Digest{}
	for path, d := range was {
		kept[plan.Beside(path, d)] = d
	}
	for path, d := range p.state {
		if _, recorded := was[path]; !recorded && files[path] != d && kept[path] != d {
			p.t.Fatalf("computer %d recorded %s, which is not in its folder", who, path)
		}
		if p.older[path] == nil {
			p.older[path] = map[manifest.Digest]bool{}
		}
		p.older[path][d] = true
	}
	p.shown[who] = files
	return rep
}

func hasPath(files map[string]manifest.Digest, path string) bool { _, ok := files[path]; return ok }

// bring does what the report says of what a folder never had.
func (p *twoPeople) bring(who int, rep report.Report) {
	r := p.both[who]
	for _, w := range rep.Waiting {
		if w.Reason == plan.ReasonNewer {
			r.remove(w.Path)
		}
	}
	_, err := restore.Run(context.Background(), []restore.Source{{Name: "shelf", Root: r.copies[0].root}},
		restore.Options{Everything: true, Into: r.folder, On: r.now.Add(time.Hour).Format(time.RFC3339), Workers: 1})
	must(r.t, err)
	p.look(who)
}

// TestAVersionLosesOnlyWhatThisFolderHad lets two people work on two folders of one
// archive, which each of them records in turn, sometimes with a state that is new.
// What leaves the record was in the folder of whoever recorded that; what was
// deleted there leaves it; and no folder that is out of date puts older bytes back.
// In the end one person brings what is said to be recoverable, and folder and
// record are the same.
func TestAVersionLosesOnlyWhatThisFolderHad(t *testing.T) {
	base := ""
	if st, err := os.Stat("/dev/shm"); err == nil && st.IsDir() {
		base = "/dev/shm"
	}
	rapid.Check(t, func(rt *rapid.T) {
		dir, err := os.MkdirTemp(base, "linecamp-two-")
		must(t, err)
		defer os.RemoveAll(dir)
		p := &twoPeople{t: rt, state: map[string]manifest.Digest{}, older: map[string]map[manifest.Digest]bool{}}
		must(t, os.Mkdir(filepath.Join(dir, "shelf"), 0o777))
		d, err := drive.New(filepath.Join(dir, "shelf"))
		must(t, err)
		for i := range p.both {
			r := &ranch{t: t, folder: filepath.Join(dir, fmt.Sprint("folder", i)), state: filepath.Join(dir, fmt.Sprint("state", i)),
				author: fmt.Sprintf("22222222-2222-4222-8222-%012d", i), machine: fmt.Sprint("computer ", i), now: time.Date(2026, 7, 2, 2, 30, 0, 0, time.UTC)}
			must(t, os.MkdirAll(r.folder, 0o777))
			r.openState()
			defer func() { r.led.Close() }()
			p.both[i], p.had[i], p.shown[i] = r, map[string]map[manifest.Digest]bool{}, map[string]manifest.Digest{}
		}
		shelf := p.both[0].addRoot("shelf", "drive", filepath.Join(dir, "shelf"), d)
		defer d.Close()
		p.both[1].copies = []*copyOf{shelf}
		recorder := 0
		for _, site := range []string{"Windmill", "Gully"} { // a folder is never empty
			p.both[0].write("North/"+site+"/2019-06-21/first.jpg", "first "+site)
			p.both[1].write("North/"+site+"/2019-06-21/first.jpg", "first "+site)
		}
		p.round(0)
		var rep report.Report
		steps := map[string]func(*rapid.T){
			"write": func(t *rapid.T) {
				r := p.both[rapid.IntRange(0, 1).Draw(t, "who")]
				path := "North/" + rapid.SampledFrom([]string{"Windmill", "Gully"}).Draw(t, "site") + "/" + rapid.SampledFrom([]string{"2019-06-21/plot.jpg", "2020-06-20/plot.jpg", "2020-06-20/notes.txt"}).Draw(t, "path")
				p.writes++
				r.writeAt(path, fmt.Sprint("picture ", p.writes), r.now.Add(-48*time.Hour+time.Duration(p.writes)*time.Second))
			},
			"delete": func(t *rapid.T) {
				who := rapid.IntRange(0, 1).Draw(t, "who")
				files := slices.DeleteFunc(slices.Sorted(maps.Keys(p.look(who))), func(path string) bool { return strings.HasSuffix(path, "first.jpg") })
				if len(files) > 0 {
					p.both[who].remove(rapid.SampledFrom(files).Draw(t, "file"))
				}
			},
			"round": func(*rapid.T) { rep = p.round(recorder) },
			"another takes over": func(*rapid.T) {
				recorder = 1 - recorder
				p.takeOver(recorder)
				rep = p.round(recorder)
			},
			"its state is lost": func(*rapid.T) {
				r := p.both[recorder]
				must(r.t, r.led.Close())
				must(r.t, os.RemoveAll(r.state))
				r.openState()
				p.shown[recorder] = map[string]manifest.Digest{}
				p.takeOver(recorder)
			},
			"bring": func(*rapid.T) { p.bring(recorder, rep) },
		}
		for range rapid.IntRange(4, 16).Draw(rt, "steps") {
			steps[rapid.SampledFrom(slices.Sorted(maps.Keys(steps))).Draw(rt, "step")](rt)
		}
		p.bring(recorder, p.round(recorder))
		if rep = p.round(recorder); rep.Wants() {
			rt.Fatalf("something wants a person still: %+v", rep)
		}
		if rows, err := p.both[recorder].led.Unseen(); err != nil || len(rows) > 0 {
			rt.Fatalf("something is said to be recoverable still: %v (%v)", rows, err)
		}
		if files := p.look(recorder); !maps.Equal(files, p.state) {
			rt.Fatalf("the folder has %v, the record %v", files, p.state)
		}
	})
}

// A ledger that an earlier program left goes on as that did: what is absent was
// deleted, as far as it was on record then.
func TestAnEarlierLedgerCountsWhatItKnewAsSeen(t *testing.T) {
	r := newRanch(t, "shelf")
	r.visit("North/Windmill", "2019-06-21")
	r.visit("North/Windmill", "2020-06-20")
	r.wantCurrent(r.mirror())
	must(t, r.led.SetValue("accounted lines", "all"))
	r.remove("North/Windmill/2020-06-20/notes.txt")
	if rep := r.mirror(); rep.Made != 1 || rep.Left != 1 {
		t.Errorf("%+v", rep)
	}
	if lines, _, all, err := r.led.Accounted(); lines != 2 || all || err != nil {
		t.Errorf("%d lines are accounted for (%v, %v)", lines, all, err)
	}
	// A new one cannot know it.
	r.loseState()
	r.remove("North/Windmill/2019-06-21/notes.txt")
	if rep := r.mirror(func(in *In) { in.Accept = &Acceptance{Who: "Ada", Why: "it is meant"} }); rep.Made != 0 {
		t.Errorf("%+v", rep)
	}
	rows, err := r.led.Unseen()
	if want := map[string]manifest.Digest{"2019-06-21/notes.txt": head(t, r.copies[0].root, "north--windmill").State(2)["2019-06-21/notes.txt"]}; err != nil || !maps.Equal(rows["north--windmill"].Paths, want) {
		t.Errorf("%v, not %v (%v)", rows, want, err)
	}
}

// A site whose manifest no copy in reach has is looked through once one has it
// again: until then its lines are not taken for seen.
func TestWhatCannotBeReadIsNotCountedAsSeen(t *testing.T) {
	r := newRanch(t, "shelf", "loft")
	r.visit("North/Windmill", "2019-06-21")
	r.visit("North/Gully", "2019-06-21")
	r.wantCurrent(r.mirror())
	r.copies[1].away = true
	r.visit("North/Gully", "2020-06-20")
	r.mirror()
	// A new state takes part of the archive from the loft; the shelf's manifest of
	// one site went, and the seal there names it.
	r.loseState()
	r.copies[1].away = false
	aside := t.TempDir()
	for i, name := range []string{"inventory.json", "v2/inventory.json"} {
		must(t, os.Rename(filepath.Join(r.copies[0].path, "north--gully", name), filepath.Join(aside, fmt.Sprint(i))))
	}
	r.remove("North/Gully/2020-06-20")
	r.visit("North/Windmill", "2020-06-20")
	r.mirror()
	rows, err := r.led.Unseen()
	must(t, err)
	if row := rows["north--gully"]; !row.Open || row.Since != 0 {
		t.Fatalf("the site that could not be read: %+v", rows)
	}
	for i, name := range []string{"inventory.json", "v2/inventory.json"} {
		must(t, os.Rename(filepath.Join(aside, fmt.Sprint(i)), filepath.Join(r.copies[0].path, "north--gully", name)))
	}
	r.mirror()
	rows, err = r.led.Unseen()
	must(t, err)
	if row := rows["north--gully"]; row.Open || len(row.Paths) != 3 {
		t.Fatalf("the site, now that it can be read: %+v", rows)
	}
}

// A file that rotted before its state was lost, and counts for another site by then,
// is judged by what the site before recorded of it: the new state never saw those
// bytes in the folder, and still takes no others in their place.
func TestRotBeforeTheStateWasLostIsNotRecordedUnderAnotherSite(t *testing.T) {
	const rotten = "South/Old Well/Renamed/plot.jpg"
	r := newRanch(t, "shelf")
	r.visit("North/Windmill", "2019-06-21")
	r.write("South/Old Well/Renamed/landscape.jpg", "a landscape")
	r.write(rotten, "as it was taken")
	r.wantCurrent(r.mirror())
	r.writeAt(rotten, "as it rotted...", r.now.Add(-49*time.Hour)) // its size and time are what they were
	r.visit("South/Old Well", "2021-04-02")                        // a visit makes a site of the folder
	r.loseState()
	rep := r.mirror()
	if got := reasons(rep)[plan.ReasonDamaged]; !slices.Equal(got, []string{rotten}) || rep.Made == 0 {
		t.Errorf("%+v", rep)
	}
	if inv := head(t, r.copies[0].root, "south--old-well"); len(inv.Content[manifest.Sum([]byte("as it rotted..."))]) > 0 {
		t.Error("rotten bytes are on record")
	}
}

// A note counts for a site here, and a computer that knew the folder without the site's
// photo has another text under its name. When the site is none here any more, nothing
// waits for a restore that would bring this very note again: both go on.
func TestANoteOfASiteThatIsNoneAnyMore(t *testing.T) {
	accept := func(in *In) { in.Accept = &Acceptance{Who: "Ada", Why: "looked at it"} }
	const note, photo = "North/Gully/2018-06-21/notes.txt", "North/Gully/2018-06-21/plot.jpg"
	office := newRanch(t, "shelf", "loft")
	shelf, loft := office.copies[0], office.copies[1]
	office.write(note, "ours")
	office.wantCurrent(office.mirror())

	barn := office.beside(barnID, false)
	barn.folder, barn.machine = t.TempDir(), "barn"
	barn.write(note, "ours")
	barn.copies[0].away = true
	barn.takeOver("barn")
	barn.mirror()
	barn.write(note, "theirs")
	if rep := barn.mirror(); rep.Made != 1 {
		t.Fatalf("%+v", rep)
	}
	office.now = barn.now
	loft.away = true
	office.write(photo, "photo")
	office.mirror(accept)

	loft.away = false
	office.takeOver("office")
	office.mirror(accept)
	office.wantOnlyCurrent(office.mirror(accept))
	must(t, os.Remove(filepath.Join(office.folder, filepath.FromSlash(photo))))
	rep := office.mirror(accept)
	if len(rep.Waiting) > 0 {
		t.Errorf("%+v", rep.Waiting)
	}
	office.wantOnlyCurrent(rep)
	state := head(t, shelf.root, "unfiled--north")
	theirs := manifest.Sum([]byte("theirs"))
	if is := state.State(state.Head()); is[note] != manifest.Sum([]byte("ours")) || is[plan.Beside(note, theirs)] != theirs {
		t.Errorf("on record:\n%s", state.Encode())
	}
}
