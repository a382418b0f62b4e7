package newmachine_test

import (
	"context"
	"errors"
	"io/fs"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"os"
	"slices"
	"strings"
	"sync/atomic"
	"testing"

	"linecamp/daemon"
	"linecamp/daemon/config"
	"linecamp/daemon/keys"
	"linecamp/daemon/newmachine"
	"linecamp/daemon/reach"
	"linecamp/manifest/store/s3test"
)

// deaf stands before a server and drops headers, like a service that does not know them.
func deaf(t *testing.T, srv *s3test.Server, headers ...string) string {
	to, err := url.Parse(srv.URL)
	must(t, err)
	proxy := &httputil.ReverseProxy{Rewrite: func(r *httputil.ProxyRequest) {
		r.SetURL(to)
		for _, h := range headers {
			r.Out.Header.Del(h)
		}
	}}
	front := httptest.NewServer(proxy)
	t.Cleanup(front.Close)
	return front.URL
}

// What a bucket's service can do is tried before the settings are written, since no copy
// tells it: one that keeps no two machines apart is used on a person's word only, and
// what one that checks nothing is sent is read back.
func TestANewMachineLearnsWhatItsBucketCanDo(t *testing.T) {
	srv := s3test.Fake(t)
	r := newRanch(t, false, srv)
	r.photos(1, 3, 500)
	mirror(t, r.cfg)
	conditions := []string{"If-None-Match", "If-Match"}
	for name, c := range map[string]struct {
		drops     []string
		oneWriter bool
		refused   bool
		fence     string
		readBack  bool
	}{
		"a service that can all":                 {},
		"one without conditions":                 {drops: conditions, refused: true},
		"one without conditions, and one writer": {drops: conditions, oneWriter: true, fence: "none"},
		"one that checks nothing":                {drops: []string{"X-Amz-Checksum-Sha256", "X-Amz-Sdk-Checksum-Algorithm"}, readBack: true},
	} {
		t.Run(name, func(t *testing.T) {
			m := newMachine(t, reach.RootAccess{Root: deaf(t, srv, c.drops...) + "/" + bucket + "/draw", Region: srv.Region})
			m.o.OneWriter = c.oneWriter
			_, err := m.run(t.Context())
			if c.refused {
				if _, serr := os.Stat(m.o.Config); !errors.Is(err, config.ErrNoFence) || !errors.Is(serr, fs.ErrNotExist) {
					t.Fatalf("%v; the settings: %v", err, serr)
				}
				m.o.OneWriter = true // a person's word, and the same command goes on
				_, err = m.run(t.Context())
				c.fence = "none"
			}
			must(t, err)
			all, faults := config.Load(m.o.Config)
			must(t, errors.Join(faults...))
			if got := all[0].Copies[0]; got.Fence != c.fence || got.ReadBack != c.readBack {
				t.Errorf("the settings say %+v", got)
			}
			a, err := daemon.Open(all[0], daemon.Options{})
			must(t, err)
			defer a.Close()
			if known, err := keys.Of(a.Archive, all[0].Copies[0]); err != nil || known.Tried == nil {
				t.Errorf("what was found out of its key is not remembered: %+v, %v", known, err)
			}
		})
	}
}

// A bucket that a person confirmed and whose keys are wrong holds recording up, and the
// report says so: it is there, and may have anything. One that nobody confirmed holds
// nothing up, and is never asked.
func TestABucketThatRefusesHoldsRecordingUp(t *testing.T) {
	for name, confirmed := range map[string]bool{"confirmed": true, "not confirmed": false} {
		t.Run(name, func(t *testing.T) {
			srv := s3test.Fake(t)
			var denies atomic.Bool
			var asked atomic.Int32
			to, err := url.Parse(srv.URL)
			must(t, err)
			proxy := httputil.NewSingleHostReverseProxy(to)
			front := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, req *http.Request) {
				if !denies.Load() {
					proxy.ServeHTTP(w, req)
					return
				}
				asked.Add(1)
				w.Header().Set("Content-Type", "application/xml")
				w.WriteHeader(http.StatusForbidden)
				if req.Method != http.MethodHead {
					_, _ = w.Write([]byte(`<?xml version="1.0"?><Error><Code>SignatureDoesNotMatch</Code><Message>no</Message></Error>`))
				}
			}))
			t.Cleanup(front.Close)
			behind := *srv
			behind.URL = front.URL
			r := newRanch(t, true, &behind)
			r.photos(1, 3, 500)
			mirror(t, r.cfg)
			denies.Store(true)

			m := newMachine(t, reach.RootAccess{Root: r.drive})
			must(t, os.Setenv("XDG_STATE_HOME", m.state))
			f, err := newmachine.Look(t.Context(), m.o)
			must(t, err)
			defer f.Close()
			s, err := f.Settle(t.Context(), func(config.Copy) (newmachine.Keys, error) {
				if confirmed {
					return newmachine.Keys{Credentials: "env"}, nil
				}
				return newmachine.Keys{}, nil
			})
			must(t, err)
			rep, err := s.Run(context.Background(), nil)
			must(t, err)
			i := slices.IndexFunc(rep.Copies, func(c newmachine.Copy) bool { return c.Copy == "bucket" })
			want := newmachine.Unconfirmed
			if confirmed {
				want = reach.Failed
			}
			if rep.Copies[i].State != want || (asked.Load() > 0) != confirmed {
				t.Errorf("%d requests, and the report says %+v", asked.Load(), rep.Copies)
			}
			held := false
			for _, a := range rep.Attention {
				held = held || a.Kind == newmachine.KindHeld && strings.Contains(a.Next, "linecamp mirror --without bucket")
			}
			r.folder = m.o.Into
			r.photos(2, 6, 500)
			all, faults := config.Load(m.o.Config)
			must(t, errors.Join(faults...))
			made := mirror(t, all[0]).Made
			if held != confirmed || (made == 0) != confirmed {
				t.Errorf("it is held up: %v, and the next round made %d versions", held, made)
			}
		})
	}
}
