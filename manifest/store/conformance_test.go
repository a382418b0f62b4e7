package store_test

import (
	"context"
	"errors"
	"fmt"
	"path"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/minio/minio-go/v7"

	"linecamp/manifest/store"
	"linecamp/manifest/store/drive"
	"linecamp/manifest/store/s3"
	"linecamp/manifest/store/s3test"
)

var (
	removeOptions = minio.RemoveObjectOptions{}
	putOptions    = minio.PutObjectOptions{}
	getOptions    = minio.GetObjectOptions{}
)

// The same suite runs over every kind of root: what one of them does
// differently is a fault, or is said in the interface.
func TestDrive(t *testing.T) { conformance(t, drivePlace) }

func TestFakeS3(t *testing.T) {
	srv := s3test.Fake(t)
	conformance(t, func(t testing.TB) *place { return s3Place(t, srv, nil) })
}

func TestRealS3(t *testing.T) {
	srv := s3test.Real(t)
	conformance(t, func(t testing.TB) *place { return s3Place(t, srv, nil) })
}

// A service without conditional writes, where a person vouched for one writer.
// The one thing that cannot hold there is left out: races between writers.
func TestFakeS3WithoutFence(t *testing.T) {
	srv := s3test.Fake(t)
	for name, test := range suite {
		if name == "Races" {
			continue
		}
		t.Run(name, func(t *testing.T) {
			test(t, s3Place(t, srv, func(o *s3.Options) {
				o.Fence = false
				o.Transport = changeRequest(func(r request) {
					r.Header.Del("If-None-Match")
					r.Header.Del("If-Match")
				})
			}))
		})
	}
}

var suite = map[string]func(*testing.T, *place){
	"Init":         testInit,
	"InitTornOff":  testInitTornOff,
	"Keys":         testKeys,
	"Create":       testCreate,
	"Replace":      testReplace,
	"Versions":     testVersions,
	"WrongBytes":   testWrongBytes,
	"Resume":       testResume,
	"RootPair":     testRootPair,
	"Uncommitted":  testUncommitted,
	"NobodyHas":    testNobodyHas,
	"Seal":         testSeal,
	"SealDivided":  testSealDivided,
	"SealTornTail": testSealTornTail,
	"LateLogs":     testLateLogs,
	"LateHurt":     testLateHurt,
	"ReplaceSeal":  testReplaceSeal,
	"ReplaceNone":  testReplaceNothing,
	"ReplaceHurt":  testReplaceHurt,
	"Author":       testAuthorFile,
	"Mend":         testMend,
	"Races":        testRaces,
	"ManyAtOnce":   testManyAtOnce,
	"Cancelled":    testCancelled,
	"Lock":         testLock,
}

func conformance(t *testing.T, newPlace func(testing.TB) *place) {
	for name, test := range suite {
		t.Run(name, func(t *testing.T) { test(t, newPlace(t)) })
	}
}

func testInit(t *testing.T, p *place) {
	ctx, r := t.Context(), p.open()
	_, err := r.Identity(ctx)
	wantErr(t, err, store.ErrNoRoot)
	must(t, r.Init(ctx, testID))
	got, err := p.open().Identity(ctx)
	must(t, err)
	if got != testID {
		t.Errorf("identity %+v, want %+v", got, testID)
	}
	// OCFL 1.1 section 4.1: the file's content is its name after "0=", and a newline.
	if b, _ := p.read("0=ocfl_1.1"); string(b) != "ocfl_1.1\n" {
		t.Errorf("0=ocfl_1.1 holds %q", b)
	}
	readme, _ := p.read("README.txt")
	for _, want := range []string{testID.CopyID, testID.ArchiveID, "sha256sum -c"} {
		if !strings.Contains(string(readme), want) {
			t.Errorf("README.txt does not say %q", want)
		}
	}
	if all := keys(t, r, ""); len(all) != 6 {
		t.Errorf("a new root holds %q", all)
	}
	other := testID
	other.CopyID = otherCopy
	wantErr(t, r.Init(ctx, other), store.ErrNotEmpty)
	objects, err := store.Objects(ctx, r)
	if err != nil || len(objects) != 0 {
		t.Errorf("a new root has the objects %q, %v", objects, err)
	}
}

func testInitTornOff(t *testing.T, p *place) {
	ctx, r := t.Context(), p.made(t)
	p.write(store.IdentityKey, []byte("{"))
	_, err := r.Identity(ctx)
	wantErr(t, err, store.ErrNoRoot)
	if err := r.Init(ctx, testID); err == nil {
		t.Fatal("Init wrote over a damaged identity")
	}
	p.remove(store.IdentityKey)
	p.remove(store.FormatKey)
	other := testID
	other.CopyID = otherCopy
	must(t, r.Init(ctx, other))
	if readme, _ := p.read("README.txt"); !strings.Contains(string(readme), otherCopy) {
		t.Error("README.txt still names the copy of the setup that was torn off")
	}
	p.remove(store.IdentityKey)
	p.write("holiday.jpg", []byte("not ours"))
	wantErr(t, r.Init(ctx, testID), store.ErrNotEmpty)
}

func testKeys(t *testing.T, p *place) {
	ctx, r := t.Context(), p.made(t)
	for _, bad := range []string{"", ".", "..", "/", "/etc/passwd", "../x", "a/../b", "a//b", "a/", "a\x00b"} {
		_, err := r.Create(ctx, bad, store.Bytes(nil))
		wantErr(t, err, store.ErrBadKey)
		_, _, err = r.Open(ctx, bad)
		wantErr(t, err, store.ErrBadKey)
		_, err = r.Stat(ctx, bad)
		wantErr(t, err, store.ErrBadKey)
	}
	for _, bad := range []string{"", "extensions", "..", "A", "a/b", "lost+found"} {
		_, err := r.Begin(ctx, bad, 1)
		wantErr(t, err, store.ErrBadKey)
	}
	// Every character a content path may have, and an order in which a folder
	// and a file that begins like it stand as their whole keys do.
	want := []string{
		"box/a&b,c'd.jpg", "box/a(1)+1.jpg", "box/a+b.jpg", "box/a-b.jpg", "box/a.jpg", "box/a/z.jpg", "box/a0.jpg",
		"box/a=b%20c.txt", "box/" + strings.Repeat("n", 100) + "/x", "box/two words.jpg", "box/§ Stake é.jpg",
	}
	slices.Sort(want)
	for _, k := range want {
		_, err := r.Create(ctx, k, store.Bytes([]byte(k)))
		must(t, err)
	}
	if got := keys(t, r, "box"); !slices.Equal(got, want) {
		t.Errorf("listed\n%q\nwant\n%q", got, want)
	}
	for _, k := range want {
		if got := readAll(t, r, k); string(got) != k {
			t.Errorf("%s holds %q", k, got)
		}
	}
	folders, err := r.Folders(ctx, "box")
	must(t, err)
	if want := []string{"a", strings.Repeat("n", 100)}; !slices.Equal(folders, want) {
		t.Errorf("folders %q, want %q", folders, want)
	}
	if got := keys(t, r, "bo"); len(got) != 0 {
		t.Errorf("a prefix that is only part of a folder's name lists %q", got)
	}
	if folders, err := r.Folders(ctx, "no/such"); err != nil || len(folders) != 0 {
		t.Errorf("folders of nothing: %q, %v", folders, err)
	}
	_, _, err = r.Open(ctx, "box/a")
	wantErr(t, err, errAbsent)
	_, err = r.Stat(ctx, "box/none")
	wantErr(t, err, errAbsent)
}

func testCreate(t *testing.T, p *place) {
	ctx, r := t.Context(), p.made(t)
	info, err := r.Create(ctx, "a/one", store.Bytes([]byte("first")))
	must(t, err)
	if info.Size != 5 {
		t.Errorf("size %d", info.Size)
	}
	_, err = r.Create(ctx, "a/one", store.Bytes([]byte("first")))
	must(t, err)
	_, err = r.Create(ctx, "a/one", store.Bytes([]byte("other")))
	wantErr(t, err, store.ErrConflict)
	if b, _ := p.read("a/one"); string(b) != "first" {
		t.Errorf("it holds %q now", b)
	}
	_, err = r.Create(ctx, "a/empty", store.Bytes(nil))
	must(t, err)
	if b, ok := p.read("a/empty"); !ok || len(b) != 0 {
		t.Errorf("an empty file: %q, %v", b, ok)
	}
}

func testReplace(t *testing.T, p *place) {
	ctx, r := t.Context(), p.made(t)
	must2 := func(_ store.Info, err error) { t.Helper(); must(t, err) }
	must2(r.Replace(ctx, "pair", store.Bytes([]byte("one")), nil))
	_, err := r.Replace(ctx, "pair", store.Bytes([]byte("two")), nil)
	wantErr(t, err, store.ErrConflict)
	_, was, err := store.ReadSmall(ctx, r, "pair", 100)
	must(t, err)
	must2(r.Replace(ctx, "pair", store.Bytes([]byte("two")), &was))
	_, err = r.Replace(ctx, "pair", store.Bytes([]byte("three")), &was)
	wantErr(t, err, store.ErrConflict)
	must2(r.Replace(ctx, "pair", store.Bytes([]byte("two")), &was)) // its own success, told twice
	if b, _ := p.read("pair"); string(b) != "two" {
		t.Errorf("it holds %q now", b)
	}
	_, was, err = store.ReadSmall(ctx, r, "pair", 100)
	must(t, err)
	p.write("pair", []byte("tw0"))
	_, err = r.Replace(ctx, "pair", store.Bytes([]byte("three")), &was)
	wantErr(t, err, store.ErrConflict)
	p.remove("pair")
	_, err = r.Replace(ctx, "pair", store.Bytes([]byte("three")), &was)
	wantErr(t, err, store.ErrConflict)
}

func testMend(t *testing.T, p *place) {
	ctx, r, s := t.Context(), p.made(t), newSite()
	s.store(t, r, s.next(t, nil, map[string]string{"2018/plot.jpg": "plot 18", "2018/sky.jpg": "sky 18"}))
	aside := t.TempDir()
	const plot = object + "/v1/content/2018/plot.jpg"
	must(t, r.Mend(ctx, plot, store.Bytes([]byte("plot 18")), aside))
	if got := setAside(t, r, aside); len(got) != 0 {
		t.Errorf("good bytes were set aside: %q", got)
	}
	p.write(plot, []byte("pl0t 18"))
	must(t, r.Mend(ctx, plot, store.Bytes([]byte("plot 18")), aside))
	s.intact(t, r)
	if got := setAside(t, r, aside); !slices.Equal(got, []string{"pl0t 18"}) {
		t.Errorf("set aside: %q", got)
	}
	p.remove(plot)
	must(t, r.Mend(ctx, plot, store.Bytes([]byte("plot 18")), aside))
	s.intact(t, r)
	// Bytes that are not good are no mend.
	p.write(plot, []byte("pl0t 18"))
	c := store.Bytes([]byte("plot 18"))
	c.Open = store.Bytes([]byte("plot 17")).Open
	wantErr(t, r.Mend(ctx, plot, c, aside), store.ErrDigest)
	if b, _ := p.read(plot); string(b) != "pl0t 18" {
		t.Errorf("a failed mend left %q", b)
	}
}

func testRaces(t *testing.T, p *place) {
	ctx, r := t.Context(), p.made(t)
	for round := range 5 {
		key := fmt.Sprintf("race/%d", round)
		var won atomic.Int64
		var wg sync.WaitGroup
		for i := range 6 {
			wg.Go(func() {
				_, err := r.Create(ctx, key, store.Bytes(fmt.Append(nil, "writer ", i)))
				if err == nil {
					won.Add(1)
				} else if !errors.Is(err, store.ErrConflict) {
					t.Error(err)
				}
			})
		}
		wg.Wait()
		if won.Load() != 1 {
			t.Errorf("%d of 6 different writes succeeded", won.Load())
		}
	}
}

func testManyAtOnce(t *testing.T, p *place) {
	ctx, r, s := t.Context(), p.made(t), newSite()
	files := map[string]string{}
	for i := range 120 {
		files[fmt.Sprintf("20%02d/view %d.jpg", i%9, i)] = strings.Repeat(fmt.Sprint(i), 100*i)
	}
	draft := s.next(t, nil, files)
	unlock, err := r.Lock(ctx)
	must(t, err)
	defer unlock()
	b, err := r.Begin(ctx, object, 1)
	must(t, err)
	work := make(chan string)
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			for k := range work {
				if _, err := b.Put(ctx, k, store.Bytes(s.content[draft.New[k]])); err != nil {
					t.Error(err)
				}
			}
		})
	}
	for k := range draft.New {
		work <- k
	}
	close(work)
	wg.Wait()
	must(t, b.Commit(ctx, draft.Encoded))
	s.inv = draft.Inventory
	s.intact(t, r)
}

func testCancelled(t *testing.T, p *place) {
	r, s := p.made(t), newSite()
	draft := s.next(t, nil, map[string]string{"2018/plot.jpg": "plot 18"})
	ctx, cancel := context.WithCancel(t.Context())
	b, err := r.Begin(ctx, object, 1)
	must(t, err)
	cancel()
	_, err = b.Put(ctx, "v1/content/2018/plot.jpg", store.Bytes([]byte("plot 18")))
	wantErr(t, err, context.Canceled)
	wantErr(t, b.Commit(ctx, draft.Encoded), context.Canceled)
	for _, err := range r.List(ctx, "") {
		wantErr(t, err, context.Canceled)
	}
	_, err = r.Stat(ctx, "README.txt")
	wantErr(t, err, context.Canceled)
	_, err = r.Lock(ctx)
	wantErr(t, err, context.Canceled)
	s.store(t, r, draft)
	s.intact(t, r)
}

func testLock(t *testing.T, p *place) {
	ctx, r := t.Context(), p.made(t)
	unlock, err := r.Lock(ctx)
	must(t, err)
	_, err = p.open().Lock(ctx)
	wantErr(t, err, store.ErrBusy)
	unlock()
	unlock, err = p.open().Lock(ctx)
	must(t, err)
	unlock()
}

// setAside returns what Mend kept of bad bytes.
func setAside(t *testing.T, r store.Root, aside string) []string {
	t.Helper()
	var out []string
	if r.Can().Local {
		for _, k := range keys(t, r, "extensions/linecamp-quarantine") {
			out = append(out, string(readAll(t, r, k)))
		}
		return out
	}
	d, err := drive.New(aside)
	must(t, err)
	defer d.Close()
	for _, k := range keys(t, d, "") {
		if path.Ext(k) != ".jpg" {
			t.Errorf("set aside as %s", k)
		}
		out = append(out, string(readAll(t, d, k)))
	}
	return out
}
