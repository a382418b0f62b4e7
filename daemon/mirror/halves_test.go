package mirror

import (
	"context"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"pgregory.net/rapid"

	"linecamp/daemon/mirror/plan"
	"linecamp/manifest"
	"linecamp/manifest/tally"
	"linecamp/manifest/walk"
)

const stake = "North/Windmill"

// fullHistory are the names that restoring the site brings back.
func (r *ranch) fullHistory(slug string) []string {
	return slices.Sorted(maps.Keys(head(r.t, r.copies[0].root, slug).FullHistory()))
}

// without takes from a tally what lies in folders, as if they could not be listed.
func without(folders ...string) func(*In) {
	return func(in *In) { in.Tally = unreadable(in.Tally, folders) }
}

func unreadable(res *tally.Result, folders []string) *tally.Result {
	if len(folders) == 0 {
		return res
	}
	hidden := func(path string) bool {
		return slices.ContainsFunc(folders, func(f string) bool { return strings.HasPrefix(path, f+"/") })
	}
	cut := *res
	cut.Sites = nil
	for _, s := range res.Sites {
		some := 0
		pack := func(l tally.Files) tally.Files {
			list := slices.DeleteFunc(l.List(), func(f tally.File) bool { return hidden(f.Path) })
			some += len(list)
			return tally.PackFiles(list...)
		}
		var visits []tally.Visit
		for _, v := range s.Visits {
			v.Photos, v.Notes, v.Others = pack(v.Photos), pack(v.Notes), pack(v.Others)
			visits = append(visits, v)
		}
		s.Visits, s.Loose = visits, pack(s.Loose)
		if some > 0 {
			cut.Sites = append(cut.Sites, s)
		}
	}
	cut.Waiting = nil
	for _, w := range res.Waiting {
		if !hidden(w.Path) {
			cut.Waiting = append(cut.Waiting, w)
		}
	}
	for _, f := range folders {
		cut.Unlisted = append(cut.Unlisted, f)
		cut.Waiting = append(cut.Waiting, walk.Waiting{Path: f, Reason: "a folder that could not be listed: permission denied"})
	}
	return &cut
}

// A rename whose two halves are seen in two rounds is recorded as one move.
func TestBothHalvesOfARenameAreOneMove(t *testing.T) {
	const old, new = stake + "/2019-06-21/plot.jpg", stake + "/2019-06-22/plot.jpg"
	for _, c := range []struct {
		name   string
		first  func(r *ranch) []func(*In) // what the first round after the rename sees
		reason string
		waits  []string
	}{
		{"seen at once", func(r *ranch) []func(*In) { return nil }, "", nil},
		{"still being written", func(r *ranch) []func(*In) {
			at := r.now.Add(time.Hour)
			must(r.t, os.Chtimes(filepath.Join(r.folder, new), at, at))
			return nil
		}, plan.ReasonMoving, []string{old}},
		{"copied half", func(r *ranch) []func(*In) {
			was, err := os.ReadFile(filepath.Join(r.folder, new))
			must(r.t, err)
			r.writeAt(new, string(was[:2]), r.now.Add(time.Hour))
			return []func(*In){func(*In) { r.write(new, string(was)) }}
		}, plan.ReasonMoving, []string{old}},
		{"the new folder cannot be listed", func(r *ranch) []func(*In) {
			return []func(*In){without(stake + "/2019-06-22")}
		}, plan.ReasonMoving, []string{old}},
		{"the old folder cannot be listed", func(r *ranch) []func(*In) {
			return []func(*In){without(stake + "/2019-06-21")}
		}, plan.ReasonMoved, []string{new}},
		{"the folder is on another disk", func(r *ranch) []func(*In) {
			return []func(*In){otherDevice}
		}, plan.ReasonDevice, []string{old}},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRanch(t, "shelf", "barn")
			r.visit(stake, "2019-06-21")
			r.visit(stake, "2020-06-22")
			r.wantCurrent(r.mirror())
			was := r.fullHistory("north--windmill")
			r.rename(old, new)
			rep := r.mirror(c.first(r)...)
			r.wantCurrent(rep)
			if got := reasons(rep)[c.reason]; c.reason != "" && !slices.Equal(got, c.waits) {
				t.Errorf("waiting: %v, want %v for %q", rep.Waiting, c.waits, c.reason)
			}
			r.wantCurrent(r.mirror())
			want := slices.Sorted(slices.Values(append(slices.DeleteFunc(was, func(p string) bool { return stake+"/"+p == old }), strings.TrimPrefix(new, stake+"/"))))
			if got := r.fullHistory("north--windmill"); !slices.Equal(got, want) {
				t.Errorf("a restore brings back\n%v\nwant\n%v", got, want)
			}
			if got := paths(head(t, r.copies[0].root, "north--windmill").State(head(t, r.copies[0].root, "north--windmill").Head())); !slices.Equal(got, want) {
				t.Errorf("the newest state is %v", got)
			}
		})
	}
}

// What has nothing to do with a rename is recorded at once, whatever else waits.
func TestOnlyHalvesOfARenameWait(t *testing.T) {
	r := newRanch(t, "shelf")
	r.visit(stake, "2019-06-21")
	r.visit("South/Draw", "2019-06-22")
	r.mirror()
	r.remove(stake + "/2019-06-21/plot.jpg")
	r.write(stake+"/2020-06-22/plot.jpg", "new bytes")
	r.write("South/Draw/2020-06-22/plot.jpg", "other new bytes")
	r.writeAt("South/Draw/2020-06-22/notes.txt", "still being written, longer than any photo of this ranch", r.now.Add(time.Hour))
	rep := r.mirror(without("South/Draw/2019-06-22"))
	inv := head(t, r.copies[0].root, "north--windmill")
	if got := paths(inv.State(2)); !slices.Equal(got, []string{"2019-06-21/landscape.jpg", "2019-06-21/notes.txt", "2020-06-22/plot.jpg"}) {
		t.Errorf("the state is %v, and this waits: %v", got, rep.Waiting)
	}
	if len(reasons(rep)[plan.ReasonMoving])+len(reasons(rep)[plan.ReasonMoved]) > 0 {
		t.Errorf("waiting: %v", rep.Waiting)
	}
}

// A person's word settles what nobody can see.
func TestAcceptedChangesDoNotWaitForAFolderThatCannotBeListed(t *testing.T) {
	r := newRanch(t, "shelf")
	r.visit(stake, "2019-06-21")
	r.visit(stake, "2020-06-22")
	r.mirror()
	r.remove(stake + "/2019-06-21/plot.jpg")
	hide := without(stake + "/2020-06-22")
	accept := func(in *In) { in.Accept = &Acceptance{Who: "Ada", Why: "gone for good"} }
	if rep := r.mirror(hide); !slices.Equal(reasons(rep)[plan.ReasonMoving], []string{stake + "/2019-06-21/plot.jpg"}) || rep.Made != 0 {
		t.Errorf("made %d, waiting %v", rep.Made, rep.Waiting)
	}
	if rep := r.mirror(hide, accept); rep.Made != 1 || len(reasons(rep)[plan.ReasonMoving]) > 0 {
		t.Errorf("accepted: made %d, waiting %v", rep.Made, rep.Waiting)
	}
}

// Files are added, renamed and deleted, between rounds that do not see everything,
// are stopped half-way and cut what they record into small versions. In the model
// a file is its bytes, and has one name.
func TestRenamesSplitOverRounds(t *testing.T) {
	if st, err := os.Stat("/dev/shm"); err == nil && st.IsDir() {
		t.Setenv("TMPDIR", "/dev/shm") // nothing here is to outlive a power cut
	}
	rapid.Check(t, func(rt *rapid.T) {
		l := newRenames(t, rt)
		for range rapid.IntRange(1, 6).Draw(rt, "rounds") {
			for range rapid.IntRange(0, 4).Draw(rt, "changes") {
				l.change()
			}
			l.round()
		}
		l.settle()
		inv := head(t, l.copies[0].root, "north--windmill")
		called := map[manifest.Digest][]string{}
		for name, h := range inv.FullHistory() {
			called[h.Digest] = append(called[h.Digest], stake+"/"+name)
		}
		for bytes, name := range l.names {
			if got := called[manifest.Sum([]byte(bytes))]; !slices.Equal(got, []string{name}) {
				rt.Fatalf("%q comes back as %v, and is called %s", bytes, got, name)
			}
		}
		for _, got := range called {
			if len(got) != 1 {
				rt.Fatalf("one file comes back as %v", got)
			}
		}
	})
}

// renames is the life of one site whose files are renamed a lot.
type renames struct {
	*ranch
	rt      *rapid.T
	folders []string
	names   map[string]string // bytes → name of what people have now
	n       int
}

func newRenames(t testing.TB, rt *rapid.T) *renames {
	l := &renames{ranch: newRanch(t, "shelf"), rt: rt, names: map[string]string{}}
	for _, day := range []string{"2019-06-21", "2020-06-22", "2021-06-23"} {
		l.folders = append(l.folders, stake+"/"+day)
	}
	l.write(stake+"/2018-06-20/plot.jpg", "the one that stays")
	return l
}

// change is what people do between two rounds.
func (l *renames) change() {
	l.n++
	name := fmt.Sprintf("%s/%03d.jpg", rapid.SampledFrom(l.folders).Draw(l.rt, "folder"), l.n)
	what := rapid.SampledFrom([]string{"add", "rename", "rename", "rename", "delete"}).Draw(l.rt, "change")
	if what == "add" || len(l.names) == 0 {
		bytes := fmt.Sprintf("picture %03d", l.n)
		l.write(name, bytes)
		l.names[bytes] = name
		return
	}
	bytes := rapid.SampledFrom(slices.Sorted(maps.Keys(l.names))).Draw(l.rt, "file")
	if what == "rename" {
		l.rename(l.names[bytes], name)
		l.names[bytes] = name
		return
	}
	l.remove(l.names[bytes])
	delete(l.names, bytes)
}

// touch makes files look as if they were settled long ago, or still being written.
func (l *renames) touch(fresh func(bytes string) bool) {
	for _, bytes := range slices.Sorted(maps.Keys(l.names)) {
		at := l.now.Add(-48 * time.Hour)
		if fresh(bytes) {
			at = l.now.Add(time.Hour)
		}
		must(l.t, os.Chtimes(filepath.Join(l.folder, l.names[bytes]), at, at))
	}
}

func (l *renames) round() {
	chance := func(n int, what string) bool { return rapid.IntRange(1, n).Draw(l.rt, what) == 1 }
	l.touch(func(bytes string) bool { return chance(5, "written "+bytes) })
	var hidden []string
	for _, f := range l.folders {
		if chance(4, "hidden "+f) {
			hidden = append(hidden, f)
		}
	}
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	cut := rapid.IntRange(1, 40).Draw(l.rt, "stopped after")
	_, err := l.try(ctx, without(hidden...), func(in *In) {
		in.most = 30 // two pictures
		var told atomic.Int64
		in.Progress = func(string, int64, int64) {
			if told.Add(1) == int64(cut) {
				stop()
			}
		}
	})
	if err != nil && ctx.Err() == nil {
		l.rt.Fatal(err)
	}
}

// settle lets everything be seen until nothing new is recorded.
func (l *renames) settle() {
	l.touch(func(string) bool { return false })
	l.mirror()
	if rep := l.mirror(); len(rep.Waiting) > 0 || rep.Made > 0 {
		l.rt.Fatalf("it does not come to rest: made %d, waiting %v", rep.Made, rep.Waiting)
	}
}
