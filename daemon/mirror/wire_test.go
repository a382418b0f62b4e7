package mirror

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"path"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"linecamp/manifest/store/s3test"
)

// wire counts what goes over the connections to a bucket, both ways, and what of it is
// bodies, by the name of the file they are of.
type wire struct {
	bytes atomic.Int64
	next  http.RoundTripper

	mu     sync.Mutex
	bodies map[string]int64
	asked  int
}

func newWire() *wire {
	w := &wire{bodies: map[string]int64{}}
	w.next = &http.Transport{MaxIdleConnsPerHost: 16, DialContext: func(ctx context.Context, network, address string) (net.Conn, error) {
		var d net.Dialer
		c, err := d.DialContext(ctx, network, address)
		return countedConn{c, &w.bytes}, err
	}}
	return w
}

func (w *wire) RoundTrip(r *http.Request) (*http.Response, error) {
	resp, err := w.next.RoundTrip(r)
	name := path.Base(r.URL.Path)
	switch {
	case strings.HasSuffix(name, ".jpg"):
		name = "photos"
	case r.URL.RawQuery != "":
		name = "listings"
	case strings.Contains(r.URL.Path, "linecamp-seal"):
		name = "the seal"
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	w.asked++
	w.bodies[r.Method+" "+name] += max(r.ContentLength, 0)
	if err == nil {
		resp.Body = &received{resp.Body, w, r.Method + " " + name}
	}
	return resp, err
}

// received is the body of an answer; some do not say beforehand how long they are.
type received struct {
	io.ReadCloser
	w    *wire
	what string
}

func (b *received) Read(p []byte) (int, error) {
	n, err := b.ReadCloser.Read(p)
	b.w.mu.Lock()
	defer b.w.mu.Unlock()
	b.w.bodies[b.what] += int64(n)
	return n, err
}

type countedConn struct {
	net.Conn
	n *atomic.Int64
}

func (c countedConn) Read(p []byte) (int, error) {
	n, err := c.Conn.Read(p)
	c.n.Add(int64(n))
	return n, err
}

func (c countedConn) Write(p []byte) (int, error) {
	n, err := c.Conn.Write(p)
	c.n.Add(int64(n))
	return n, err
}

func (w *wire) tell(t *testing.T, when string, photos int64) float64 {
	ratio := float64(w.bytes.Swap(0)) / float64(photos)
	t.Logf("%s: %.4f of the photos' own bytes, in %d requests", when, ratio, w.asked)
	w.mu.Lock()
	defer w.mu.Unlock()
	names := slices.SortedFunc(maps.Keys(w.bodies), func(a, b string) int { return cmp.Compare(w.bodies[b], w.bodies[a]) })
	for _, name := range names[:min(len(names), 10)] {
		t.Logf("  %-28s %8d bytes, %.4f", name, w.bodies[name], float64(w.bodies[name])/float64(photos))
	}
	clear(w.bodies)
	w.asked = 0
	return ratio
}

// current reads nothing: what a test reads would count.
func current(t *testing.T, rep Report) {
	t.Helper()
	for _, c := range rep.Copies {
		if c.State != Current {
			t.Fatalf("%+v", c)
		}
	}
}

// TestBytesOnTheLink mirrors a record of ten sites to a bucket, and then the visits of
// many nights, one a night, and holds what went over the link against the photos' bytes.
// LINECAMP_NIGHTS=365 is a year.
func TestBytesOnTheLink(t *testing.T) {
	const size, each, places = 200_000, 6, 10
	nights := 12
	if n, err := strconv.Atoi(os.Getenv("LINECAMP_NIGHTS")); err == nil {
		nights = n
	}
	r := newRanch(t, "shelf")
	w := newWire()
	r.addBucket(s3test.Fake(t), "bucket", w)
	rnd, b := rand.NewChaCha8([32]byte{1}), make([]byte, size)
	visit := func(site int, day time.Time) {
		for i := range each {
			rnd.Read(b)
			r.write(fmt.Sprintf("North/Stake %d/%s/plot %d.jpg", site, day.Format(time.DateOnly), i+1), string(b))
		}
	}
	w.bytes.Store(0)
	clear(w.bodies)
	w.asked = 0
	first := 0
	for site := range places {
		for year := 2022; year < 2026; year++ {
			visit(site, time.Date(year, 6, 1+site, 0, 0, 0, 0, time.UTC))
			first++
		}
	}
	current(t, r.mirror())
	if ratio := w.tell(t, "the first mirror", int64(first*each*size)); ratio > 1.02 {
		t.Errorf("the first mirror took %.4f of the photos' bytes, more than 1.02", ratio)
	}
	for n := range nights {
		r.now = r.now.Add(23 * time.Hour)
		visit(n%places, r.now.Add(-72*time.Hour))
		current(t, r.mirror())
	}
	w.tell(t, fmt.Sprintf("%d nights", nights), int64(nights*each*size))
}
