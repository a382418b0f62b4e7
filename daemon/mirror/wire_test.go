package mirror

import (
	"cmp"
	"context"
	"encoding/pem"
	"fmt"
	"io"
	"log"
	"maps"
	"math/rand/v2"
	"net"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"linecamp/daemon/config"
	"linecamp/daemon/link"
	"linecamp/daemon/mirror/report"
	"linecamp/daemon/reach"
	"linecamp/manifest/store/s3"
	"linecamp/manifest/store/s3test"
)

// wire stands before a server with TLS, as a service does, and counts what goes over the
// connections to it, both ways, and what of it is bodies, by the name of the file they
// are of. It can cut all connections each time so many bytes went over them.
type wire struct {
	bytes, cutAt atomic.Int64
	every        int64
	cuts         int
	url, ca      string

	mu     sync.Mutex
	bodies map[string]int64
	asked  int
	open   map[net.Conn]bool
}

func newWire(t *testing.T, srv *s3test.Server) *wire {
	w := &wire{bodies: map[string]int64{}, open: map[net.Conn]bool{}}
	target, err := url.Parse(srv.URL)
	must(t, err)
	through := httputil.NewSingleHostReverseProxy(target)
	through.Transport = &http.Transport{DisableCompression: true, MaxIdleConnsPerHost: 16}
	through.ErrorHandler = func(http.ResponseWriter, *http.Request, error) { panic(http.ErrAbortHandler) }
	front := httptest.NewUnstartedServer(http.HandlerFunc(func(rw http.ResponseWriter, r *http.Request) {
		name := path.Base(r.URL.Path)
		switch {
		case strings.HasSuffix(name, ".jpg"):
			name = "photos"
		case r.URL.RawQuery != "":
			name = "listings"
		case strings.Contains(r.URL.Path, "linecamp-seal"):
			name = "the seal"
		}
		a := &answered{ResponseWriter: rw}
		through.ServeHTTP(a, r)
		w.mu.Lock()
		defer w.mu.Unlock()
		w.asked++
		w.bodies[r.Method+" "+name] += max(r.ContentLength, 0) + a.n
	}))
	front.Config.ErrorLog = log.New(io.Discard, "", 0)
	front.StartTLS()
	t.Cleanup(front.Close)
	w.url, w.ca = front.URL, filepath.Join(t.TempDir(), "ca.pem")
	must(t, os.WriteFile(w.ca, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: front.Certificate().Raw}), 0o600))
	return w
}

type answered struct {
	http.ResponseWriter
	n int64
}

func (a *answered) Write(p []byte) (int, error) {
	n, err := a.ResponseWriter.Write(p)
	a.n += int64(n)
	return n, err
}

func (a *answered) Unwrap() http.ResponseWriter { return a.ResponseWriter }

// conn counts one connection.
func (w *wire) conn(c net.Conn) net.Conn {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.open[c] = true
	return countedConn{c, w}
}

func (w *wire) count(n int) {
	if sum := w.bytes.Add(int64(n)); w.every > 0 && sum >= w.cutAt.Load() {
		w.mu.Lock()
		defer w.mu.Unlock()
		if sum >= w.cutAt.Load() {
			w.cutAt.Store(sum + w.every)
			w.cuts++
			w.hangUp()
		}
	}
}

// hangUp closes all connections. Hold mu.
func (w *wire) hangUp() {
	for c := range w.open {
		c.Close()
	}
	clear(w.open)
}

type countedConn struct {
	net.Conn
	w *wire
}

func (c countedConn) Read(p []byte) (int, error) {
	n, err := c.Conn.Read(p)
	c.w.count(n)
	return n, err
}

func (c countedConn) Write(p []byte) (int, error) {
	n, err := c.Conn.Write(p)
	c.w.count(n)
	return n, err
}

// begin counts from here on.
func (w *wire) begin() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.bytes.Store(0)
	clear(w.bodies)
	w.asked = 0
}

func (w *wire) tell(t *testing.T, when string, photos int64) float64 {
	sum := w.bytes.Load()
	ratio := float64(sum) / float64(photos)
	w.mu.Lock()
	t.Logf("%s: %.4f of the photos' own bytes, in %d requests", when, ratio, w.asked)
	rest := sum
	names := slices.SortedFunc(maps.Keys(w.bodies), func(a, b string) int { return cmp.Compare(w.bodies[b], w.bodies[a]) })
	for i, name := range names {
		if rest -= w.bodies[name]; i < 8 {
			t.Logf("  %-28s %9d bytes, %.4f", name, w.bodies[name], float64(w.bodies[name])/float64(photos))
		}
	}
	t.Logf("  %-28s %9d bytes, %.4f", "heads, and TLS", rest, float64(rest)/float64(photos))
	w.mu.Unlock()
	w.begin()
	return ratio
}

// current reads nothing: what a test reads would count.
func current(t *testing.T, rep report.Report) {
	t.Helper()
	for _, c := range rep.Copies {
		if c.State != reach.Current {
			t.Fatalf("%+v", c)
		}
	}
}

// wired is a ranch with a drive, and a bucket behind a wire with a limited rate.
type wired struct {
	*ranch
	*wire
	t    *testing.T
	rnd  *rand.ChaCha8
	size int
	way  *link.Link
}

func newWired(t *testing.T, size int, rate, every int64) *wired {
	r, srv := newRanch(t, "shelf"), s3test.Fake(t)
	w := &wired{ranch: r, t: t, rnd: rand.NewChaCha8([32]byte{1}), size: size, wire: newWire(t, srv)}
	w.every = every
	at, err := srv.Bucket(context.Background(), "bucket")
	must(t, err)
	c := config.Copy{ID: t.Name(), Kind: config.KindS3, Link: config.Link{Rate: config.Rate{Bytes: rate}}}
	w.way = link.Of(c, r.led, time.Now)
	root, err := s3.Open(t.Context(), s3.Options{URL: strings.Replace(at, srv.URL, w.url, 1) + "/" + archiveName, Region: srv.Region, Access: srv.Access,
		Secret: srv.Secret, Fence: true, CAFile: w.ca, Page: link.Page, Conn: func(c net.Conn) net.Conn { return w.way.Conn(w.conn(c)) }})
	must(t, err)
	r.addRoot("bucket", "s3", at, root)
	w.begin()
	return w
}

func (w *wired) visit(site int, day time.Time, photos int) {
	b := make([]byte, w.size)
	for i := range photos {
		w.rnd.Read(b)
		w.write(fmt.Sprintf("North/Stake %d/%s/plot %d.jpg", site, day.Format(time.DateOnly), i+1), string(b))
	}
}

// round has the drive done first, as it is where the link is narrow.
func (w *wired) round() report.Report {
	w.t.Helper()
	return w.mirror(func(in *In) {
		in.OneByOne = true
		for i := range in.Copies {
			if in.Copies[i].Name == "bucket" {
				in.Copies[i].Link = w.way
			}
		}
	})
}

const unlimited = 1 << 40 // a rate that slows nothing

// TestBytesOnTheLink mirrors a record to a bucket, and then the visits of many nights, one
// a night, and holds what went over the link against the photos' bytes.
// LINECAMP_NIGHTS=365 is a year; LINECAMP_SITES, LINECAMP_YEARS and LINECAMP_PHOTO, in bytes,
// are what it is of.
func TestBytesOnTheLink(t *testing.T) {
	number := func(name string, usual int) int {
		if n, err := strconv.Atoi(os.Getenv(name)); err == nil {
			return n
		}
		return usual
	}
	nights, places, size := number("LINECAMP_NIGHTS", 5), number("LINECAMP_SITES", 10), number("LINECAMP_PHOTO", 200_000)
	years := number("LINECAMP_YEARS", 4)
	const each = 6
	w := newWired(t, size, unlimited, 0)
	for site := range places {
		for year := range years {
			w.visit(site, time.Date(2025-year, 6, 1+site%28, 0, 0, 0, 0, time.UTC), each)
		}
	}
	current(t, w.round())
	if ratio := w.tell(t, "the first mirror", int64(places*years*each*size)); ratio > 1.02 {
		t.Errorf("the first mirror took %.4f of the photos' bytes, more than 1.02", ratio)
	}
	for n := range nights {
		w.now = w.now.Add(23 * time.Hour)
		w.mu.Lock()
		w.hangUp() // from one night to the next no connection stays
		w.mu.Unlock()
		w.visit(n%places, w.now.Add(-72*time.Hour), each)
		current(t, w.round())
	}
	night := func(name string) int64 {
		w.mu.Lock()
		defer w.mu.Unlock()
		return w.bodies[name] / int64(max(nights, 1))
	}
	if n := night("GET listings"); n > 6_000 {
		t.Errorf("%d bytes of listings a night", n)
	}
	if n := night("GET the seal"); n > 0 {
		t.Errorf("%d bytes of the seal are read each night, although it is known", n)
	}
	w.tell(t, fmt.Sprintf("%d nights", nights), int64(nights*each*size))
}

// TestBytesOnALinkThatIsCut has the link to a bucket broken off each time as much went over
// it as 1 Mbit/s takes in 30 seconds.
func TestBytesOnALinkThatIsCut(t *testing.T) {
	const rate, size, each, places = 125_000, 200_000, 6, 20
	w := newWired(t, size, rate, 30*rate)
	fast := config.Copy{ID: t.Name(), Kind: config.KindS3, Link: config.Link{Rate: config.Rate{Bytes: 40 * rate}}}
	link.Of(fast, w.led, time.Now) // nobody waits for it as long as that
	for site := range places {
		w.visit(site, time.Date(2025, 6, 1+site, 0, 0, 0, 0, time.UTC), each)
	}
	for range 20 {
		if rep := w.round(); rep.Copies[1].State == reach.Current {
			break
		}
	}
	current(t, w.round())
	if ratio := w.tell(t, fmt.Sprintf("cut %d times", w.cuts), each*places*size); ratio > 1.10 || w.cuts < 5 {
		t.Errorf("it was cut %d times, and took %.4f of the photos' bytes; 1.10 are allowed", w.cuts, ratio)
	}
}
