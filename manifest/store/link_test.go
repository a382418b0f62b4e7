package store_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"linecamp/manifest/store"
	"linecamp/manifest/store/s3"
	"linecamp/manifest/store/s3test"
	"linecamp/manifest/store/s3test/link"
)

// badLink is a root in a new bucket of the real server, made over a good link
// that a test may then spoil, and the same root past the link.
type badLink struct {
	*link.Link
	root, past *place
	s          store.Root
	srv        *s3test.Server
}

func newBadLink(t *testing.T, silence time.Duration) *badLink {
	t.Parallel()
	srv := s3test.Real(t)
	l := link.New(t, srv)
	bucket := ""
	through := s3Place(t, srv, func(o *s3.Options) {
		bucket = o.URL
		o.URL = strings.Replace(o.URL, srv.URL, l.Server().URL, 1)
		o.Silence = silence
	})
	b := &badLink{Link: l, root: through, srv: srv}
	b.s = through.made(t)
	b.past = &place{open: func() store.Root {
		s, err := s3.Open(t.Context(), s3.Options{URL: bucket, Region: srv.Region, Access: srv.Access, Secret: srv.Secret, Fence: true})
		must(t, err)
		return s
	}}
	return b
}

// bounded is a context that fails the test when it runs out: whatever the link
// does, the operation must have ended by itself long before.
func bounded(t *testing.T) context.Context {
	ctx, cancel := context.WithTimeoutCause(t.Context(), 90*time.Second, errors.New("the operation did not end by itself"))
	t.Cleanup(func() {
		if ctx.Err() != nil && t.Context().Err() == nil {
			t.Error(context.Cause(ctx))
		}
		cancel()
	})
	return ctx
}

func read(ctx context.Context, r store.Root, key string) ([]byte, error) {
	f, _, err := r.Open(ctx, key)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(f)
}

// operations are all ways in which a root asks a bucket.
var operations = map[string]func(context.Context, store.Root) error{
	"create": func(ctx context.Context, r store.Root) error {
		_, err := r.Create(ctx, "new", store.Bytes([]byte("new")))
		return err
	},
	"open": func(ctx context.Context, r store.Root) error {
		_, err := read(ctx, r, store.ReadmeKey)
		return err
	},
	"stat": func(ctx context.Context, r store.Root) error {
		_, err := r.Stat(ctx, store.ReadmeKey)
		return err
	},
	"list": func(ctx context.Context, r store.Root) error {
		for _, err := range r.List(ctx, "") {
			if err != nil {
				return err
			}
		}
		return nil
	},
	"folders": func(ctx context.Context, r store.Root) error {
		_, err := r.Folders(ctx, "")
		return err
	},
}

// A link that is slow works: what it carries takes far longer than a link may
// be silent. 600 ms is what a geostationary satellite takes there and back.
func TestLinkSlow(t *testing.T) {
	for name, spoil := range map[string]func(*link.Link){
		"late":   func(l *link.Link) { l.Toxic("latency", link.Down, map[string]int{"latency": 600}) },
		"narrow": func(l *link.Link) { slow(l, 64) },
	} {
		t.Run(name, func(t *testing.T) {
			b := newBadLink(t, time.Second)
			spoil(b.Link)
			ctx, big := bounded(t), manyBytes(160<<10)
			asked := b.Asked()
			_, err := b.s.Create(ctx, "a", store.Bytes(big))
			must(t, err)
			got, err := read(ctx, b.s, "a")
			must(t, err)
			if !bytes.Equal(got, big) {
				t.Error("it reads back differently")
			}
			if n := b.Asked() - asked; n != 2 {
				t.Errorf("%d requests, want 2: slow is no reason to try again", n)
			}
		})
	}
}

// slow lets so many KiB a second through, each way.
func slow(l *link.Link, rate int) {
	l.Toxic("bandwidth", link.Up, map[string]int{"rate": rate})
	l.Toxic("bandwidth", link.Down, map[string]int{"rate": rate})
}

// A link on which nothing moves any more, wherever that begins, ends the
// operation; and if it moves again at the next try, nobody notices.
func TestLinkStalls(t *testing.T) {
	const most = 250 * time.Millisecond
	rules := map[string]func(*link.Link) link.Rule{
		"before the body": func(l *link.Link) link.Rule {
			return func(w http.ResponseWriter, r *http.Request, next http.Handler) { l.Hold(r) }
		},
		"before the answer": func(l *link.Link) link.Rule {
			return func(w http.ResponseWriter, r *http.Request, next http.Handler) {
				io.Copy(io.Discard, r.Body)
				l.Hold(r)
			}
		},
		"in the answer": func(l *link.Link) link.Rule {
			return func(w http.ResponseWriter, r *http.Request, next http.Handler) {
				next.ServeHTTP(&halfAnswer{ResponseWriter: w, then: func() { l.Hold(r) }}, r)
			}
		},
	}
	for where, make := range rules {
		for name, do := range operations {
			if where == "in the answer" && (name == "create" || name == "stat") {
				continue // these answers have no body
			}
			t.Run(name+", "+where, func(t *testing.T) {
				b := newBadLink(t, most)
				rule := make(b.Link)
				b.Answer(rule)
				err := do(bounded(t), b.s)
				wantErr(t, err, store.ErrUnreachable)
				checkSentence(t, err)
				var once atomic.Bool
				b.Answer(func(w http.ResponseWriter, r *http.Request, next http.Handler) {
					if once.CompareAndSwap(false, true) {
						rule(w, r, next)
					}
					next.ServeHTTP(w, r)
				})
				must(t, do(bounded(t), b.s))
			})
		}
	}
	// More than the buffers on the way take, so that sending itself stands still.
	t.Run("in the body", func(t *testing.T) {
		b := newBadLink(t, most)
		b.Answer(rules["before the body"](b.Link))
		_, err := b.s.Create(bounded(t), "a", store.Bytes(manyBytes(32<<20)))
		wantErr(t, err, store.ErrUnreachable)
	})
	t.Run("the connection", func(t *testing.T) {
		b := newBadLink(t, most)
		b.Toxic("timeout", link.Down, map[string]int{"timeout": 0})
		for name, do := range operations {
			if err := do(bounded(t), b.s); !errors.Is(err, store.ErrUnreachable) {
				t.Errorf("%s: %v", name, err)
			}
		}
	})
}

// halfAnswer lets half of a body through.
type halfAnswer struct {
	http.ResponseWriter
	then func()
}

func (h *halfAnswer) Write(p []byte) (int, error) {
	n, err := h.ResponseWriter.Write(p[:len(p)/2])
	if err == nil {
		err = http.NewResponseController(h.ResponseWriter).Flush()
		h.then()
	}
	return n, err
}

// Connections that break: a download goes on where it stopped; an upload begins
// again, a few times.
func TestLinkBreaks(t *testing.T) {
	big := manyBytes(1 << 20)
	t.Run("down", func(t *testing.T) {
		b := newBadLink(t, 0)
		ctx := bounded(t)
		_, err := b.s.Create(ctx, "a", store.Bytes(big))
		must(t, err)
		b.Toxic("limit_data", link.Down, map[string]int{"bytes": 300 << 10})
		got, err := read(ctx, b.root.open(), "a")
		must(t, err)
		if !bytes.Equal(got, big) {
			t.Error("the parts do not make the whole")
		}
	})
	t.Run("down, and other bytes then", func(t *testing.T) {
		b := newBadLink(t, 0)
		ctx := bounded(t)
		was, err := b.s.Create(ctx, "a", store.Bytes(big))
		must(t, err)
		other := bytes.Clone(big)
		other[len(other)-1] ^= 1
		var broke atomic.Bool
		b.Answer(func(w http.ResponseWriter, r *http.Request, next http.Handler) {
			if r.Method == http.MethodGet && broke.CompareAndSwap(false, true) {
				next.ServeHTTP(&halfAnswer{ResponseWriter: w, then: func() {
					_, err := b.past.open().Replace(ctx, "a", store.Bytes(other), &was)
					if err != nil {
						t.Error(err)
					}
					link.Drop()
				}}, r)
			}
			next.ServeHTTP(w, r)
		})
		_, err = read(ctx, b.s, "a")
		wantErr(t, err, store.ErrConflict) // half of each would be neither
		checkSentence(t, err)
	})
	t.Run("down, always at once", func(t *testing.T) {
		b := newBadLink(t, 0)
		ctx := bounded(t)
		_, err := b.s.Create(ctx, "a", store.Bytes(big))
		must(t, err)
		b.Toxic("limit_data", link.Down, map[string]int{"bytes": 8 << 10})
		asked := b.Asked()
		_, err = read(ctx, b.root.open(), "a")
		wantErr(t, err, store.ErrUnreachable)
		checkSentence(t, err)
		if n := b.Asked() - asked; n < 2 || n > 8 {
			t.Errorf("%d requests", n)
		}
	})
	t.Run("up, always", func(t *testing.T) {
		b := newBadLink(t, 0)
		b.Toxic("limit_data", link.Up, map[string]int{"bytes": 100 << 10})
		asked := b.Asked()
		_, err := b.root.open().Create(bounded(t), "a", store.Bytes(big))
		wantErr(t, err, store.ErrUnreachable)
		checkSentence(t, err)
		if n := b.Asked() - asked; n < 2 || n > 4 {
			t.Errorf("%d requests", n)
		}
		if _, err := b.past.open().Stat(t.Context(), "a"); !errors.Is(err, errAbsent) {
			t.Errorf("part of a file was kept: %v", err)
		}
	})
	t.Run("up, once", func(t *testing.T) {
		b := newBadLink(t, 0)
		var broke atomic.Int64
		b.Answer(func(w http.ResponseWriter, r *http.Request, next http.Handler) {
			if r.Method == http.MethodPut && broke.Add(1) <= 2 {
				io.CopyN(io.Discard, r.Body, r.ContentLength/2)
				link.Drop()
			}
			next.ServeHTTP(w, r)
		})
		_, err := b.s.Create(bounded(t), "a", store.Bytes(big))
		must(t, err)
		if got := readAll(t, b.past.open(), "a"); !bytes.Equal(got, big) {
			t.Error("it reads back differently")
		}
		if n := broke.Load(); n != 3 {
			t.Errorf("it was sent %d times, want 3", n)
		}
	})
	t.Run("reset", func(t *testing.T) {
		b := newBadLink(t, 0)
		b.Toxic("reset_peer", link.Down, map[string]int{"timeout": 0})
		for name, do := range operations {
			if err := do(bounded(t), b.s); !errors.Is(err, store.ErrUnreachable) {
				t.Errorf("%s: %v", name, err)
			}
		}
	})
}

// A service in trouble is tried again, and left alone when it stays so.
func TestLinkStorms(t *testing.T) {
	for _, status := range []int{http.StatusInternalServerError, http.StatusServiceUnavailable} {
		t.Run(fmt.Sprint(status), func(t *testing.T) {
			b := newBadLink(t, 0)
			var fail atomic.Int64
			b.Answer(func(w http.ResponseWriter, r *http.Request, next http.Handler) {
				if fail.Add(-1) >= 0 {
					io.Copy(io.Discard, r.Body)
					link.Refuse(w, status, "SlowDown")
					return
				}
				next.ServeHTTP(w, r)
			})
			for name, do := range operations {
				fail.Store(2)
				if err := do(bounded(t), b.s); err != nil {
					t.Errorf("%s over a short storm: %v", name, err)
				}
				fail.Store(1 << 30)
				asked := b.Asked()
				err := do(bounded(t), b.s)
				if !errors.Is(err, store.ErrUnreachable) {
					t.Errorf("%s: %v", name, err)
				}
				if n := b.Asked() - asked; n < 2 || n > 4 {
					t.Errorf("%s was tried %d times in a storm without end", name, n)
				}
			}
		})
	}
}

// What cannot succeed is asked once.
func TestLinkRefusals(t *testing.T) {
	for _, c := range []struct {
		status int
		code   string
		want   error
	}{
		{http.StatusForbidden, "AccessDenied", store.ErrDenied},
		{http.StatusForbidden, "SignatureDoesNotMatch", store.ErrDenied},
		{http.StatusForbidden, "InvalidAccessKeyId", store.ErrDenied},
		{http.StatusForbidden, "RequestTimeTooSkewed", store.ErrClock},
		{http.StatusBadRequest, "ExpiredToken", store.ErrDenied},
		{http.StatusNotFound, "NoSuchBucket", store.ErrNoBucket},
		{http.StatusMovedPermanently, "PermanentRedirect", store.ErrNoBucket},
		{http.StatusInsufficientStorage, "QuotaExceeded", store.ErrFull},
		{http.StatusNotImplemented, "NotImplemented", nil},
	} {
		t.Run(c.code, func(t *testing.T) {
			b := newBadLink(t, 0)
			b.Answer(func(w http.ResponseWriter, r *http.Request, next http.Handler) {
				io.Copy(io.Discard, r.Body)
				link.Refuse(w, c.status, c.code)
			})
			for name, do := range operations {
				asked := b.Asked()
				err := do(bounded(t), b.s)
				if err == nil || name != "stat" && c.want != nil && !errors.Is(err, c.want) {
					t.Errorf("%s: %v", name, err)
				}
				if n := b.Asked() - asked; n != 1 {
					t.Errorf("%s was tried %d times", name, n)
				}
			}
		})
	}
	t.Run("wrong secret", func(t *testing.T) {
		b := newBadLink(t, 0)
		s, err := s3.Open(t.Context(), s3.Options{URL: b.s.Name(), Region: b.Server().Region, Access: b.Server().Access, Secret: "wrong", Fence: true})
		must(t, err)
		for name, do := range operations {
			asked := b.Asked()
			if err := do(bounded(t), s); !errors.Is(err, store.ErrDenied) {
				t.Errorf("%s: %v", name, err)
			}
			if n := b.Asked() - asked; n != 1 {
				t.Errorf("%s was tried %d times", name, n)
			}
		}
	})
}

// A flipped byte is refused on the way up and noticed on the way down.
func TestLinkFlips(t *testing.T) {
	t.Run("up", func(t *testing.T) {
		b := newBadLink(t, 0)
		var flips atomic.Int64
		b.Answer(func(w http.ResponseWriter, r *http.Request, next http.Handler) {
			if r.Method == http.MethodPut && flips.Add(-1) >= 0 {
				link.FlipUp(r)
			}
			next.ServeHTTP(w, r)
		})
		big := manyBytes(100_000)
		flips.Store(2)
		_, err := b.s.Create(bounded(t), "a", store.Bytes(big))
		must(t, err)
		if got := readAll(t, b.past.open(), "a"); !bytes.Equal(got, big) {
			t.Error("flipped bytes were kept")
		}
		flips.Store(1 << 30)
		asked := b.Asked()
		_, err = b.s.Create(bounded(t), "b", store.Bytes(big))
		wantErr(t, err, store.ErrDigest)
		checkSentence(t, err)
		if n := b.Asked() - asked; n > 4 {
			t.Errorf("tried %d times", n)
		}
		if _, err := b.past.open().Stat(t.Context(), "b"); !errors.Is(err, errAbsent) {
			t.Errorf("flipped bytes were kept: %v", err)
		}
	})
	t.Run("up, in parts", func(t *testing.T) {
		b := newBadLink(t, 0)
		var begun, flips, lost atomic.Int64
		b.Answer(func(w http.ResponseWriter, r *http.Request, next http.Handler) {
			switch q := r.URL.Query(); {
			case r.Method == http.MethodPost && q.Has("uploads") && begun.Add(1) == 1:
				link.Lose(r, next)
			case q.Get("partNumber") == "2" && flips.Add(1) == 1:
				link.FlipUp(r)
			case r.Method == http.MethodPost && q.Has("uploadId") && lost.Add(1) == 1:
				link.Lose(r, next)
			}
			next.ServeHTTP(w, r)
		})
		big := manyBytes(64<<20 + 1)
		_, err := b.s.Create(bounded(t), "a", store.Bytes(big))
		must(t, err)
		if begun.Load() != 2 || flips.Load() != 2 || lost.Load() < 1 {
			t.Errorf("the upload was begun %d times, part 2 sent %d times, and the end %d times", begun.Load(), flips.Load(), lost.Load())
		}
		raw, err := b.srv.Client()
		must(t, err)
		left, err := raw.ListMultipartUploads(t.Context(), strings.Split(b.s.Name(), "/")[3], "", "", "", "", 10)
		must(t, err)
		if len(left.Uploads) > 0 { // the one that was begun in vain
			t.Errorf("%d uploads were left open", len(left.Uploads))
		}
		if got := readAll(t, b.past.open(), "a"); !bytes.Equal(got, big) {
			t.Error("flipped bytes were kept")
		}
	})
	t.Run("down, small files", func(t *testing.T) {
		b := newBadLink(t, 0)
		var flips atomic.Int64
		b.Answer(flipDown(&flips))
		flips.Store(1)
		id, err := b.s.Identity(bounded(t))
		must(t, err)
		if id != testID || flips.Load() > 0 {
			t.Errorf("%+v, %d flips to come", id, flips.Load())
		}
	})
	t.Run("down, mending", func(t *testing.T) {
		b := newBadLink(t, 0)
		var flips atomic.Int64
		ctx, good := bounded(t), store.Bytes(manyBytes(5000))
		was, err := b.s.Create(ctx, "a", good)
		must(t, err)
		b.Answer(flipDown(&flips))
		flips.Store(1)
		err = b.s.Mend(ctx, "a", good, t.TempDir())
		wantErr(t, err, store.ErrDigest)
		now, err := b.s.Stat(ctx, "a")
		must(t, err)
		if now.ETag != was.ETag || !now.Modified.Equal(must1(b.past.open().Stat(ctx, "a"))(t).Modified) {
			t.Error("good bytes were replaced")
		}
	})
	// What an earlier try left is named by a manifest with the digest it has,
	// not with the digest of what came through the link. A file sent in parts
	// has no digest that the service could tell.
	t.Run("down, what was left", func(t *testing.T) {
		b := newBadLink(t, 0)
		ctx, key := bounded(t), "v1/content/pano.tif"
		big := manyBytes(64<<20 + 1)
		build, err := b.s.Begin(ctx, object, 1)
		must(t, err)
		_, err = build.Put(ctx, key, store.Bytes(big))
		must(t, err)
		var flips atomic.Int64
		b.Answer(flipDown(&flips))
		flips.Store(2) // the first is the listing's: nothing can be read from that
		for flips.Load() > 0 {
			build, err = b.s.Begin(ctx, object, 1)
			if err == nil && len(build.Found()) == 1 && build.Found()[key].SHA256 != store.Bytes(big).SHA256 {
				t.Fatalf("found %+v", build.Found())
			}
		}
		build, err = b.s.Begin(ctx, object, 1)
		must(t, err)
		if build.Found()[key].SHA256 != store.Bytes(big).SHA256 {
			t.Errorf("found %+v", build.Found())
		}
	})
}

// flipDown flips a bit in the next so many answers that have a body.
func flipDown(flips *atomic.Int64) link.Rule {
	return func(w http.ResponseWriter, r *http.Request, next http.Handler) {
		if r.Method == http.MethodGet && flips.Add(-1) >= 0 {
			w = link.FlipDown(w)
		}
		next.ServeHTTP(w, r)
	}
}

// An answer that gets lost after the server did as asked is not taken for
// somebody else's write.
func TestLinkLosesAnswers(t *testing.T) {
	b := newBadLink(t, 0)
	var lost atomic.Int64
	b.Answer(func(w http.ResponseWriter, r *http.Request, next http.Handler) {
		if r.Method == http.MethodPut && lost.Add(1)%2 == 1 {
			link.Lose(r, next)
		}
		next.ServeHTTP(w, r)
	})
	s := newSite()
	s.store(t, b.s, s.next(t, nil, map[string]string{"2018/plot.jpg": "plot 18"}))
	s.store(t, b.s, s.next(t, nil, map[string]string{"2018/plot.jpg": "plot 18", "2019/plot.jpg": "plot 19"}))
	s.intact(t, b.past.open())
	if lost.Load() < 10 {
		t.Errorf("only %d writes", lost.Load())
	}
}
