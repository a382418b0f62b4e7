package late

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"linecamp/daemon/mirror/plan"
	"linecamp/daemon/mirror/sites"
	"linecamp/manifest"
)

var day = time.Date(2026, 7, 1, 6, 0, 0, 0, time.UTC)

// grow adds a version with these files, path → text, to what is on record.
func grow(t interface {
	Helper()
	Fatal(...any)
}, o *sites.Object, files map[string]string, by string) *sites.Object {
	t.Helper()
	if o == nil {
		o = &sites.Object{Slug: "stake-1", Inv: manifest.New("linecamp:ranch:stake-1")}
	}
	state, rec := map[string]manifest.Digest{}, manifest.Record{Site: "stake-1", Base: "stake-1", Paths: map[string]manifest.Entry{}}
	for p, text := range files {
		state[p], rec.Paths[p] = manifest.Sum([]byte(text)), manifest.Entry{Bytes: int64(len(text)), Kind: manifest.KindPhoto}
	}
	draft, err := o.Inv.Add(manifest.Next{Created: day, User: manifest.User{Name: by}, Message: by, State: state, Record: rec})
	if err != nil {
		t.Fatal(err)
	}
	return &sites.Object{Slug: o.Slug, Inv: draft.Inventory, Rec: &rec, Raw: draft.Record}
}

// bring does what Compose says, and returns what is on record then.
func bring(t interface {
	Helper()
	Fatal(...any)
}, into, from *sites.Object, n int, shown map[string]manifest.Digest) (*sites.Object, Version) {
	t.Helper()
	v := Compose(into, from.Inv, n, from.Rec, nil, shown)
	inv := manifest.New("linecamp:ranch:stake-1")
	if into != nil {
		inv = into.Inv
	}
	draft, err := inv.Add(manifest.Next{Created: day, User: manifest.User{Name: "ours"}, State: v.State, Record: v.Record, Keep: v.Keep})
	if err != nil {
		t.Fatal(err)
	}
	return &sites.Object{Slug: "stake-1", Inv: draft.Inventory, Rec: &v.Record, Raw: draft.Record}, v
}

func index(inv *manifest.Inventory) (all []manifest.Digest) {
	for n := 1; n <= inv.Head(); n++ {
		all = append(all, manifest.Sum(inv.Until(n).Encode()))
	}
	return all
}

// files are the paths of people in a state, with the text that a digest stands for.
func files(state map[string]manifest.Digest, texts ...string) map[string]string {
	of := map[manifest.Digest]string{}
	for _, text := range texts {
		of[manifest.Sum([]byte(text))] = text
	}
	out := map[string]string{}
	for p, d := range state {
		if !manifest.Reserved(p) {
			out[p] = of[d]
		}
	}
	return out
}

func TestFrom(t *testing.T) {
	base := grow(t, nil, map[string]string{"a": "A"}, "both")
	ours := grow(t, base, map[string]string{"a": "A", "b": "B"}, "ours")
	theirs := grow(t, grow(t, base, map[string]string{"a": "A", "c": "C"}, "theirs"), map[string]string{"a": "A"}, "theirs")
	for _, c := range []struct {
		why   string
		chain *manifest.Inventory
		index []manifest.Digest
		want  int
	}{
		{"the same", ours.Inv, index(ours.Inv), 0},
		{"behind", base.Inv, index(ours.Inv), 0},
		{"one beyond", ours.Inv, index(base.Inv), 2},
		{"two beyond", theirs.Inv, index(base.Inv), 2},
		{"another second one", theirs.Inv, index(ours.Inv), 2},
		{"nothing known of it", theirs.Inv, nil, 1},
		{"another first one", grow(t, nil, map[string]string{"x": "X"}, "theirs").Inv, index(ours.Inv), 1},
		{"nothing there", manifest.New("linecamp:ranch:stake-1"), index(ours.Inv), 0},
	} {
		if got := From(c.chain, c.index); got != c.want {
			t.Errorf("%s: %d, want %d", c.why, got, c.want)
		}
	}
}

func TestCompose(t *testing.T) {
	d8 := func(text string) string { return manifest.Sum([]byte(text)).String()[:8] }
	for _, c := range []struct {
		why                string
		first, ours, again map[string]string // the common version, ours, and one more of ours
		theirs             map[string]string
		shown              map[string]string
		want               map[string]string
		kept               string // a text that goes beside the files
	}{
		{why: "a new file of theirs", first: map[string]string{"a": "A"}, ours: map[string]string{"a": "A", "b": "B"},
			theirs: map[string]string{"a": "A", "c": "C"}, want: map[string]string{"a": "A", "b": "B", "c": "C"}},
		{why: "other photos under one name", first: map[string]string{"a": "A"}, ours: map[string]string{"a": "A", "d/IMG_1.JPG": "B"},
			theirs: map[string]string{"a": "A", "d/IMG_1.JPG": "C"},
			want:   map[string]string{"a": "A", "d/IMG_1.JPG": "B", "d/IMG_1~" + d8("C") + ".JPG": "C"}},
		{why: "other photos under one name, and theirs besides as an earlier meeting named it", first: map[string]string{"a": "A"}, ours: map[string]string{"a": "A", "d/IMG_1.JPG": "B"},
			theirs: map[string]string{"a": "A", "d/IMG_1.JPG": "C", "d/IMG_1~" + d8("C") + ".JPG": "C"},
			want:   map[string]string{"a": "A", "d/IMG_1.JPG": "B", "d/IMG_1~" + d8("C") + ".JPG": "C"}},
		{why: "a name that the folder has, not recorded yet", first: map[string]string{"a": "A"}, ours: map[string]string{"a": "A", "b": "B"},
			theirs: map[string]string{"c": "C"}, shown: map[string]string{"c": "other"},
			want: map[string]string{"a": "A", "b": "B", "c~" + d8("C"): "C"}},
		{why: "the folder has the very file", first: map[string]string{"a": "A"}, ours: map[string]string{"a": "A", "b": "B"},
			theirs: map[string]string{"c": "C"}, shown: map[string]string{"c": "C"},
			want: map[string]string{"a": "A", "b": "B", "c": "C"}},
		{why: "what they deleted stays", first: map[string]string{"a": "A", "b": "B"}, ours: map[string]string{"a": "A", "b": "B", "c": "C"},
			theirs: map[string]string{"a": "A"}, want: map[string]string{"a": "A", "b": "B", "c": "C"}},
		{why: "what was deleted here does not come back under their new name", first: map[string]string{"a": "A", "b": "B"}, ours: map[string]string{"a": "A"},
			theirs: map[string]string{"a": "A", "moved": "B"}, want: map[string]string{"a": "A"}},
		{why: "both had it, and it was deleted here since", first: map[string]string{"a": "A"}, ours: map[string]string{"a": "A", "b": "B"}, again: map[string]string{"a": "A"},
			theirs: map[string]string{"a": "A", "b": "B"}, want: map[string]string{"a": "A"}},
		{why: "a file where ours has a folder", first: map[string]string{"a": "A"}, ours: map[string]string{"a": "A", "d/b": "B"},
			theirs: map[string]string{"d": "C"}, want: map[string]string{"a": "A", "d/b": "B", "d~" + d8("C"): "C"}},
		{why: "a folder where ours has a file", first: map[string]string{"a": "A"}, ours: map[string]string{"a": "A", "d": "B"},
			theirs: map[string]string{"d/c": "C"}, want: map[string]string{"a": "A", "d": "B"}, kept: "C"},
	} {
		t.Run(c.why, func(t *testing.T) {
			first := grow(t, nil, c.first, "both")
			ours := grow(t, first, c.ours, "ours")
			if c.again != nil {
				ours = grow(t, ours, c.again, "ours")
			}
			theirs := grow(t, first, c.theirs, "theirs")
			shown := map[string]manifest.Digest{}
			for p, text := range c.shown {
				shown[p] = manifest.Sum([]byte(text))
			}
			if Done(theirs.Inv, 2, ours.Inv) {
				t.Fatal("done before it was brought")
			}
			got, v := bring(t, ours, theirs, 2, shown)
			if have := files(v.State, "A", "B", "C", "other"); !maps.Equal(have, c.want) {
				t.Errorf("the state is %v, want %v", have, c.want)
			}
			if !Done(theirs.Inv, 2, got.Inv) {
				t.Error("not done when it was brought")
			}
			for _, b := range [][]byte{theirs.Raw, theirs.Inv.Encode()} {
				if len(got.Inv.Content[manifest.Sum(b)]) == 0 {
					t.Errorf("does not keep %.40s", b)
				}
			}
			if c.kept != "" && !slices.Contains(v.Keep, manifest.Sum([]byte(c.kept))) {
				t.Errorf("does not keep the bytes %s", c.kept)
			}
		})
	}
}

// A round died while it uploaded a version to a bucket, and the computer that took over with
// that bucket kept what it found there. The version turns up committed: its photos get
// their names, from the bytes that are there.
func TestComposeNamesWhatWasFound(t *testing.T) {
	first := grow(t, nil, map[string]string{"a": "A"}, "both")
	theirs := grow(t, first, map[string]string{"a": "A", "b": "B"}, "theirs")
	state := map[string]manifest.Digest{"a": manifest.Sum([]byte("A"))}
	found := map[string]manifest.Digest{"v2/content/b": manifest.Sum([]byte("B"))}
	draft, err := first.Inv.Add(manifest.Next{Created: day, User: manifest.User{Name: "ours"}, State: state, Record: *first.Rec, Found: found})
	if err != nil {
		t.Fatal(err)
	}
	ours := &sites.Object{Slug: "stake-1", Inv: draft.Inventory, Rec: first.Rec, Raw: draft.Record}
	got, v := bring(t, ours, theirs, 2, nil)
	if have := files(v.State, "A", "B"); !maps.Equal(have, map[string]string{"a": "A", "b": "B"}) {
		t.Errorf("the state is %v", have)
	}
	if n := len(got.Inv.Content[manifest.Sum([]byte("B"))]); n != 1 {
		t.Errorf("the bytes are stored %d times", n)
	}
}

// A third history, for which an object is not closed, brings into it what goes on from it:
// it does not go on from itself then. Other decisions come with the version.
func TestAnObjectDoesNotGoOnFromItself(t *testing.T) {
	first := grow(t, nil, map[string]string{"a": "A"}, "both")
	theirs := grow(t, nil, map[string]string{"a": "A", "b": "B"}, "theirs")
	theirs.Rec.Decisions = []manifest.Decision{
		{What: manifest.Joined, Path: "stake-1", Who: "linecamp", When: day, Why: "the site goes on here"},
		{What: manifest.Joined, Path: "stake-one", Who: "Ada", When: day, Why: "the same site"},
	}
	v := Compose(first, theirs.Inv, 1, theirs.Rec, nil, nil)
	if d := v.Record.Decisions; len(d) != 1 || d[0].Path != "stake-one" {
		t.Errorf("%v", d)
	}
}

// A site that only the other history has is made with the other's names.
func TestComposeMakesASite(t *testing.T) {
	theirs := grow(t, nil, map[string]string{"a": "A"}, "theirs")
	got, v := bring(t, nil, theirs, 1, nil)
	if v.Record.Site != "stake-1" || !maps.Equal(files(v.State, "A"), map[string]string{"a": "A"}) || !Done(theirs.Inv, 1, got.Inv) {
		t.Errorf("%+v", v)
	}
}

// Two photos with their companions meet under the same names: each companion stays with
// its own photo.
func TestCompanionsStayWithTheirPhotos(t *testing.T) {
	pair := func(o *sites.Object, photo, side string) *sites.Object {
		rec := manifest.Record{Site: "stake-1", Base: "stake-1", Paths: map[string]manifest.Entry{
			"p.jpg": {Kind: manifest.KindPhoto}, "p.xmp": {Kind: manifest.KindCompanion, With: "p.jpg"}}}
		state := map[string]manifest.Digest{"p.jpg": manifest.Sum([]byte(photo)), "p.xmp": manifest.Sum([]byte(side))}
		draft, err := o.Inv.Add(manifest.Next{Created: day, User: manifest.User{Name: photo}, State: state, Record: rec})
		if err != nil {
			t.Fatal(err)
		}
		return &sites.Object{Slug: o.Slug, Inv: draft.Inventory, Rec: &rec, Raw: draft.Record}
	}
	first := grow(t, nil, map[string]string{"a": "A"}, "both")
	got, _ := bring(t, pair(first, "P1", "S1"), pair(first, "P2", "S2"), 2, nil)
	name := func(p, text string) string { return plan.Beside(p, manifest.Sum([]byte(text))) }
	if with := got.Rec.Paths[name("p.xmp", "S2")].With; with != name("p.jpg", "P2") {
		t.Errorf("their companion goes with %q", with)
	}
	got, _ = bring(t, pair(first, "P1", "S1"), pair(pair(first, "P3", "S1"), "P3", "S4"), 3, nil)
	if with := got.Rec.Paths[name("p.xmp", "S4")].With; with != name("p.jpg", "P3") {
		t.Errorf("their companion goes with %q", with)
	}
}

// Whatever two histories did to a site: all that the late one ever stored is in the manifest once all of it is
// brought, nothing that is on record goes or changes, nothing that was deleted here on purpose comes
// back, and what was brought is done, also in the eyes of a state that knows only the manifest.
func TestNothingIsLostNorBroughtTwice(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		paths := rapid.SampledFrom([]string{"a", "b.jpg", "d/a", "d", "d/b.jpg", "e/f/g"})
		texts := rapid.SampledFrom([]string{"1", "2", "3", "4", "5", "6"})
		draw := func(name string) map[string]string {
			out := map[string]string{}
			for p, text := range rapid.MapOf(paths, texts).Draw(t, name) {
				below := slices.ContainsFunc(slices.Collect(maps.Keys(out)), func(o string) bool {
					return strings.HasPrefix(o, p+"/") || strings.HasPrefix(p, o+"/")
				})
				if !below {
					out[p] = text
				}
			}
			return out
		}
		var base *sites.Object
		common := rapid.IntRange(0, 2).Draw(t, "common")
		for i := range common {
			base = grow(t, base, draw(fmt.Sprint("both ", i)), "both")
		}
		ours, theirs := base, base
		for i := range rapid.IntRange(1, 3).Draw(t, "ours") {
			ours = grow(t, ours, draw(fmt.Sprint("ours ", i)), "ours")
		}
		of := map[int]*sites.Object{}
		for i := range rapid.IntRange(1, 3).Draw(t, "theirs") {
			theirs = grow(t, theirs, draw(fmt.Sprint("theirs ", i)), "theirs")
			of[theirs.Head()] = theirs
		}
		from := From(theirs.Inv, index(ours.Inv))
		if from != common+1 {
			t.Fatalf("the chain leaves ours at %d, not at %d", from, common+1)
		}
		shown := map[string]manifest.Digest{}
		for p, text := range draw("folder") {
			shown[p] = manifest.Sum([]byte(text))
		}
		for n := from; n <= theirs.Head(); n++ {
			before := ours
			late := &sites.Object{Inv: theirs.Inv, Rec: of[n].Rec}
			if Done(theirs.Inv, n, ours.Inv) {
				continue
			}
			var v Version
			ours, v = bring(t, ours, late, n, shown)
			if !Done(theirs.Inv, n, ours.Inv) {
				t.Fatalf("version %d is not done", n)
			}
			for p, d := range before.Inv.State(before.Head()) {
				if p != manifest.RecordPath && v.State[p] != d {
					t.Fatalf("%s changed or went", p)
				}
			}
			for p, d := range v.State {
				_, was := before.Inv.State(before.Head())[p]
				if before.Inv.Files()[d] > 0 && !was {
					t.Fatalf("%s came back", p)
				}
				if s, is := shown[p]; is && !was && s != d {
					t.Fatalf("%s would alter what the folder shows", p)
				}
			}
		}
		if _, kept := ours.Inv.Content[manifest.Sum(theirs.Inv.Encode())]; !kept {
			t.Fatal("the late inventory is not kept")
		}
		for d := range theirs.Inv.Content {
			if _, has := ours.Inv.Content[d]; !has {
				t.Fatalf("%s is in no version", d)
			}
		}
	})
}
