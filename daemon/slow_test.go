package daemon_test

import (
	"context"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"linecamp/daemon"
)

// slow stands before the bucket and holds back every photo sent to it until
// open is called.
func (r *ranch) slow() (sending <-chan struct{}, open func()) {
	r.t.Helper()
	to, err := url.Parse(r.server.URL)
	if err != nil {
		r.t.Fatal(err)
	}
	proxy := &httputil.ReverseProxy{Rewrite: func(p *httputil.ProxyRequest) { p.SetURL(to) }}
	first, gate := make(chan struct{}), make(chan struct{})
	var once sync.Once
	front := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, q *http.Request) {
		if q.Method == http.MethodPut && strings.Contains(q.URL.Path, "/content/") {
			once.Do(func() { close(first) })
			select {
			case <-gate:
			case <-q.Context().Done():
				return
			}
		}
		proxy.ServeHTTP(w, q)
	}))
	r.t.Cleanup(front.Close)
	r.set.S3s[0].URL = strings.Replace(r.set.S3s[0].URL, r.server.URL, front.URL, 1)
	open = sync.OnceFunc(func() { close(gate) })
	r.t.Cleanup(open)
	return first, open
}

// While a bucket is still catching up over a slow line, the drive gets what is
// new from another round, can be verified, and the bucket is reported behind.
func TestSlowBucketHoldsUpNobody(t *testing.T) {
	r := newRanch(t, "shelf").bucket()
	sending, open := r.slow()
	r.setup()
	a, b := r.open(), r.open() // two processes would do the same
	done := make(chan daemon.MirrorReport, 1)
	go func() {
		m, err := a.Mirror(t.Context(), daemon.MirrorOptions{}, nil)
		if err != nil {
			t.Error(err)
		}
		done <- m
	}()
	<-sending
	r.photo("Windmill/Stake 3/2026-06-20/plot.jpg")
	m := r.mirror(b)
	if m.Made != 1 || m.Copies[0].State != "current" || m.Copies[1].State != "behind" {
		t.Errorf("the round beside it: %s", printed(m))
	}
	if v := r.verify(b, daemon.VerifyOptions{Copy: "shelf"}); v.Wants() || v.Copies[0].ReadBack.Files != 19 {
		t.Errorf("the drive meanwhile: %s", printed(v))
	}
	if s := r.status(b); s.Copies[0].State != "current" || s.Copies[1].State != "behind" {
		t.Errorf("status meanwhile: %s", printed(s))
	}
	open()
	if m := <-done; m.Copies[0].State == "failed" || m.Copies[1].Files != 18 {
		t.Errorf("the slow round: %s", printed(m))
	}
	if m := r.mirror(b); m.Copies[1].State != "current" || m.Copies[1].Files != 1 {
		t.Errorf("afterwards: %s", printed(m))
	}
}

// A round that is stopped in the middle of sending ends at once, and the next
// one does not send again what arrived.
func TestStoppedRound(t *testing.T) {
	r := newRanch(t, "shelf").bucket()
	sending, open := r.slow()
	r.setup()
	a := r.open()
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan daemon.MirrorReport, 1)
	go func() {
		m, err := a.Mirror(ctx, daemon.MirrorOptions{}, nil)
		if err == nil {
			t.Error("a stopped round says it was whole")
		}
		done <- m
	}()
	<-sending
	cancel()
	var stopped daemon.MirrorReport
	select {
	case stopped = <-done:
	case <-time.After(20 * time.Second): // only so that a hang is a failure
		t.Fatal("a stopped round goes on")
	}
	open()
	s := r.status(a)
	if s.Last[0].Outcome != "stopped" {
		t.Errorf("the ledger says %+v", s.Last[0])
	}
	// However far it got on the drive, none of it is sent again.
	m := r.mirror(a)
	if m.Copies[0].State != "current" || stopped.Copies[0].Files+m.Copies[0].Files != 18 || m.Copies[1].State != "current" {
		t.Errorf("the stopped round: %s\nthe next round: %s", printed(stopped), printed(m))
	}
	if v := r.verify(a, daemon.VerifyOptions{Only: daemon.OnlyRot}); v.Wants() {
		t.Errorf("verify: %s", printed(v))
	}
}
