// Package link is a bad link to an S3 server, for tests. Begin with [New].
//
// A [Link] stands before a server of package s3test and has an address of its
// own. Three things can be wrong with it:
//
//   - toxics of github.com/Shopify/toxiproxy/v2 on the bytes of its connections:
//     latency, little bandwidth, resets, an end after so many bytes;
//   - a rule over whole requests ([Link.Answer]): refusals, answers that get
//     lost after the server did what was asked, bodies that change on the way;
//   - noise: single bits that flip anywhere in a stream, headers included
//     ([Noise], a proxy of its own).
//
// It also counts what was asked, so that a test can tell what was tried again.
package link

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"strings"
	"sync"
	"sync/atomic"

	"github.com/Shopify/toxiproxy/v2"
	"github.com/rs/zerolog"
	zlog "github.com/rs/zerolog/log"

	"linecamp/manifest/store/s3test"
)

// Link is a bad link to one server: client, toxics, rule, server.
type Link struct {
	t      s3test.TB
	server s3test.Server
	proxy  *toxiproxy.Proxy
	asked  atomic.Int64
	over   chan struct{} // closed when the test ends

	mu   sync.Mutex
	rule Rule
}

// Rule is what happens to a request. It either hands it to next, before or
// after changing something, or answers by itself. [Drop] ends the connection
// without an answer.
type Rule func(w http.ResponseWriter, r *http.Request, next http.Handler)

// silence keeps toxiproxy's global logger from writing into tests.
var silence = sync.OnceFunc(func() { zlog.Logger = zerolog.Nop() })

// New puts a link, at first a good one, before a server.
func New(t s3test.TB, srv *s3test.Server) *Link {
	t.Helper()
	l := &Link{t: t, server: *srv, over: make(chan struct{})}
	target, err := url.Parse(srv.URL)
	if err != nil {
		t.Fatalf("%v", err)
	}
	through := httputil.NewSingleHostReverseProxy(target)
	through.Transport = &http.Transport{DisableCompression: true}
	through.ErrorHandler = func(w http.ResponseWriter, r *http.Request, err error) { Drop() }
	through.ErrorLog = quiet
	front := httptest.NewUnstartedServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		l.asked.Add(1)
		l.mu.Lock()
		rule := l.rule
		l.mu.Unlock()
		if rule == nil {
			through.ServeHTTP(w, r)
			return
		}
		rule(w, r, through)
	}))
	front.Config.ErrorLog = quiet
	front.Start()
	silence()
	l.proxy = toxiproxy.NewProxy(toxiproxy.NewServer(toxiproxy.NewMetricsContainer(nil), zerolog.Nop()),
		"link", "127.0.0.1:0", front.Listener.Addr().String())
	if err := l.proxy.Start(); err != nil {
		t.Fatalf("the fault proxy: %v", err)
	}
	t.Cleanup(func() {
		close(l.over)
		l.proxy.Stop()
		front.CloseClientConnections()
		front.Close()
	})
	l.server.URL = "http://" + l.proxy.Listen
	return l
}

// Server is the server as it is seen through the link.
func (l *Link) Server() *s3test.Server { return &l.server }

// Asked counts the requests that came so far.
func (l *Link) Asked() int64 { return l.asked.Load() }

// Answer sets the rule for the requests from now on; nil is none.
func (l *Link) Answer(rule Rule) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.rule = rule
}

// Up and Down are the two directions of a link, as toxiproxy calls them.
const (
	Up   = "upstream"
	Down = "downstream"
)

// Toxic puts one of toxiproxy's toxics on every connection and returns what
// takes it off again.
func (l *Link) Toxic(kind, direction string, attributes map[string]int) (off func()) {
	l.t.Helper()
	b, err := json.Marshal(map[string]any{"name": kind + " " + direction, "type": kind, "stream": direction, "attributes": attributes})
	if err != nil {
		l.t.Fatalf("%v", err)
	}
	toxic, err := l.proxy.Toxics.AddToxicJson(strings.NewReader(string(b)))
	if err != nil {
		l.t.Fatalf("the toxic %s: %v", kind, err)
	}
	return sync.OnceFunc(func() {
		if err := l.proxy.Toxics.RemoveToxic(context.Background(), toxic.Name); err != nil {
			l.t.Fatalf("taking off the toxic %s: %v", kind, err)
		}
	})
}

// Restore takes all toxics off.
func (l *Link) Restore() { l.proxy.Toxics.ResetToxics(context.Background()) }

// Cut ends the link for good: connections break and no new one is taken.
func (l *Link) Cut() { l.proxy.Stop() }

// Mend takes connections again after Cut.
func (l *Link) Mend() {
	l.t.Helper()
	if err := l.proxy.Start(); err != nil {
		l.t.Fatalf("the fault proxy: %v", err)
	}
}

// Drop ends the connection of the request being answered.
func Drop() { panic(http.ErrAbortHandler) }

// Hold keeps a request waiting until its client or the test gives up, and then
// ends the connection.
func (l *Link) Hold(r *http.Request) {
	select {
	case <-r.Context().Done():
	case <-l.over:
	}
	Drop()
}

// Refuse answers with an S3 error.
// Source of its form: docs.aws.amazon.com/AmazonS3/latest/API/ErrorResponses.html.
func Refuse(w http.ResponseWriter, status int, code string) {
	w.Header().Set("Content-Type", "application/xml")
	w.WriteHeader(status)
	fmt.Fprintf(w, "<Error><Code>%s</Code><Message>the link says so</Message></Error>", code)
}

// Lose has the server do what is asked and loses its answer.
func Lose(r *http.Request, next http.Handler) {
	next.ServeHTTP(httptest.NewRecorder(), r)
	Drop()
}

// FlipUp flips a bit of the request's body.
func FlipUp(r *http.Request) {
	if r.ContentLength > 0 {
		r.Body = &flipped{ReadCloser: r.Body, at: r.ContentLength / 2}
	}
}

// FlipDown flips a bit of the answer's body.
func FlipDown(w http.ResponseWriter) http.ResponseWriter { return &flippedAnswer{ResponseWriter: w} }

type flipped struct {
	io.ReadCloser
	at, n int64
}

func (f *flipped) Read(p []byte) (int, error) {
	n, err := f.ReadCloser.Read(p)
	if at := f.at - f.n; at >= 0 && at < int64(n) {
		p[at] ^= 0x10
	}
	f.n += int64(n)
	return n, err
}

type flippedAnswer struct {
	http.ResponseWriter
	done bool
}

func (f *flippedAnswer) Write(p []byte) (int, error) {
	if !f.done && len(p) > 0 {
		f.done = true
		p = append([]byte(nil), p...)
		p[len(p)/2] ^= 0x10
	}
	return f.ResponseWriter.Write(p)
}

// Noise puts a proxy before a server that flips one bit in about every so many
// bytes, in both directions, and returns the server as seen through it and what
// makes the link good again. seed decides which bits.
func Noise(t s3test.TB, srv *s3test.Server, every int, seed uint64) (noisy *s3test.Server, quieten func(), flips func() int64) {
	t.Helper()
	target, err := url.Parse(srv.URL)
	if err != nil {
		t.Fatalf("%v", err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatalf("%v", err)
	}
	n := &noise{every: uint64(every), state: seed | 1}
	n.on.Store(true)
	t.Cleanup(func() { l.Close() })
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			s, err := net.Dial("tcp", target.Host)
			if err != nil {
				c.Close()
				continue
			}
			for _, way := range [][2]net.Conn{{c, s}, {s, c}} {
				go func() {
					io.Copy(way[1], &noisyReader{way[0], n})
					way[0].Close()
					way[1].Close()
				}()
			}
		}
	}()
	out := *srv
	out.URL = "http://" + l.Addr().String()
	return &out, func() { n.on.Store(false) }, n.flips.Load
}

type noise struct {
	every uint64
	on    atomic.Bool
	flips atomic.Int64

	mu    sync.Mutex
	state uint64
}

// next is a xorshift step.
func (n *noise) next() uint64 {
	n.state ^= n.state << 13
	n.state ^= n.state >> 7
	n.state ^= n.state << 17
	return n.state
}

func (n *noise) flip(p []byte) {
	if !n.on.Load() {
		return
	}
	n.mu.Lock()
	defer n.mu.Unlock()
	for at := n.next() % (2 * n.every); at < uint64(len(p)); at += 1 + n.next()%(2*n.every) {
		p[at] ^= 1 << (n.next() % 8)
		n.flips.Add(1)
	}
}

type noisyReader struct {
	io.Reader
	n *noise
}

func (r *noisyReader) Read(p []byte) (int, error) {
	n, err := r.Reader.Read(p)
	r.n.flip(p[:n])
	return n, err
}
