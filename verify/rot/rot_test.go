package rot_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"syscall"
	"testing"
	"testing/iotest"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/verify"
	"linecamp/verify/rot"
	"linecamp/verify/verifytest"
)

// ranch has two versions of one site on n copies.
func ranch(t testing.TB, n int) *verifytest.Ranch {
	r := verifytest.New(t, n)
	r.Version(verifytest.Stake, verifytest.Day(2020, 7, 1), verifytest.Visits(2019, 2020))
	r.Version(verifytest.Stake, verifytest.Day(2021, 7, 1), verifytest.Visits(2019, 2020, 2021))
	return r
}

func checked(t testing.TB, c verify.Copy, o rot.Options) verify.CopyReport {
	t.Helper()
	rep, err := rot.Check(context.Background(), c, o)
	if err != nil {
		t.Fatal(err)
	}
	return rep
}

// found writes damage short: "kind path vN".
func found(rep verify.CopyReport) []string {
	var out []string
	for _, d := range rep.Damage {
		out = append(out, fmt.Sprintf("%s %s v%d", d.Kind, d.Path, d.Version))
	}
	return out
}

func TestRotFindsNothingOnAGoodCopy(t *testing.T) {
	r := ranch(t, 1)
	mem := &verifytest.Memory{}
	o := r.Options()
	o.Memory = mem
	rep := checked(t, r.Copies[0], o)
	if len(rep.Damage) > 0 || len(rep.Behind) > 0 || len(rep.Unfinished) > 0 {
		t.Fatalf("a good copy: %+v", rep)
	}
	if rep.Files != 9 || rep.ReadBack.Files != 9 || rep.Unread.Files != 0 || rep.Bytes != rep.ReadBack.Bytes || rep.Bytes == 0 {
		t.Errorf("counted %+v, want 9 files read back", rep)
	}
	if rep.Heads["windmill--stake-3"] != 2 {
		t.Errorf("heads %v", rep.Heads)
	}
	held, _ := mem.Held(r.Copies[0].Key(), "windmill--stake-3")
	inv := r.Heads["windmill--stake-3"]
	record := inv.Content[inv.State(1)[manifest.RecordPath]][0]
	for _, p := range []string{"v1/content/2019-06-21/plot.jpg", "v2/inventory.json", record} {
		if held[p].ReadBack.IsZero() {
			t.Errorf("%s is not remembered as read back", p)
		}
	}
	// A quick check afterwards reads the same bytes and finds the same.
	o.Quick = true
	rep = checked(t, r.Copies[0], o)
	if rep.Matched.Files != 9 || rep.ReadBack.Files != 0 || len(rep.Damage) != 0 || rep.Depth != "quick" {
		t.Errorf("quick: %+v", rep)
	}
	// Without a memory it reads everything in full.
	o.Memory = nil
	if rep = checked(t, r.Copies[0], o); rep.ReadBack.Files != 9 {
		t.Errorf("quick without memory: %+v", rep)
	}
}

func TestRotFindsDamage(t *testing.T) {
	const slug = "windmill--stake-3"
	key := func(r *verifytest.Ranch, p string) string { return r.Path(0, r.Key(slug, p)) }
	file := func(r *verifytest.Ranch, p string) string { return r.Path(0, slug+"/"+p) }
	for _, tt := range []struct {
		name string
		harm func(t *testing.T, r *verifytest.Ranch)
		want []string
	}{
		{"a flipped bit", func(t *testing.T, r *verifytest.Ranch) { verifytest.Flip(t, key(r, "2019-06-21/plot.jpg")) },
			[]string{"altered Windmill/Stake 3/2019-06-21/plot.jpg v2"}},
		{"cut short", func(t *testing.T, r *verifytest.Ranch) {
			if err := os.Truncate(key(r, "2021-06-21/plot.jpg"), 3); err != nil {
				t.Fatal(err)
			}
		}, []string{"altered Windmill/Stake 3/2021-06-21/plot.jpg v2"}},
		{"emptied", func(t *testing.T, r *verifytest.Ranch) { os.Truncate(key(r, "2020-06-21/notes.txt"), 0) },
			[]string{"altered Windmill/Stake 3/2020-06-21/notes.txt v2"}},
		{"deleted", func(t *testing.T, r *verifytest.Ranch) { verifytest.Remove(t, key(r, "2020-06-21/plot.jpg")) },
			[]string{"gone Windmill/Stake 3/2020-06-21/plot.jpg v2"}},
		{"a folder in its place", func(t *testing.T, r *verifytest.Ranch) {
			p := key(r, "2020-06-21/plot.jpg")
			verifytest.Remove(t, p)
			os.Mkdir(p, 0o777)
		}, []string{"gone Windmill/Stake 3/2020-06-21/plot.jpg v2"}},
		{"a stray in an object", func(t *testing.T, r *verifytest.Ranch) {
			verifytest.Write(t, file(r, "v1/content/2019-06-21/extra.jpg"), []byte("x"), time.Now())
		}, []string{"stray windmill--stake-3/v1/content/2019-06-21/extra.jpg v0"}},
		{"a stray at the top and a folder of someone's", func(t *testing.T, r *verifytest.Ranch) {
			verifytest.Write(t, r.Path(0, "taxes.pdf"), []byte("x"), time.Now())
			verifytest.Write(t, r.Path(0, "My Photos/a.jpg"), []byte("x"), time.Now())
			verifytest.Write(t, r.Path(0, "My Photos/b/c.jpg"), []byte("x"), time.Now())
			verifytest.Write(t, r.Path(0, "extensions/other/x"), []byte("x"), time.Now())
		}, []string{"stray My Photos/ v0", "stray extensions/other/x v0", "stray taxes.pdf v0"}},
		{"the log of another history", func(t *testing.T, r *verifytest.Ranch) {
			if err := store.PutLate(t.Context(), r.Copies[0].Root, r.Seal); err != nil {
				t.Fatal(err)
			}
		}, nil},
		{"litter of operating systems", func(t *testing.T, r *verifytest.Ranch) {
			verifytest.Write(t, r.Path(0, "System Volume Information/x"), []byte("x"), time.Now())
			verifytest.Write(t, r.Path(0, ".Trash-1000/files/x"), []byte("x"), time.Now())
			verifytest.Write(t, file(r, "v1/content/.DS_Store"), []byte("x"), time.Now())
		}, nil},
		{"a version that is being built", func(t *testing.T, r *verifytest.Ranch) {
			verifytest.Write(t, file(r, "v3/content/x.jpg"), []byte("x"), time.Now())
			verifytest.Write(t, file(r, "v3/inventory.json"), []byte("{"), time.Now())
			verifytest.Write(t, r.Path(0, "new--site/v1/content/x.jpg"), []byte("x"), time.Now())
			verifytest.Write(t, r.Path(0, "extensions/linecamp-staging/abc/x"), []byte("x"), time.Now())
		}, nil},
		{"the newest inventory", func(t *testing.T, r *verifytest.Ranch) { verifytest.Flip(t, file(r, "v2/inventory.json")) },
			[]string{"altered .linecamp/inventory v2"}},
		{"an earlier inventory", func(t *testing.T, r *verifytest.Ranch) { verifytest.Flip(t, file(r, "v1/inventory.json")) },
			[]string{"altered .linecamp/inventory v1"}},
		{"a sidecar", func(t *testing.T, r *verifytest.Ranch) { verifytest.Remove(t, file(r, "v1/inventory.json.sha256")) },
			[]string{"gone .linecamp/inventory v1"}},
		{"a record", func(t *testing.T, r *verifytest.Ranch) {
			inv := r.Heads[slug]
			verifytest.Flip(t, file(r, inv.Content[inv.State(1)[manifest.RecordPath]][0]))
		}, []string{"altered .linecamp/record.json v1"}},
		{"a version folder", func(t *testing.T, r *verifytest.Ranch) { verifytest.Remove(t, file(r, "v2")) },
			[]string{"gone .linecamp/inventory v2", "gone .linecamp/inventory v2", "gone .linecamp/record.json v2",
				"gone Windmill/Stake 3/2021-06-21/landscape.jpg v2", "gone Windmill/Stake 3/2021-06-21/notes.txt v2", "gone Windmill/Stake 3/2021-06-21/plot.jpg v2"}},
		{"the seal", func(t *testing.T, r *verifytest.Ranch) { verifytest.Flip(t, r.Path(0, seal.File(0))) },
			[]string{"altered .linecamp/seal v0"}},
		{"the file that says what the root is", func(t *testing.T, r *verifytest.Ranch) { verifytest.Remove(t, r.Path(0, store.RootNamaste)) },
			[]string{"gone .linecamp/root v0"}},
		{"the file that says who records", func(t *testing.T, r *verifytest.Ranch) {
			verifytest.Write(t, r.Path(0, store.AuthorKey), []byte(`{"archive": "`), time.Now())
		}, []string{"altered .linecamp/root v0"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r := ranch(t, 1)
			tt.harm(t, r)
			rep := checked(t, r.Copies[0], r.Options())
			if len(rep.Standard) > 0 {
				t.Errorf("said twice, as damage and against the standard: %q", rep.Standard)
			}
			got := found(rep)
			slices.Sort(got)
			slices.Sort(tt.want)
			if !slices.Equal(got, tt.want) {
				t.Errorf("found\n  %s\nwant\n  %s", strings.Join(got, "\n  "), strings.Join(tt.want, "\n  "))
			}
		})
	}
}

// What breaks the standard's rules and is no damage is said as such.
func TestRotByTheStandard(t *testing.T) {
	r := ranch(t, 1)
	if err := os.Mkdir(r.Path(0, "windmill--stake-3/empty"), 0o777); err != nil {
		t.Fatal(err)
	}
	rep := checked(t, r.Copies[0], r.Options())
	if len(rep.Damage) != 0 || len(rep.Standard) == 0 || !strings.Contains(rep.Standard[0], "windmill--stake-3/empty") {
		t.Errorf("damage %v, standard %q", rep.Damage, rep.Standard)
	}
	if !(verify.Report{Copies: []verify.CopyReport{rep}}).Wants() {
		t.Error("nothing wants a person")
	}
}

// A copy is checked by what it holds itself when nothing else is known.
func TestRotWithoutAnythingExpected(t *testing.T) {
	r := ranch(t, 1)
	verifytest.Flip(t, r.Path(0, r.Key("windmill--stake-3", "2019-06-21/plot.jpg")))
	rep := checked(t, r.Copies[0], rot.Options{Allowance: -1})
	if got := found(rep); !slices.Equal(got, []string{"altered Windmill/Stake 3/2019-06-21/plot.jpg v2"}) {
		t.Errorf("found %q", got)
	}
	if rep.Files != 9 || rep.ReadBack.Files != 8 || rep.Unread.Files != 0 {
		t.Errorf("counted %+v", rep)
	}
}

func TestRotQuickFindsWhatTheMemoryTells(t *testing.T) {
	r := ranch(t, 1)
	mem := &verifytest.Memory{}
	o := r.Options()
	o.Memory = mem
	checked(t, r.Copies[0], o)
	verifytest.Flip(t, r.Path(0, r.Key("windmill--stake-3", "2019-06-21/plot.jpg")))
	if err := os.Truncate(r.Path(0, r.Key("windmill--stake-3", "2020-06-21/plot.jpg")), 2); err != nil {
		t.Fatal(err)
	}
	o.Quick = true
	want := []string{"altered Windmill/Stake 3/2019-06-21/plot.jpg v2", "altered Windmill/Stake 3/2020-06-21/plot.jpg v2"}
	for range 2 { // and again: what was once found is not forgotten
		if got := found(checked(t, r.Copies[0], o)); !slices.Equal(got, want) {
			t.Errorf("found %q", got)
		}
	}
	held, _ := mem.Held(r.Copies[0].Key(), "windmill--stake-3")
	if h := held["v1/content/2019-06-21/plot.jpg"]; !h.ReadBack.IsZero() {
		t.Errorf("an altered file still counts as read back: %+v", h)
	}
}

func TestRotBehindIsNoDamage(t *testing.T) {
	r := verifytest.New(t, 2)
	r.Version(verifytest.Stake, verifytest.Day(2020, 7, 1), verifytest.Visits(2019, 2020))
	r.Version(verifytest.Stake, verifytest.Day(2021, 7, 1), verifytest.Visits(2019, 2020, 2021), 0)
	other := verifytest.Site{Slug: "creek--stake-1", Site: "Stake 1", Pasture: "Creek", Base: "Creek/Stake 1"}
	r.Version(other, verifytest.Day(2021, 7, 1), verifytest.Visits(2021), 0)
	rep := checked(t, r.Copies[1], r.Options())
	if len(rep.Damage) != 0 {
		t.Errorf("damage %q", found(rep))
	}
	want := []verify.Behind{{Object: "creek--stake-1", Site: "creek--stake-1", Have: 0, Want: 1}, {Object: "windmill--stake-3", Site: "Stake 3", Have: 1, Want: 2}}
	if !slices.Equal(rep.Behind, want) {
		t.Errorf("behind %+v", rep.Behind)
	}
	if rep.Files != 6 || rep.ReadBack.Files != 6 {
		t.Errorf("counted %+v", rep)
	}
	// The seal alone tells it too.
	if rep := checked(t, r.Copies[1], rot.Options{Allowance: -1}); !slices.Equal(rep.Behind, want) {
		t.Errorf("by the seal: %+v", rep.Behind)
	}
}

func TestRotUnfinishedIsNoDamage(t *testing.T) {
	r := ranch(t, 1)
	old := r.Heads["windmill--stake-3"].Until(1).Encode()
	verifytest.Write(t, r.Path(0, "windmill--stake-3/inventory.json"), old, time.Now())
	rep := checked(t, r.Copies[0], r.Options())
	if len(rep.Damage) != 0 || !slices.Equal(rep.Unfinished, []string{"windmill--stake-3"}) {
		t.Errorf("damage %q, unfinished %q", found(rep), rep.Unfinished)
	}
	if rep.ReadBack.Files != 9 {
		t.Errorf("counted %+v", rep)
	}
}

// A version whose root pair a crash kept from being written, and whose manifest
// rotted before the next round, was committed all the same: its sidecar, which is
// written last, says so. It is damage, not a version that never came.
func TestRotOfAVersionThatIsUnfinishedToo(t *testing.T) {
	const slug = "windmill--stake-3"
	for _, name := range []string{"inventory.json", "inventory.json.sha256"} {
		r := ranch(t, 1)
		old := r.Heads[slug].Until(1).Encode()
		verifytest.Write(t, r.Path(0, slug+"/inventory.json"), old, time.Now())
		verifytest.Write(t, r.Path(0, slug+"/inventory.json.sha256"), manifest.Sidecar(old), time.Now())
		verifytest.Flip(t, r.Path(0, slug+"/v2/"+name))
		rep, err := rot.Check(t.Context(), r.Copies[0], rot.Options{Allowance: -1})
		if err != nil {
			t.Fatal(err)
		}
		if got := found(rep); len(rep.Behind) > 0 || !slices.Contains(got, "altered .linecamp/inventory v2") {
			t.Errorf("%s: behind %+v, found %q", name, rep.Behind, got)
		}
	}
}

// A version may be committed without bytes that nobody had.
func TestRotGoneSinceCommit(t *testing.T) {
	r := verifytest.New(t, 1)
	s := verifytest.Visits(2019)
	r.Version(verifytest.Stake, verifytest.Day(2020, 7, 1), s)
	s["2020-06-21/plot.jpg"] = verifytest.Photo("2020-06-21/plot.jpg", verifytest.Day(2020, 6, 21))
	lost := manifest.Sum(s["2020-06-21/plot.jpg"].Bytes)
	r.Lose = map[manifest.Digest]bool{lost: true}
	r.Version(verifytest.Stake, verifytest.Day(2021, 7, 1), s)
	got := found(checked(t, r.Copies[0], r.Options()))
	if !slices.Equal(got, []string{"gone Windmill/Stake 3/2020-06-21/plot.jpg v2"}) {
		t.Errorf("found %q", got)
	}
}

// Someone who changes a photo and makes inventory and sidecar fit it again is
// found by the seal.
func TestRotRewritten(t *testing.T) {
	r := ranch(t, 1)
	const slug = "windmill--stake-3"
	photo := r.Path(0, r.Key(slug, "2021-06-21/plot.jpg"))
	was := manifest.Sum(r.Bytes[r.Heads[slug].State(2)["2021-06-21/plot.jpg"]])
	forged := []byte("another picture")
	verifytest.Write(t, photo, forged, time.Now())
	b, err := os.ReadFile(r.Path(0, slug+"/v2/inventory.json"))
	if err != nil {
		t.Fatal(err)
	}
	b = []byte(strings.ReplaceAll(string(b), was.String(), manifest.Sum(forged).String()))
	inv, err := manifest.DecodeInventory(b)
	if err != nil {
		t.Fatal(err)
	}
	b = inv.Encode()
	for _, dir := range []string{"", "v2/"} {
		verifytest.Write(t, r.Path(0, slug+"/"+dir+"inventory.json"), b, time.Now())
		verifytest.Write(t, r.Path(0, slug+"/"+dir+"inventory.json.sha256"), manifest.Sidecar(b), time.Now())
	}
	for name, o := range map[string]rot.Options{"with the archive's manifests": r.Options(), "with the copy's own seal only": {Allowance: -1}} {
		rep := checked(t, r.Copies[0], o)
		if len(rep.Damage) != 1 || !strings.HasPrefix(rep.Damage[0].Detail, verify.Rewritten) || rep.Damage[0].Content != "v2/inventory.json" {
			t.Errorf("%s: %+v", name, rep.Damage)
		}
	}
}

// A drive that is pulled out is one clear error, not a list of lost photos.
func TestRotPulledOut(t *testing.T) {
	r := ranch(t, 1)
	ctx := context.Background()
	pulled := &pulling{Root: r.Copies[0].Root, after: 3, dir: r.Dirs[0]}
	o := r.Options()
	o.Workers = 1
	rep, err := rot.Check(ctx, verify.Copy{Name: "drive1", ID: r.Copies[0].ID, Root: pulled}, o)
	if !errors.Is(err, rot.ErrStopped) {
		t.Errorf("error %v, want ErrStopped", err)
	}
	if len(rep.Damage) != 0 || rep.Error == "" {
		t.Errorf("report %+v", rep)
	}
}

// pulling is a root whose folder vanishes after some files were opened.
type pulling struct {
	store.Root
	after int
	dir   string
}

func (p *pulling) OpenFresh(ctx context.Context, key string) (io.ReadCloser, store.Info, error) {
	if p.after--; p.after == 0 {
		if err := os.RemoveAll(p.dir); err != nil {
			return nil, store.Info{}, err
		}
	}
	return p.Root.OpenFresh(ctx, key)
}

// failing is a root that cannot read some keys, as a drive with bad sectors.
type failing struct {
	store.Root
	bad func(key string) bool
}

func (f *failing) OpenFresh(ctx context.Context, key string) (io.ReadCloser, store.Info, error) {
	r, info, err := f.Root.OpenFresh(ctx, key)
	if err == nil && f.bad(key) {
		r.Close()
		return io.NopCloser(iotest.ErrReader(syscall.EIO)), info, nil
	}
	return r, info, err
}

func TestRotStopsWithItsContext(t *testing.T) {
	r := ranch(t, 1)
	ctx, cancel := context.WithCancel(context.Background())
	o := r.Options()
	mem := &verifytest.Memory{}
	o.Memory = mem
	o.Workers = 1
	reads := 0
	o.Progress = func(done, total int64) {
		if reads++; reads == 8 {
			cancel()
		}
	}
	rep, err := rot.Check(ctx, r.Copies[0], o)
	if !errors.Is(err, context.Canceled) {
		t.Errorf("error %v", err)
	}
	if len(rep.Damage) != 0 {
		t.Errorf("a stopped check found %q", found(rep))
	}
	held, _ := mem.Held(r.Copies[0].Key(), "windmill--stake-3")
	if len(held) == 0 {
		t.Error("what was read before is forgotten")
	}
}

func TestRotUnreadable(t *testing.T) {
	r := ranch(t, 1)
	c := r.Copies[0]
	c.Root = &failing{c.Root, func(key string) bool { return strings.HasSuffix(key, "2019-06-21/plot.jpg") }}
	rep := checked(t, c, r.Options())
	if got := found(rep); !slices.Equal(got, []string{"unreadable Windmill/Stake 3/2019-06-21/plot.jpg v2"}) {
		t.Errorf("found %q", got)
	}
	if rep.ReadBack.Files != 8 || rep.Unread.Files != 0 {
		t.Errorf("counted %+v", rep)
	}
}

// A drive reads on where files are read in the order in which they were written.
func TestRotReadsInTheOrderOfWriting(t *testing.T) {
	r := ranch(t, 1)
	c := r.Copies[0]
	root := &noting{Root: c.Root}
	c.Root = root
	o := r.Options()
	o.Workers = 1
	checked(t, c, o)
	if len(root.read) < 9 || !slices.IsSorted(root.read) {
		t.Errorf("read %q", root.read)
	}
}

// noting is a root that notes which content is read, in order. One worker reads.
type noting struct {
	store.Root
	read []string
}

func (n *noting) OpenFresh(ctx context.Context, key string) (io.ReadCloser, store.Info, error) {
	if strings.Contains(key, "/content/") {
		n.read = append(n.read, key)
	}
	return n.Root.OpenFresh(ctx, key)
}
