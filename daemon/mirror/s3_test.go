package mirror

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"strings"
	"sync/atomic"
	"testing"

	"linecamp/daemon/mirror/report"
	"linecamp/daemon/reach"
	"linecamp/manifest/store"
	"linecamp/manifest/store/s3"
	"linecamp/manifest/store/s3test"
)

// servers runs a test over the in-process server and over the real one.
func servers(t *testing.T, test func(*testing.T, *s3test.Server)) {
	t.Run("fake", func(t *testing.T) { test(t, s3test.Fake(t)) })
	t.Run("real", func(t *testing.T) { test(t, s3test.Real(t)) })
}

func (r *ranch) addBucket(srv *s3test.Server, name string, through ...http.RoundTripper) *copyOf {
	ctx := context.Background()
	url, err := srv.Bucket(ctx, name)
	must(r.t, err)
	o := s3.Options{URL: url + "/" + archiveName, Region: srv.Region, Access: srv.Access, Secret: srv.Secret, Fence: true}
	for _, t := range through {
		o.Transport = t
	}
	root, err := s3.Open(ctx, o)
	must(r.t, err)
	return r.addRoot(name, "s3", url, root)
}

func TestDriveAndBucketHoldTheSame(t *testing.T) {
	servers(t, func(t *testing.T, srv *s3test.Server) {
		r := newRanch(t, "shelf")
		r.addBucket(srv, "bucket")
		r.visit("North/Windmill", "2019-06-21")
		r.visit("South/Draw", "2020-06-21")
		r.wantCurrent(r.mirror())
		r.remove("North/Windmill/2019-06-21/plot.jpg")
		r.visit("North/Windmill", "2021-06-21")
		r.wantCurrent(r.mirror())
		r.loseState()
		rep := r.mirror()
		r.wantCurrent(rep)
		if rep.Made != 0 || rep.Copies[1].Files != 0 {
			t.Errorf("after losing the state: %+v", rep)
		}
	})
}

func TestBucketAloneIsTheFirstHolder(t *testing.T) {
	servers(t, func(t *testing.T, srv *s3test.Server) {
		r := newRanch(t)
		r.addBucket(srv, "bucket")
		r.visit("North/Windmill", "2019-06-21")
		r.wantCurrent(r.mirror())
		r.visit("North/Windmill", "2020-06-21")
		r.wantCurrent(r.mirror())
		r.addDrive("shelf")
		r.remove("North/Windmill/2019-06-21/notes.txt") // shelf must take it from the bucket
		r.wantCurrent(r.mirror())
		if n := head(t, r.copies[1].root, "north--windmill").Head(); n != 3 {
			t.Errorf("shelf is at version %d, want 3", n)
		}
	})
}

// An upload that was broken off leaves keys under a version that was never
// committed. Nothing may delete them, so the version that takes the number must
// name each: also when the file was renamed, changed or deleted meanwhile, when
// this machine's state is lost, or when the version is then made on a drive.
func TestWhatABrokenUploadLeftIsTakenIn(t *testing.T) {
	for _, c := range []struct {
		name      string
		loseState bool
		drive     bool
	}{{"state kept", false, false}, {"state lost", true, false}, {"made on a drive", false, true}, {"state lost, made on a drive", true, true}} {
		t.Run(c.name, func(t *testing.T) {
			servers(t, func(t *testing.T, srv *s3test.Server) {
				r := newRanch(t)
				bucket := r.addBucket(srv, "bucket")
				r.visit("North/Windmill", "2019-06-21")
				r.wantCurrent(r.mirror())

				r.visit("North/Windmill", "2020-06-21")
				r.visit("North/Windmill", "2021-06-21")
				whole := bucket.root
				bucket.root = &failing{Root: whole, after: 4}
				if rep := r.mirror(); rep.Copies[0].State == reach.Current {
					t.Fatalf("the upload was not broken off: %+v", rep)
				}
				bucket.root = whole
				left := 0
				for info, err := range whole.List(context.Background(), "north--windmill/v2") {
					must(t, err)
					left++
					_ = info
				}
				if left == 0 {
					t.Fatal("the broken upload left nothing, so nothing is tested")
				}

				r.rename("North/Windmill/2020-06-21/plot.jpg", "North/Windmill/2020-06-21/plot picture.jpg")
				r.remove("North/Windmill/2021-06-21/landscape.jpg")
				r.writeAt("North/Windmill/2021-06-21/notes.txt", "rewritten", r.now)
				if c.drive {
					r.addDrive("shelf")
				}
				if c.loseState {
					r.loseState()
				}
				r.mirror()
				rep := r.mirror()
				r.wantCurrent(rep)
				inv := head(t, whole, "north--windmill")
				named := map[string]bool{}
				for n := 1; n <= inv.Head(); n++ {
					for p := range inv.Paths(n) {
						named["north--windmill/"+p] = true
					}
				}
				for info, err := range whole.List(context.Background(), "north--windmill") {
					must(t, err)
					if strings.Contains(info.Key, "/content/") && !named[info.Key] {
						t.Errorf("no version names %s", info.Key)
					}
				}
			})
		})
	}
}

var errCut = errors.New("the link was cut")

// failing is a root whose builds fail after some files were stored.
type failing struct {
	store.Root
	after int32
	puts  atomic.Int32
}

func (f *failing) Begin(ctx context.Context, object string, version int) (store.Build, error) {
	b, err := f.Root.Begin(ctx, object, version)
	return &failingBuild{b, f}, err
}

type failingBuild struct {
	store.Build
	f *failing
}

func (b *failingBuild) Put(ctx context.Context, path string, c store.Content) (store.Info, error) {
	if b.f.puts.Add(1) > b.f.after {
		return store.Info{}, errCut
	}
	return b.Build.Put(ctx, path, c)
}

// counted stands before a server and counts the requests that reach it.
func counted(t *testing.T, srv *s3test.Server) (*s3test.Server, *atomic.Int32) {
	target, err := url.Parse(srv.URL)
	must(t, err)
	var n atomic.Int32
	proxy := httputil.NewSingleHostReverseProxy(target)
	front := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, req *http.Request) {
		n.Add(1)
		proxy.ServeHTTP(w, req)
	}))
	t.Cleanup(front.Close)
	behind := *srv
	behind.URL = front.URL
	return &behind, &n
}

func TestNothingNewAsksABucketLittle(t *testing.T) {
	for _, sites := range []int{2, 40, 70} {
		t.Run(fmt.Sprint(sites, " sites"), func(t *testing.T) {
			srv, requests := counted(t, s3test.Fake(t))
			r := newRanch(t, "shelf")
			r.addBucket(srv, "bucket")
			for i := range sites {
				r.visit(fmt.Sprintf("North/Stake %d", i), "2020-06-21")
			}
			r.wantOnlyCurrent(r.mirror()) // where lines came to the bucket by several, its seal has other files
			before := requests.Load()
			r.wantOnlyCurrent(r.mirror())
			// The identity, which the daemon asks for when it opens the copy, is one more.
			if n := requests.Load() - before; n > 5 {
				t.Errorf("a round with nothing new made %d requests", n)
			}
		})
	}
}

func (r *ranch) wantOnlyCurrent(rep report.Report) {
	r.t.Helper()
	for _, c := range rep.Copies {
		if c.State != reach.Current {
			r.t.Errorf("%s is %s: %s", c.Copy, c.State, c.Error)
		}
	}
}
