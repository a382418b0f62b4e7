package store_test

import (
	"context"
	"errors"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/manifest/store/drive"
	"linecamp/manifest/store/s3"
	"linecamp/manifest/store/s3test"
)

// A new drive has a folder that its file system made and only root may list.
func TestInitBesideWhatTheSystemMade(t *testing.T) {
	if os.Getuid() == 0 || runtime.GOOS == "windows" {
		t.Skip("root may read every folder")
	}
	dir := t.TempDir()
	must(t, os.Mkdir(filepath.Join(dir, "lost+found"), 0))
	d, err := drive.New(dir)
	must(t, err)
	defer d.Close()
	must(t, d.Init(t.Context(), testID))
	for _, err := range d.List(t.Context(), "") {
		must(t, err)
	}
	// Any other folder may hold anything.
	other := t.TempDir()
	must(t, os.Mkdir(filepath.Join(other, "private"), 0))
	d, err = drive.New(other)
	must(t, err)
	defer d.Close()
	wantErr(t, d.Init(t.Context(), testID), fs.ErrPermission)
}

// One site that cannot be read keeps nobody from the drive, mend least of all.
func TestLockPassesAnUnreadableSite(t *testing.T) {
	r, dir := driveIn(t)
	s := newSite()
	s.store(t, r, s.next(t, nil, map[string]string{"plot.jpg": "plot"}))
	bad := []byte("{}\n")
	for _, at := range []string{"", "v1"} {
		folder := filepath.Join(dir, object, at)
		must(t, os.WriteFile(filepath.Join(folder, "inventory.json"), bad, 0o666))
		must(t, os.WriteFile(filepath.Join(folder, "inventory.json.sha256"), manifest.Sidecar(bad), 0o666))
	}
	staged := filepath.Join(dir, "extensions/linecamp-staging", object, "v2/content/sky.jpg")
	must(t, os.MkdirAll(filepath.Dir(staged), 0o777))
	must(t, os.WriteFile(staged, []byte("sky"), 0o666))
	unlock, err := r.Lock(t.Context())
	must(t, err)
	unlock()
	if _, err := os.Stat(staged); err != nil {
		t.Errorf("what was staged is gone: %v", err)
	}
}

// blind is a file system that does not tell capitals from small letters.
type blind struct{ drive.Disk }

func (b blind) Create(name string) (drive.File, error) { return b.Disk.Create(folded(name)) }
func (b blind) Remove(name string) error               { return b.Disk.Remove(folded(name)) }

func folded(name string) string {
	dir, file := filepath.Split(name)
	return dir + strings.ToLower(file)
}

// Two names that are one on a drive: neither takes the other's bytes away.
func TestPutTwoNamesThatAreOne(t *testing.T) {
	r, _ := driveIn(t)
	ctx := t.Context()
	unlock, err := r.Lock(ctx)
	must(t, err)
	defer unlock()
	r.WrapDisk(func(d drive.Disk) drive.Disk { return blind{d} })
	b, err := r.Begin(ctx, object, 1)
	must(t, err)
	defer b.Close()
	_, err = b.Put(ctx, "v1/content/plot.jpg", store.Bytes([]byte("small letters")))
	must(t, err)
	_, err = b.Put(ctx, "v1/content/Plot.jpg", store.Bytes([]byte("a capital")))
	wantErr(t, err, store.ErrConflict)
	staged := "extensions/linecamp-staging/" + object + "/v1/content/plot.jpg"
	if got := string(readAll(t, r, staged)); got != "small letters" {
		t.Errorf("staged: %q", got)
	}
}

// The folder of another site, or of a copied one, is no version of this one.
func TestHeadOfAnotherObject(t *testing.T) {
	r, dir := driveIn(t)
	s := newSite()
	s.store(t, r, s.next(t, nil, map[string]string{"plot.jpg": "plot"}))
	must(t, os.CopyFS(filepath.Join(dir, "tank"), os.DirFS(filepath.Join(dir, object))))
	if inv, err := store.Head(t.Context(), r, "tank"); !errors.Is(err, store.ErrNoObject) {
		t.Errorf("tank is %v, %v", inv, err)
	}
}

// A root inventory that rotted beside its good sidecar shows no version.
func TestHeadSettledByBothOfAPair(t *testing.T) {
	r, dir := driveIn(t)
	s := newSite()
	s.store(t, r, s.next(t, nil, map[string]string{"plot.jpg": "plot"}))
	check := func(want bool) {
		t.Helper()
		inv, settled, err := store.HeadSettled(t.Context(), r, object)
		must(t, err)
		if inv.Head() != 1 || settled != want {
			t.Errorf("version %d, settled %v", inv.Head(), settled)
		}
	}
	check(true)
	name := filepath.Join(dir, object, "inventory.json")
	b, err := os.ReadFile(name)
	must(t, err)
	b[len(b)/2] ^= 1
	must(t, os.WriteFile(name, b, 0o666))
	check(false)
	_, err = store.Settle(t.Context(), r, object)
	must(t, err)
	check(true)
	s.intact(t, r)
}

// The seal is written in its place; a link there leads nowhere else.
func TestSealThroughALink(t *testing.T) {
	r, dir := driveIn(t)
	s := newSite()
	s.store(t, r, s.next(t, nil, map[string]string{"plot.jpg": "plot"}))
	at := filepath.Join(dir, filepath.FromSlash(seal.File(0)))
	must(t, os.MkdirAll(filepath.Dir(at), 0o777))
	symlink(t, "../../../"+object+"/v1/content/plot.jpg", at)
	log := &seal.Seal{}
	must(t, log.Append(seal.Line{At: testTime, What: seal.GaveUp, Copy: otherCopy}))
	if err := store.WriteSeal(t.Context(), r, log); err == nil {
		t.Error("it was written through a link")
	}
	s.intact(t, r)
}

// What stands in for a lock on Windows is not taken for a site called "lock", nor
// cleared away under the one who holds it.
func TestLockFileStays(t *testing.T) {
	r, dir := driveIn(t)
	file := filepath.Join(dir, "extensions/linecamp-staging/in-use.lock")
	must(t, os.MkdirAll(filepath.Dir(file), 0o777))
	must(t, os.WriteFile(file, nil, 0o666))
	synced := 0
	r.WrapDisk(func(d drive.Disk) drive.Disk { return counting{d, &synced} })
	unlock, err := r.Lock(t.Context())
	must(t, err)
	defer unlock()
	must(t, r.ForgetBegun())
	if _, err := os.Stat(file); err != nil {
		t.Error(err)
	}
	if synced > 0 {
		t.Errorf("the whole drive was synced for a lock alone, in %d steps", synced)
	}
}

type counting struct {
	drive.Disk
	n *int
}

func (c counting) SyncFolder(name string) error { *c.n++; return c.Disk.SyncFolder(name) }
func (c counting) SyncAll() error               { *c.n++; return c.Disk.SyncAll() }

// Keys that no inventory can name do not keep a site from a bucket.
func TestBeginBesideHostileKeys(t *testing.T) {
	srv := s3test.Fake(t)
	p := s3Place(t, srv, nil)
	r := p.made(t)
	for _, key := range []string{"a//b.jpg", "./c.jpg", "x/../d.jpg"} {
		p.write(object+"/v1/content/"+key, []byte(key))
	}
	p.write(object+"/v1/content/good.jpg", []byte("good"))
	b, err := r.Begin(context.Background(), object, 1)
	must(t, err)
	if found := b.Found(); len(found) != 1 || found["v1/content/good.jpg"].SHA256 != manifest.Sum([]byte("good")) {
		t.Errorf("found %v", found)
	}
}

// A service that obeys conditions on a PUT and not on the completion of parts:
// what came under the key meanwhile stays.
func TestPartsOverWhatCameMeanwhile(t *testing.T) {
	srv := s3test.Fake(t)
	const key = object + "/v1/content/film.mp4"
	var p *place
	p = s3Place(t, srv, func(o *s3.Options) {
		o.Transport = roundTripper(func(r *http.Request) (*http.Response, error) {
			if r.Method == http.MethodPost && r.URL.Query().Has("uploadId") {
				r = r.Clone(r.Context())
				r.Header.Del("If-None-Match")
			}
			if r.URL.Query().Get("partNumber") == "1" {
				p.write(key, []byte("another machine's"))
			}
			return http.DefaultTransport.RoundTrip(r)
		})
	})
	r := p.made(t)
	_, err := r.Create(t.Context(), key, store.Bytes(make([]byte, 65<<20)))
	wantErr(t, err, store.ErrConflict)
	if got, _ := p.read(key); string(got) != "another machine's" {
		t.Errorf("%d bytes are there", len(got))
	}
}

// A crash tore a version that the root pair shows already, as on a drive that
// does not write in the order it was told to: the version before it is the
// newest then, and the torn one is made again.
func TestTornBehindTheRootPair(t *testing.T) {
	for name, pair := range map[string][]string{"whole": nil, "half": {"inventory.json"}} {
		t.Run(name, func(t *testing.T) {
			r, dir := driveIn(t)
			s := newSite()
			s.store(t, r, s.next(t, nil, map[string]string{"2018/plot.jpg": "plot 18"}))
			files := map[string]string{"2018/plot.jpg": "plot 18", "2019/plot.jpg": "plot 19"}
			before, old := s.inv, map[string][]byte{}
			for _, p := range pair {
				b, err := os.ReadFile(filepath.Join(dir, object, p))
				must(t, err)
				old[p] = b
			}
			second := s.next(t, nil, files)
			s.store(t, r, second)
			for p, b := range old {
				must(t, os.WriteFile(filepath.Join(dir, object, p), b, 0o666))
			}
			must(t, os.WriteFile(filepath.Join(dir, object, "v2/content/2019/plot.jpg"), []byte("pl"), 0o666))
			marker := filepath.Join(dir, "extensions/linecamp-staging", object+".v2.pending")
			must(t, os.MkdirAll(filepath.Dir(marker), 0o777))
			must(t, os.WriteFile(marker, []byte(manifest.Sum([]byte("plot 19")).String()+"  v2/content/2019/plot.jpg\n"), 0o666))

			unlock, err := r.Lock(t.Context())
			must(t, err)
			unlock()
			s.inv = before
			s.intact(t, r)
			s.store(t, r, second)
			s.intact(t, r)
			if kept := keys(t, r, "extensions/linecamp-quarantine"); len(kept) == 0 {
				t.Error("nothing of the torn version was set aside")
			}
		})
	}
}
