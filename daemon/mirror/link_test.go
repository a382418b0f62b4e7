package mirror

import (
	"context"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"linecamp/daemon/mirror/report"
	"linecamp/daemon/reach"
	"linecamp/manifest/store"
	"linecamp/manifest/store/s3"
	"linecamp/manifest/store/s3test"
	"linecamp/manifest/store/s3test/link"
	"linecamp/verify"
	"linecamp/verify/restore"
	"linecamp/verify/rot"
)

// behind adds a bucket of srv that is made over a good link and then used over
// a bad one; past is its root over the good one.
func (r *ranch) behind(srv, bad *s3test.Server, silence time.Duration) (c *copyOf, past store.Root) {
	c = r.addBucket(srv, "bucket")
	past = c.root
	root, err := s3.Open(context.Background(), s3.Options{URL: strings.Replace(past.Name(), srv.URL, bad.URL, 1),
		Region: srv.Region, Access: srv.Access, Secret: srv.Secret, Fence: true, Silence: silence})
	must(r.t, err)
	c.root = root
	return c, past
}

// within is a round that must end by itself.
func (r *ranch) within(t *testing.T) report.Report {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Minute)
	defer cancel()
	rep, err := r.try(ctx)
	if ctx.Err() != nil {
		t.Fatal("the round did not end by itself")
	}
	must(t, err)
	return rep
}

// sound checks, past the link, that every byte in the bucket is right and that
// nothing lies there that no manifest names.
func sound(t *testing.T, past store.Root) {
	t.Helper()
	rep, err := rot.Check(context.Background(), verify.Copy{Name: "bucket", ID: "bucket", Root: past}, rot.Options{Allowance: -1})
	must(t, err)
	for _, d := range rep.Damage {
		t.Errorf("%s %s: %s (%s)", d.Object, d.Content, d.Kind, d.Detail)
	}
}

// Rounds over a link that does one thing wrong, again and again: each ends, and
// when the link is good they have brought everything, and nothing but that.
func TestRoundsOverABadLink(t *testing.T) {
	nth := func(n int64, method string, do link.Rule) func(*link.Link) {
		return func(l *link.Link) {
			var count atomic.Int64
			l.Answer(func(w http.ResponseWriter, r *http.Request, next http.Handler) {
				if (method == "" || r.Method == method) && count.Add(1)%n == 0 {
					do(w, r, next)
					return
				}
				next.ServeHTTP(w, r)
			})
		}
	}
	for name, spoil := range map[string]func(*link.Link){
		"every third write loses its answer": nth(3, http.MethodPut, func(w http.ResponseWriter, r *http.Request, next http.Handler) { link.Lose(r, next) }),
		"every third request is refused":     nth(3, "", func(w http.ResponseWriter, r *http.Request, next http.Handler) { link.Refuse(w, 503, "SlowDown") }),
		"every second write is flipped": nth(2, http.MethodPut, func(w http.ResponseWriter, r *http.Request, next http.Handler) {
			link.FlipUp(r)
			next.ServeHTTP(w, r)
		}),
		"every second answer is flipped": nth(2, http.MethodGet, func(w http.ResponseWriter, r *http.Request, next http.Handler) {
			next.ServeHTTP(link.FlipDown(w), r)
		}),
		"most writes are flipped": func(l *link.Link) {
			var count atomic.Int64
			l.Answer(func(w http.ResponseWriter, r *http.Request, next http.Handler) {
				if r.Method == http.MethodPut && count.Add(1)%7 != 0 {
					link.FlipUp(r)
				}
				next.ServeHTTP(w, r)
			})
		},
		"connections end after 6 KiB": func(l *link.Link) { l.Toxic("limit_data", link.Up, map[string]int{"bytes": 6 << 10}) },
	} {
		for _, drives := range [][]string{{"shelf"}, nil} {
			t.Run(fmt.Sprintf("%s, %d drives", name, len(drives)), func(t *testing.T) {
				t.Parallel()
				srv := s3test.Real(t)
				l := link.New(t, srv)
				r := newRanch(t, drives...)
				_, past := r.behind(srv, l.Server(), 5*time.Second)
				for i := range 3 {
					r.visit(fmt.Sprintf("North/Stake %d", i), "2019-06-21")
				}
				spoil(l)
				for range 3 {
					r.within(t)
				}
				r.visit("North/Stake 0", "2020-06-21")
				r.within(t)
				l.Answer(nil)
				l.Restore()
				r.within(t)
				r.wantCurrent(r.within(t))
				sound(t, past)
				for _, c := range r.copies {
					for i := range 3 {
						if n := head(t, c.root, fmt.Sprintf("north--stake-%d", i)).Head(); n != 1 && !(i == 0 && n == 2) {
							t.Errorf("%s has %d versions of site %d", c.name, n, i)
						}
					}
				}
			})
		}
	}
}

// Bits flip anywhere in the streams: in photos, headers, signatures, listings.
func TestRoundsOverANoisyLink(t *testing.T) {
	for seed := range uint64(4) {
		t.Run(fmt.Sprint("seed ", seed), func(t *testing.T) {
			t.Parallel()
			srv := s3test.Real(t)
			noisy, quieten, flips := link.Noise(t, srv, 4000, 0x9e3779b97f4a7c15*(seed+1))
			r := newRanch(t, []string{"shelf"}[:seed%2]...)
			_, past := r.behind(srv, noisy, time.Second)
			for i := range 3 {
				r.visit(fmt.Sprintf("North/Stake %d", i), "2019-06-21")
			}
			for range 4 {
				r.within(t)
			}
			r.visit("North/Stake 0", "2020-06-21")
			for rounds := 1; ; rounds++ {
				r.within(t)
				if flips() >= 10 {
					break
				}
				if rounds == 40 {
					t.Fatalf("only %d bits flipped", flips())
				}
			}
			quieten()
			r.within(t)
			r.wantCurrent(r.within(t))
			sound(t, past)
		})
	}
}

// A drive that catches up from the bucket over such a link takes no flipped
// byte, and no version without its photos: those that did not come are brought
// later.
func TestCatchingUpOverABadLink(t *testing.T) {
	for name, rule := range map[string]link.Rule{
		"flipped": func(w http.ResponseWriter, r *http.Request, next http.Handler) {
			if strings.Contains(r.URL.Path, "/content/") && r.Method == http.MethodGet {
				w = link.FlipDown(w)
			}
			next.ServeHTTP(w, r)
		},
		"refused": func(w http.ResponseWriter, r *http.Request, next http.Handler) {
			if strings.Contains(r.URL.Path, "/content/") && r.Method == http.MethodGet {
				link.Refuse(w, 503, "SlowDown")
				return
			}
			next.ServeHTTP(w, r)
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			srv := s3test.Real(t)
			l := link.New(t, srv)
			r := newRanch(t)
			_, past := r.behind(srv, l.Server(), 5*time.Second)
			r.visit("North/Stake 0", "2019-06-21")
			r.wantCurrent(r.within(t))
			r.remove("North/Stake 0/2019-06-21/plot.jpg") // only the bucket has it now
			r.wantCurrent(r.within(t))
			shelf := r.addDrive("shelf")
			if name == "flipped" {
				// Once each: that is what a link does. Bytes that are always wrong
				// are rotten, as far as anybody can tell.
				var done atomic.Int64
				always := rule
				rule = func(w http.ResponseWriter, r *http.Request, next http.Handler) {
					if strings.HasSuffix(r.URL.Path, "plot.jpg") && r.Method == http.MethodGet && done.Add(1) == 1 {
						always(w, r, next)
						return
					}
					next.ServeHTTP(w, r)
				}
			}
			l.Answer(rule)
			rep := r.within(t)
			if name == "refused" {
				if rep.Copies[1].State == reach.Current {
					t.Errorf("the shelf is called current: %+v", rep.Copies[1])
				}
				if slugs, err := store.Objects(context.Background(), shelf.root); err != nil || len(slugs) > 0 {
					t.Errorf("a version came without its photos: %q, %v", slugs, err)
				}
			}
			l.Answer(nil)
			r.wantCurrent(r.within(t))
			for _, root := range []store.Root{past, shelf.root} {
				sound(t, root)
			}
		})
	}
}

// A link on which nothing moves any more ends the bucket's part of a round, and
// holds up no drive.
func TestRoundOverADeadLink(t *testing.T) {
	srv := s3test.Real(t)
	l := link.New(t, srv)
	r := newRanch(t, "shelf")
	r.behind(srv, l.Server(), 200*time.Millisecond)
	r.visit("North/Stake 0", "2019-06-21")
	l.Answer(func(w http.ResponseWriter, req *http.Request, next http.Handler) {
		if req.Method == http.MethodPut {
			l.Hold(req)
		}
		next.ServeHTTP(w, req)
	})
	rep := r.within(t)
	if rep.Copies[0].State != reach.Current || rep.Copies[1].State != reach.Unreachable {
		t.Errorf("%+v", rep.Copies)
	}
	l.Answer(nil)
	r.wantCurrent(r.within(t))
}

// The link is cut for good at 30 % of a first upload, and then the office
// burns down: what was reported as kept comes back from the bucket alone.
func TestCutForGood(t *testing.T) {
	for _, drives := range [][]string{nil, {"shelf"}} {
		t.Run(fmt.Sprint(len(drives), " drives"), func(t *testing.T) {
			t.Parallel()
			srv := s3test.Real(t)
			l := link.New(t, srv)
			r := newRanch(t, drives...)
			c, past := r.behind(srv, l.Server(), 5*time.Second)
			total := int64(0)
			for i := range 12 {
				for _, day := range []string{"2019-06-21", "2020-06-20"} {
					for _, name := range []string{"plot.jpg", "landscape.jpg", "notes.txt"} {
						text := strings.Repeat(fmt.Sprint(name, i, day), 800)
						r.write(fmt.Sprintf("North/Stake %d/%s/%s", i, day, name), text)
						total += int64(len(text))
					}
				}
			}
			var sent atomic.Int64
			l.Answer(func(w http.ResponseWriter, req *http.Request, next http.Handler) {
				if req.Method == http.MethodPut && strings.Contains(req.URL.Path, "/content/") && sent.Add(req.ContentLength) > total*3/10 {
					go l.Cut() // it waits for connections that wait for this answer
					link.Drop()
				}
				next.ServeHTTP(w, req)
			})
			rep := r.within(t)
			bucket := rep.Copies[len(drives)]
			if bucket.State != reach.Unreachable || bucket.Files == 0 || bucket.Files > 12*6/2 {
				t.Fatalf("the bucket: %+v", bucket)
			}
			kept, err := r.led.Committed(c.id)
			must(t, err)

			into := filepath.Join(t.TempDir(), "back")
			back, err := restore.Run(context.Background(), []restore.Source{{Name: "bucket", Root: past}}, restore.Options{Everything: true, Into: into})
			must(t, err)
			if back.Files < bucket.Files {
				t.Errorf("%d files were reported as kept; %d came back", bucket.Files, back.Files)
			}
			for _, f := range back.Failed { // the site whose upload was cut is named, and rightly
				if kept[f.Path] > 0 || len(back.Failed) > 1 {
					t.Errorf("%+v", f)
				}
			}
			for slug := range kept {
				site := strings.Replace(strings.TrimPrefix(slug, "north--"), "stake-", "Stake ", 1)
				for _, day := range []string{"2019-06-21", "2020-06-20"} {
					for _, name := range []string{"plot.jpg", "landscape.jpg", "notes.txt"} {
						path := filepath.Join("North", site, day, name)
						want, err := os.ReadFile(filepath.Join(r.folder, path))
						must(t, err)
						got, err := os.ReadFile(filepath.Join(into, path))
						if err != nil || string(got) != string(want) {
							t.Errorf("%s was reported as kept: %v", path, err)
						}
					}
				}
			}
			if len(kept) == 0 || len(kept) == 12 {
				t.Errorf("%d sites are kept: nothing is tested", len(kept))
			}

			// The link comes back after all: the rest follows.
			l.Answer(nil)
			l.Mend()
			r.wantCurrent(r.within(t))
			sound(t, past)
		})
	}
}
