package mirror

import (
	"fmt"
	"io"
	"maps"
	"net/http"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"linecamp/daemon/authority"
	"linecamp/daemon/mirror/plan"
	"linecamp/daemon/mirror/report"
	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/manifest/store/s3test"
)

const laptopID = "22222222-2222-4222-8222-333333333333"

// takesOver is another machine, with its own copy of the working folder, that takes over
// with the copies in reach.
func (r *ranch) takesOver(author string) *ranch {
	r.t.Helper()
	o := &ranch{t: r.t, folder: filepath.Join(r.t.TempDir(), "monitoring"), state: r.t.TempDir(), author: author, machine: "laptop", now: r.now, copies: r.copies}
	must(r.t, copyTree(r.folder, o.folder))
	o.openState()
	r.t.Cleanup(func() { o.led.Close() })
	for _, c := range r.copies {
		takenOver(r.t, c)
	}
	o.takeOver("laptop")
	return o
}

// twoApart is a desk that took over with the first copy alone in reach, and recorded a
// photo of a site there. A laptop had done the same with the second copy.
func twoApart(t testing.TB, kinds []string, site string) (desk *ranch) {
	t.Helper()
	office := newRanch(t)
	office.add(s3test.Fake(t), kinds...)
	office.visit("North/Windmill", "2019-06-21")
	office.wantCurrent(office.mirror())
	recordsOn := func(copy, author, name string) *ranch {
		office.reach(copy)
		r := office.takesOver(author)
		r.write(site+"/2020-06-20/"+name+".jpg", "of the "+name)
		if rep := r.mirror(); rep.Made != 1 {
			t.Fatalf("%+v", rep)
		}
		return r
	}
	laptop := recordsOn(kinds[1], laptopID, "laptop")
	office.now = laptop.now.Add(time.Second)
	return recordsOn(kinds[0], newID, "desk")
}

// reach has only the copies of these names be in reach.
func (r *ranch) reach(names ...string) {
	for _, c := range r.copies {
		c.away = !slices.Contains(names, c.name)
	}
}

func (r *ranch) add(srv *s3test.Server, names ...string) {
	for _, name := range names {
		if strings.HasPrefix(name, "bucket") {
			r.addBucket(srv, name)
		} else {
			r.addDrive(name)
		}
	}
}

// everCommitted is every content that a copy really has now, of what its versions name.
func everCommitted(t testing.TB, copies []*copyOf) map[manifest.Digest]string {
	all := map[manifest.Digest]string{}
	for _, c := range copies {
		for key, d := range contents(t, c.root) {
			if strings.Contains(key, "/content/") && !strings.HasPrefix(key, "extensions/") {
				all[d] = c.name + ": " + key
			}
		}
	}
	return all
}

// wantMet wants every copy to be current and to tell one history, all that was ever
// committed to be in a manifest on each, and nothing more to be done.
func (r *ranch) wantMet(rep report.Report, ever map[manifest.Digest]string) {
	r.t.Helper()
	for _, c := range rep.Copies {
		if c.State != "current" {
			r.t.Errorf("%s is %s: %s", c.Copy, c.State, c.Error)
		}
	}
	for _, w := range rep.Waiting {
		r.t.Errorf("there waits %s: %s", w.Path, w.Reason)
	}
	if rep.Made != 0 {
		r.t.Errorf("a further round made %d versions", rep.Made)
	}
	var first map[string]manifest.Digest
	for _, c := range r.copies {
		got := map[string]manifest.Digest{}
		log, err := store.ReadSeal(r.t.Context(), c.root)
		must(r.t, err)
		if scanned, err := authority.WasScanned(r.led, c.id); err != nil || !scanned {
			r.t.Errorf("%s would be read anew in every round (%v)", c.name, err)
		}
		closed := map[string]bool{}
		for l := range log.All() {
			if l.What == seal.Closed {
				_, slug, _ := manifest.ParseObjectID(l.Object)
				closed[slug] = true
			}
		}
		for key, d := range contents(r.t, c.root) {
			slug, _, _ := strings.Cut(key, "/")
			if !strings.HasPrefix(key, "extensions/linecamp-quarantine/") && !closed[slug] {
				got[key] = d
			}
		}
		if first == nil {
			first = got
		}
		diff(r.t, c.name, got, first)
		named := everCommitted(r.t, []*copyOf{c})
		for d, where := range ever {
			if named[d] == "" {
				r.t.Errorf("%s has nowhere what was committed at %s", c.name, where)
			}
		}
	}
}

// settles runs rounds until none makes a version, and returns the last.
func (r *ranch) settles() report.Report {
	r.t.Helper()
	for range 6 {
		if rep := r.mirror(); rep.Made == 0 {
			return rep
		}
	}
	r.t.Fatal("it makes versions for ever")
	return report.Report{}
}

// What another history committed on a drive is taken in, once: beside what was recorded
// here under the same number, as it is where the number is free, and as a site of its own.
func TestWhatIsLooseIsTakenIn(t *testing.T) {
	r := newRanch(t, "barn", "shelf")
	shelf := r.copies[1]
	r.visit("North/Windmill", "2019-06-21")
	r.visit("South/Draw", "2019-06-21")
	r.mirror()
	r.reach("shelf")
	o := r.takesOver(laptopID)
	r.reach("barn")
	r.visit("North/Windmill", "2020-06-21")
	r.visit("South/Draw", "2020-06-21")
	r.visit("East/Creek", "2020-06-21")
	r.mirror()
	r.write("North/Windmill/2021-06-21/plot.jpg", "theirs")
	r.mirror()
	o.reach("shelf")
	o.now = r.now
	o.write("North/Windmill/2021-06-21/plot.jpg", "ours")
	o.mirror()
	ever := everCommitted(t, o.copies)

	o.reach("barn", "shelf")
	o.visit("South/Draw", "2023-06-21")
	if rep := o.mirror(); rep.Made == 0 || !strings.Contains(rep.Copies[0].Note, "2 versions of another history there were taken in") {
		t.Errorf("met: %+v", rep)
	}
	o.wantMet(o.settles(), ever)
	north := head(t, shelf.root, "north--windmill")
	want := []string{"2019-06-21/landscape.jpg", "2019-06-21/notes.txt", "2019-06-21/plot.jpg", "2020-06-21/landscape.jpg", "2020-06-21/notes.txt",
		"2020-06-21/plot.jpg", "2021-06-21/plot.jpg", "2021-06-21/plot~" + manifest.Sum([]byte("theirs")).String()[:8] + ".jpg"}
	if got := paths(north.State(north.Head())); !slices.Equal(got, want) {
		t.Errorf("the site has %q, want %q", got, want)
	}
	if n := head(t, shelf.root, "east--creek").Head(); n != 1 {
		t.Errorf("what was free has %d versions", n)
	}
}

// Where a computer takes the archive over again, its file keeps the name, and the other
// computer's of that name goes on beside it, said to be recoverable.
func TestAnothersFileOfOneNameGoesOnBeside(t *testing.T) {
	const path = "North/Windmill/2021-06-21/plot.jpg"
	for _, kept := range []bool{true, false} {
		r := newRanch(t, "barn", "shelf")
		r.visit("North/Windmill", "2019-06-21")
		r.mirror()
		r.reach("shelf")
		o := r.takesOver(laptopID)
		o.write(path, "theirs")
		o.mirror()
		r.reach("barn")
		r.write(path, "ours")
		if kept {
			r.mirror()
		}
		r.reach("barn", "shelf")
		o.settles()
		r.takeOver("office")
		r.settles()
		inv := head(t, r.copies[0].root, "north--windmill")
		state, theirs := inv.State(inv.Head()), manifest.Sum([]byte("theirs"))
		name := plan.Beside("2021-06-21/plot.jpg", theirs)
		if state["2021-06-21/plot.jpg"] != manifest.Sum([]byte("ours")) || state[name] != theirs {
			t.Errorf("kept before %v: the site has %v", kept, state)
		}
		rows, err := r.led.Unseen()
		if want := map[string]manifest.Digest{name: theirs}; err != nil || !maps.Equal(rows["north--windmill"].Paths, want) {
			t.Errorf("kept before %v: recoverable are %v, not %v (%v)", kept, rows, want, err)
		}
	}
}

// A state that was lost does not know what its folder had. What this computer recorded there,
// by its id or by its name, was in it: an edit takes its place, and leaves no twin.
func TestAnEditAfterTheStateWasLostIsAnEdit(t *testing.T) {
	for _, author := range []string{authorID, laptopID} {
		r := newRanch(t, "barn")
		r.visit("North/Windmill", "2019-06-21")
		r.mirror()
		r.loseState()
		r.author = author
		r.takeOver("office")
		r.writeAt("North/Windmill/2019-06-21/notes.txt", "edited, and longer", r.now.Add(-time.Hour))
		if got := reasons(r.mirror())[plan.ReasonUnproven]; len(got) != 1 {
			t.Errorf("as %s: %q wait", author, got)
		}
		r.mirror(func(in *In) { in.Accept = &Acceptance{Who: "Ada", Why: "it is meant"} })
		inv := head(t, r.copies[0].root, "north--windmill")
		state := inv.State(inv.Head())
		want := []string{"2019-06-21/landscape.jpg", "2019-06-21/notes.txt", "2019-06-21/plot.jpg"}
		if got := paths(state); !slices.Equal(got, want) || state["2019-06-21/notes.txt"] != manifest.Sum([]byte("edited, and longer")) {
			t.Errorf("as %s: the site has %v", author, state)
		}
		if rep := r.mirror(); rep.Made > 0 || rep.Wants() {
			t.Errorf("as %s: %+v", author, rep)
		}
		if rows, err := r.led.Unseen(); err != nil || len(rows) > 0 {
			t.Errorf("as %s: recoverable are %v (%v)", author, rows, err)
		}
	}
}

// loosened is a machine that took over from shelf and meets barn, on which another one recorded one
// more version of a site; barn has the archive's seal by now, and the other one beside it
// where keeps says so.
func loosened(t *testing.T, file string, keeps bool) *ranch {
	r := newRanch(t, "barn", "shelf")
	barn, shelf := r.copies[0], r.copies[1]
	r.visit("North/Windmill", "2019-06-21")
	r.mirror()
	r.reach("shelf")
	o := r.takesOver(laptopID)
	r.reach("barn")
	r.write("North/Windmill/"+file, "theirs")
	r.mirror()
	r.write("North/Windmill/2021-06-22/plot.jpg", "theirs again")
	r.mirror()
	o.reach("shelf")
	o.now = r.now
	o.visit("North/Windmill", "2020-06-21")
	o.mirror()
	if keeps {
		must(t, store.PutLate(t.Context(), barn.root, logOf(t, barn.root)))
	}
	must(t, copyTree(filepath.Join(shelf.path, "extensions/linecamp-seal/log"), filepath.Join(barn.path, "extensions/linecamp-seal/log")))
	o.reach("barn", "shelf")
	return o
}

// A copy that got the line about another history's log where no copy with the log was in
// reach gets the log as soon as one is.
func TestALogOfAnotherHistoryComesLater(t *testing.T) {
	for _, kinds := range [][]string{{"attic", "barn", "shelf"}, {"bucket", "barn", "shelf"}} {
		r := newRanch(t)
		r.add(s3test.Fake(t), kinds...)
		r.visit("North/Windmill", "2019-06-21")
		r.wantCurrent(r.mirror())
		r.reach("shelf")
		o := r.takesOver(laptopID)
		r.reach("barn")
		r.write("North/Windmill/2021-06-21/plot.jpg", "theirs")
		r.mirror()
		theirs := logOf(t, r.copies[1].root)
		o.now = r.now
		o.reach("barn", "shelf")
		o.settles()
		has := func() bool {
			_, err := store.LateFile(t.Context(), o.copies[0].root, theirs.Digest())
			return err == nil
		}
		o.reach(kinds[0])
		o.mirror()
		if !slices.ContainsFunc(slices.Collect(logOf(t, o.copies[0].root).All()), func(l seal.Line) bool { return l.Log == theirs.Digest() }) || has() {
			t.Fatalf("%s has no line about the log, or the log already", kinds[0])
		}
		o.reach(kinds...)
		if rep := o.mirror(); !has() {
			t.Errorf("%s does not get the log: %+v", kinds[0], rep)
		}
	}
}

// What only the copy of the other history can hold does not give way there, and holds up
// nothing elsewhere.
func TestWhatNoOtherCopyHoldsDoesNotGiveWay(t *testing.T) {
	o := loosened(t, "2021-06-21/film.mp4", true)
	barn, shelf := o.copies[0], o.copies[1]
	film := manifest.Sum([]byte("theirs"))
	whole := shelf.root
	shelf.root = small{whole, film}
	has := func() bool {
		for d, paths := range head(t, barn.root, "north--windmill").Content {
			if d == film {
				_, err := barn.root.Stat(t.Context(), "north--windmill/"+paths[0])
				return err == nil
			}
		}
		return false
	}
	for range 3 {
		rep := o.mirror()
		if !has() {
			t.Fatalf("the only bytes of the film gave way: %+v", rep)
		}
		if c := rep.Copies[0]; c.State != "behind" || !strings.Contains(c.Error, "film.mp4") {
			t.Errorf("barn is %s: %s", c.State, c.Error)
		}
	}
	o.visit("North/Windmill", "2022-06-21")
	if rep := o.mirror(); rep.Made != 1 {
		t.Errorf("the site waits: %+v", rep)
	}
}

// What no log of any history names is left as it is, and holds up nothing elsewhere.
func TestWhatNoLogNamesIsLeft(t *testing.T) {
	o := loosened(t, "2021-06-21/plot.jpg", false)
	before := head(t, o.copies[0].root, "north--windmill").Encode()
	o.visit("North/Windmill", "2022-06-21")
	rep := o.mirror()
	if c := rep.Copies[0]; rep.Made != 1 || c.State != "behind" || !strings.Contains(c.Error, "is in no seal") {
		t.Errorf("%+v", rep)
	}
	if after := head(t, o.copies[0].root, "north--windmill").Encode(); string(after) != string(before) {
		t.Error("it was changed")
	}
}

// A computer goes on with one copy, is lost, and another one takes over with the rest.
// When that copy turns up, all of it is taken in once, and it is used on.
func TestACopyOfAnotherHistoryIsTakenIn(t *testing.T) {
	for _, a := range []string{"drive", "bucket"} {
		for _, others := range [][]string{{"shelf"}, {"bucket-b"}, {"shelf", "bucket-b"}} {
			for _, alone := range []bool{false, true} {
				t.Run(fmt.Sprintf("%s to %s, alone %v", a, strings.Join(others, " and "), alone), func(t *testing.T) {
					srv := s3test.Fake(t)
					r := newRanch(t)
					r.add(srv, append([]string{a}, others...)...)
					r.visit("North/Windmill", "2019-06-21")
					r.visit("South/Draw", "2019-06-21")
					r.mirror()
					r.reach(others...)
					o := r.takesOver(laptopID)
					r.reach(a)
					r.now = r.now.Add(-time.Minute)
					r.visit("North/Windmill", "2020-06-21")
					r.visit("East/Creek", "2020-06-21")
					r.mirror()
					r.write("North/Windmill/2021-06-21/plot.jpg", "theirs of 2021")
					r.remove("North/Windmill/2019-06-21/notes.txt")
					r.mirror()
					o.reach(others...)
					o.now = r.now
					o.write("North/Windmill/2021-06-21/plot.jpg", "ours of 2021")
					if rep := o.mirror(); rep.Made == 0 {
						t.Fatalf("after taking over nothing is recorded: %+v", rep)
					}
					ever := everCommitted(t, o.copies)
					if alone {
						o.reach(a)
						o.visit("South/Draw", "2022-06-21")
						if rep := o.mirror(); rep.Made == 0 {
							t.Errorf("with the copy alone nothing is recorded: %+v", rep)
						}
					}
					o.reach(append([]string{a}, others...)...)
					o.visit("South/Draw", "2023-06-21")
					was := map[*copyOf]map[string]manifest.Digest{}
					for _, c := range o.copies {
						was[c] = contents(t, c.root)
					}
					rep := o.mirror()
					if rep.Made == 0 {
						t.Errorf("nothing is recorded when it is met: %+v", rep)
					}
					o.wantMet(o.settles(), ever)
					for c, keys := range was {
						now := contents(t, c.root)
						for key, d := range keys {
							if strings.Contains(key, "/v") && !(c.kind == "drive" && c.name == a) && now[key] != d {
								t.Errorf("%s: %s is not what it was", c.name, key)
							}
						}
					}
					o.wantMet(o.mirror(), ever)
					state := head(t, o.copies[0].root, "south--draw").State(head(t, o.copies[0].root, "south--draw").Head())
					if _, ok := state["2019-06-21/notes.txt"]; !ok {
						t.Error("a note that nobody deleted is gone")
					}
				})
			}
		}
	}
}

// refusing is a bucket that takes no writes while on.
type refusing struct {
	on   bool
	base http.RoundTripper
	only string // keys that end so, "" for all
}

func (r *refusing) RoundTrip(req *http.Request) (*http.Response, error) {
	if r.on && req.Method != http.MethodGet && req.Method != http.MethodHead && strings.HasSuffix(req.URL.Path, r.only) {
		return &http.Response{StatusCode: http.StatusForbidden, Status: "403 Forbidden", Proto: "HTTP/1.1", ProtoMajor: 1, ProtoMinor: 1, Request: req,
			Header: http.Header{"Content-Type": {"application/xml"}}, Body: io.NopCloser(strings.NewReader("<Error><Code>AccessDenied</Code><Message>Access Denied</Message></Error>"))}, nil
	}
	return r.base.RoundTrip(req)
}

// The bucket that is to get the line about another history's log refuses this round's name.
// The round goes on, and the line comes about in the next one.
func TestAHolderThatTakesNoNameEndsNoRound(t *testing.T) {
	r := newRanch(t)
	no := &refusing{base: http.DefaultTransport, only: store.AuthorKey}
	r.addBucket(s3test.Fake(t), "bucket", no)
	r.addBucket(s3test.Fake(t), "attic", no)
	r.visit("North/Windmill", "2019-06-21")
	r.mirror()
	r.reach("bucket")
	o := r.takesOver(laptopID)
	r.reach("attic")
	r.write("North/Windmill/2021-06-21/plot.jpg", "theirs")
	r.mirror()
	o.reach("bucket")
	o.now = r.now
	o.write("North/Windmill/2021-06-21/plot.jpg", "ours")
	o.mirror()
	ever := everCommitted(t, o.copies)
	o.reach("bucket", "attic")
	no.on = true
	if rep := o.mirror(); rep.Copies[0].State != "failed" {
		t.Errorf("%+v", rep)
	}
	no.on = false
	o.wantMet(o.settles(), ever)
}

// A copy of another history that takes no writes is only read: what it has is taken in
// all the same, other sites go on, and once it takes writes it is used on.
func TestACopyThatTakesNoWritesIsTakenIn(t *testing.T) {
	srv := s3test.Fake(t)
	r := newRanch(t)
	no := &refusing{base: http.DefaultTransport}
	r.addBucket(srv, "bucket", no)
	r.addDrive("shelf")
	r.addDrive("barn")
	r.visit("North/Windmill", "2019-06-21")
	r.visit("South/Draw", "2019-06-21")
	r.mirror()
	r.reach("shelf", "barn")
	o := r.takesOver(laptopID)
	r.reach("bucket")
	r.write("North/Windmill/2021-06-21/plot.jpg", "theirs")
	r.visit("East/Creek", "2020-06-21")
	r.mirror()
	r.write("North/Windmill/2022-06-21/plot.jpg", "theirs again")
	r.visit("East/Big Creek", "2020-06-21")
	r.mirror()
	o.reach("shelf", "barn")
	o.now = r.now
	o.write("North/Windmill/2021-06-21/plot.jpg", "ours")
	o.visit("East/Big-Creek", "2020-06-21") // another site of the same slug
	o.mirror()
	ever := everCommitted(t, o.copies)
	o.reach("bucket", "shelf", "barn")
	no.on = true
	o.visit("South/Draw", "2023-06-21")
	rep := o.mirror()
	if rep.Made == 0 || rep.Copies[0].State == "current" || rep.Copies[1].State != "current" || rep.Copies[2].State != "current" {
		t.Errorf("met: %+v", rep)
	}
	o.settles()
	o.visit("North/Windmill", "2024-06-21")
	if rep := o.mirror(); rep.Made != 1 {
		t.Errorf("the site waits although all is brought: %+v", rep)
	}
	all := o.copies
	for _, c := range all[1:] {
		have := everCommitted(t, []*copyOf{c})
		for d, where := range ever {
			if _, has := have[d]; !has {
				t.Errorf("%s has nowhere what was committed at %s", c.name, where)
			}
		}
	}
	no.on = false
	o.wantMet(o.settles(), ever)
}
