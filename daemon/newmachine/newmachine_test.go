package newmachine_test

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"linecamp/daemon"
	"linecamp/daemon/config"
	"linecamp/daemon/newmachine"
	"linecamp/daemon/reach"
	"linecamp/daemon/setup"
	"linecamp/manifest"
	"linecamp/manifest/store/s3test"
)

const bucket = "monitoring"

// ranch is an archive whose computer is about to be lost.
type ranch struct {
	t             testing.TB
	folder, drive string
	srv           *s3test.Server
	cfg           config.Archive
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// newRanch is kept on a drive, in a bucket of srv, or on both.
func newRanch(t testing.TB, onDrive bool, srv *s3test.Server) *ranch {
	r := &ranch{t: t, folder: filepath.Join(t.TempDir(), "monitoring"), srv: srv}
	t.Setenv("XDG_STATE_HOME", filepath.Join(t.TempDir(), "state"))
	must(t, os.MkdirAll(r.folder, 0o777))
	o := setup.Options{Archive: "saltbush-draw", Folder: r.folder, Config: filepath.Join(t.TempDir(), "saltbush-draw.toml")}
	if onDrive {
		r.drive = filepath.Join(t.TempDir(), "shelf")
		must(t, os.Mkdir(r.drive, 0o777))
		o.Drives = []setup.NamedDir{{Name: "shelf", Dir: r.drive}}
	}
	if srv != nil {
		t.Setenv("AWS_ACCESS_KEY_ID", srv.Access)
		t.Setenv("AWS_SECRET_ACCESS_KEY", srv.Secret)
		_, err := srv.Bucket(context.Background(), bucket)
		must(t, err)
		o.S3s = []setup.NamedURL{{Name: "bucket", URL: srv.URL + "/" + bucket + "/draw"}}
		o.Region = srv.Region
	}
	rep, err := setup.Run(t.Context(), o)
	must(t, err)
	all, faults := config.Load(rep.Config)
	must(t, errors.Join(faults...))
	r.cfg = all[0]
	return r
}

// photos writes n files of size bytes, visit by visit, three to a visit of a site.
func (r *ranch) photos(sites, n, size int) {
	r.t.Helper()
	noise := rand.NewChaCha8([32]byte{1})
	b := make([]byte, size)
	for i := range n {
		name := filepath.Join(r.folder, fmt.Sprintf("Windmill/Stake %d/%d-06-21/%s.jpg", i%sites, 2000+i/sites/3%25, []string{"plot", "landscape", "north"}[i/sites%3]))
		if i/sites >= 75 {
			name = strings.TrimSuffix(name, ".jpg") + fmt.Sprint(i/sites/75) + ".jpg"
		}
		must(r.t, os.MkdirAll(filepath.Dir(name), 0o777))
		noise.Read(b)
		must(r.t, os.WriteFile(name, b, 0o666))
		at := time.Date(2020, 1, 1, 0, 0, i%100000, 0, time.UTC)
		must(r.t, os.Chtimes(name, at, at))
	}
}

func mirror(t testing.TB, cfg config.Archive) daemon.MirrorReport {
	t.Helper()
	a, err := daemon.Open(cfg, daemon.Options{})
	must(t, err)
	defer a.Close()
	rep, err := a.Mirror(context.Background(), daemon.MirrorOptions{}, nil)
	must(t, err)
	return rep
}

// machine is a new one: where its things are to be.
type machine struct {
	t     testing.TB
	o     newmachine.Options
	state string
}

func newMachine(t testing.TB, from reach.RootAccess) *machine {
	dir := t.TempDir()
	m := &machine{t: t, state: filepath.Join(dir, "state")}
	m.o = newmachine.Options{From: from, Into: filepath.Join(dir, "back"), Config: filepath.Join(dir, "saltbush-draw.toml")}
	return m
}

func (m *machine) run(ctx context.Context) (newmachine.Report, error) {
	m.t.Helper()
	must(m.t, os.Setenv("XDG_STATE_HOME", m.state)) // newRanch has it put back
	f, err := newmachine.Look(ctx, m.o)
	if err != nil {
		return newmachine.Report{}, err
	}
	defer f.Close()
	s, err := f.Settle(ctx, nil)
	if err != nil {
		return newmachine.Report{}, err
	}
	return s.Run(ctx, nil)
}

// digests are the files below a folder.
func digests(t testing.TB, folder string) map[string]manifest.Digest {
	t.Helper()
	all := map[string]manifest.Digest{}
	must(t, filepath.WalkDir(folder, func(name string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		b, err := os.ReadFile(name)
		rel, _ := filepath.Rel(folder, name)
		all[rel] = manifest.Sum(b)
		return err
	}))
	return all
}

// whole asserts that the machine has all and records, and that nothing is sent.
func (m *machine) whole(r *ranch, what string) {
	m.t.Helper()
	got, want := digests(m.t, m.o.Into), digests(m.t, r.folder)
	for name, d := range want {
		if got[name] != d {
			m.t.Errorf("%s: %s is %v, want %v", what, name, got[name], d)
		}
	}
	if len(got) != len(want) {
		m.t.Errorf("%s: %d files, want %d", what, len(got), len(want))
	}
	all, faults := config.Load(m.o.Config)
	must(m.t, errors.Join(faults...))
	rep := mirror(m.t, all[0])
	if rep.Made != 0 || len(rep.Waiting) != 0 || rep.Copies[0].State != "current" || rep.Copies[0].Files != 0 {
		m.t.Errorf("%s: the next round: %+v", what, rep.Report)
	}
}

// front stands before a server, counts requests, and does something at one of them.
type front struct {
	n    atomic.Int32
	at   int32
	what func(w http.ResponseWriter, pass func(http.ResponseWriter))
}

func (f *front) before(t testing.TB, srv *s3test.Server) string {
	target, err := url.Parse(srv.URL)
	must(t, err)
	proxy := httputil.NewSingleHostReverseProxy(target)
	proxy.ErrorHandler = func(w http.ResponseWriter, _ *http.Request, _ error) { w.WriteHeader(http.StatusBadGateway) }
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, req *http.Request) {
		if f.n.Add(1) == f.at && f.what != nil {
			f.what(w, func(w http.ResponseWriter) { proxy.ServeHTTP(w, req) })
			return
		}
		proxy.ServeHTTP(w, req)
	}))
	t.Cleanup(s.Close)
	return s.URL
}

// At every request to the bucket the machine dies, or the answer is lost. Run again, it
// has everything, records, and sends nothing.
func TestEveryRequestBreaksOnTheWayBack(t *testing.T) {
	srv := s3test.Fake(t)
	r := newRanch(t, false, srv)
	r.photos(1, 4, 2000)
	if rep := mirror(t, r.cfg); rep.Copies[0].State != "current" {
		t.Fatalf("%+v", rep)
	}
	f := &front{at: -1}
	from := reach.RootAccess{Root: f.before(t, srv) + "/" + bucket + "/draw", Region: srv.Region}
	m := newMachine(t, from)
	_, err := m.run(t.Context())
	must(t, err)
	total := f.n.Load()
	m.whole(r, "unbroken")
	step := int32(1)
	if testing.Short() {
		step = 9
	}
	died := 0
	for at := int32(1); at <= total; at += step {
		m := newMachine(t, from)
		ctx, cancel := context.WithCancel(t.Context())
		f.n.Store(0)
		f.at = at
		what := fmt.Sprintf("request %d of %d, the answer lost", at, total)
		f.what = func(w http.ResponseWriter, pass func(http.ResponseWriter)) {
			pass(lostAnswer{http.Header{}})
			panic(http.ErrAbortHandler)
		}
		if at%2 == 0 {
			what = fmt.Sprintf("request %d of %d, and the machine died", at, total)
			f.what = func(w http.ResponseWriter, pass func(http.ResponseWriter)) {
				cancel()
				pass(lostAnswer{http.Header{}})
				panic(http.ErrAbortHandler)
			}
		}
		_, err := m.run(ctx)
		cancel()
		if err != nil {
			died++
			f.at = -1
			if _, err := m.run(t.Context()); err != nil {
				t.Fatalf("%s: run again: %v", what, err)
			}
		}
		f.at = -1
		m.whole(r, what)
	}
	if !testing.Short() && died < int(total)/3 {
		t.Errorf("only %d of %d died", died, total)
	}
	t.Logf("%d requests, %d died", total, died)
}

// lostAnswer takes an answer that nobody gets.
type lostAnswer struct{ header http.Header }

func (l lostAnswer) Header() http.Header         { return l.header }
func (l lostAnswer) WriteHeader(int)             {}
func (l lostAnswer) Write(b []byte) (int, error) { return len(b), nil }

// Files go in the order of their use: the site that is wanted, the newest visits, the rest.
func TestNewestVisitsComeFirst(t *testing.T) {
	r := newRanch(t, true, nil)
	r.photos(3, 27, 500)
	mirror(t, r.cfg)
	m := newMachine(t, reach.RootAccess{Root: r.drive})
	m.o.First = "Stake 1"
	// The folder of an old visit cannot be made: all that comes before it is there.
	must(t, os.Setenv("XDG_STATE_HOME", m.state))
	f, err := newmachine.Look(t.Context(), m.o)
	must(t, err)
	defer f.Close()
	s, err := f.Settle(t.Context(), nil)
	must(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	_, err = s.Run(ctx, func(_ string, done, total int64) {
		if done > 9*500 { // something beyond the first site
			cancel()
		}
	})
	if err == nil {
		t.Fatal("it came to its end though it was stopped")
	}
	first := filepath.Join(m.o.Into, "Windmill", "Stake 1")
	if n := len(digests(t, first)); n != 9 {
		t.Errorf("%d files of the first site are there, want 9", n)
	}
	if _, err := m.run(t.Context()); err != nil {
		t.Fatal(err)
	}
	m.whole(r, "run again")
}

// A disk that is too small is said before anything is written.
func TestDiskTooSmall(t *testing.T) {
	r := newRanch(t, true, nil)
	r.photos(1, 3, 500)
	mirror(t, r.cfg)
	m := newMachine(t, reach.RootAccess{Root: r.drive})
	must(t, os.Setenv("XDG_STATE_HOME", m.state))
	f, err := newmachine.Look(t.Context(), m.o)
	must(t, err)
	defer f.Close()
	f.Bytes = 1 << 60
	if _, err := f.Settle(t.Context(), nil); !errors.Is(err, newmachine.ErrSpace) {
		t.Fatal(err)
	}
	if _, err := os.Stat(m.o.Into); !errors.Is(err, fs.ErrNotExist) {
		t.Error(err)
	}
}
