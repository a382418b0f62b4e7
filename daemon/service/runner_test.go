package service

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"os"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"linecamp/daemon/config"
	"linecamp/daemon/pool"
)

// book is a rounds that only takes notes. Inside a synctest bubble its time is
// the bubble's.
type book struct {
	mu     sync.Mutex
	lasts  map[string]time.Time
	broken map[string]bool          // the last round of this kind did not end
	takes  map[string]time.Duration // how long a round lasts
	fails  error
	began  map[string][]time.Time
	ended  map[string][]error
	closed bool
	back   time.Time        // when a drive comes back; zero for never
	fell   bool             // a bucket falls out of each round
	opens  int              // the hour at which a link opens each day that keeps something back; 0 for none
	now    func() time.Time // nil for the bubble's
	flaps  bool             // it goes at each round, and comes back after it
}

// returned is true from the moment the drive is back until a round met it.
func (b *book) Returned(context.Context) bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	return !b.back.IsZero() && !time.Now().Before(b.back) && (b.flaps || b.lasts[Mirror].Before(b.back))
}

func (b *book) Missed() []config.Copy { return nil }

func (b *book) Broke() bool { return b.fell }

// Opens is after the last round, as that of an archive is.
func (b *book) Opens() time.Time {
	b.mu.Lock()
	defer b.mu.Unlock()
	last := b.lasts[Mirror]
	if b.opens == 0 || last.IsZero() {
		return time.Time{}
	}
	y, m, d := last.Date()
	at := time.Date(y, m, d, b.opens, 0, 0, 0, time.UTC)
	if !at.After(last) {
		at = at.AddDate(0, 0, 1)
	}
	return at
}

func newBook() *book {
	return &book{lasts: map[string]time.Time{}, broken: map[string]bool{}, takes: map[string]time.Duration{}, began: map[string][]time.Time{}, ended: map[string][]error{}}
}

func (b *book) Last(kind string) (time.Time, bool, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.lasts[kind], !b.broken[kind], nil
}

func (b *book) Round(ctx context.Context, kind string) error {
	b.mu.Lock()
	at := time.Now()
	if b.now != nil {
		at = b.now()
	}
	b.began[kind] = append(b.began[kind], at)
	if b.fails == nil {
		b.lasts[kind], b.broken[kind] = at, false
	}
	takes, fails := b.takes[kind], b.fails
	b.mu.Unlock()
	err := fails
	select {
	case <-time.After(takes):
	case <-ctx.Done():
		err = context.Cause(ctx)
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.ended[kind] = append(b.ended[kind], err)
	return err
}

func (b *book) Close() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.closed = true
	return nil
}

func (b *book) times(kind string) []string {
	b.mu.Lock()
	defer b.mu.Unlock()
	out := []string{}
	for _, t := range b.began[kind] {
		out = append(out, t.Local().Format("02 15:04:05"))
	}
	return out
}

func quiet() *slog.Logger { return slog.New(slog.NewTextHandler(io.Discard, nil)) }

// schedule runs one archive for a while and returns what it did. A bubble
// begins at midnight UTC on 2000-01-01.
func schedule(t *testing.T, b *book, mirror, verify string, forTime time.Duration) {
	t.Helper()
	r := &runner{
		name: "ranch", open: func(context.Context) (rounds, error) { return b, nil },
		tables: map[string]Timetable{Mirror: table(t, mirror), Verify: table(t, verify)},
		log:    quiet(), now: func() time.Time { return time.Now().UTC() }, settle: 10 * time.Second, say: func(string) {},
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() { r.run(ctx); close(done) }()
	time.Sleep(forTime)
	cancel()
	<-done
	if !b.closed {
		t.Error("the archive was not closed")
	}
}

func local(t *testing.T) {
	t.Helper()
	was := time.Local
	time.Local = time.UTC
	t.Cleanup(func() { time.Local = was })
}

const never = "0 0 1 1 *"

func TestRoundsOnSchedule(t *testing.T) {
	local(t)
	midnight := time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		name  string
		line  string
		last  time.Time
		broke bool
		runs  time.Duration
		want  []string
	}{
		{"on time", "30 2 * * *", midnight.Add(-time.Hour), false, 27 * time.Hour, []string{"01 02:30:00", "02 02:30:00"}},
		{"missed while the machine was off", "30 2 * * *", midnight.AddDate(0, 0, -3), false, 3 * time.Hour, []string{"01 00:00:10", "01 02:30:00"}},
		{"missed many, made up for once", "0 * * * *", midnight.AddDate(0, 0, -9), false, 30 * time.Minute, []string{"01 00:00:10"}},
		{"never ran", "30 2 * * *", time.Time{}, false, time.Hour, []string{"01 00:00:10"}},
		{"broken off", "30 2 * * *", midnight.Add(-time.Hour), true, time.Hour, []string{"01 00:00:10"}},
		{"a minute ahead", "1 0 * * *", midnight.Add(-time.Minute), false, 90 * time.Second, []string{"01 00:01:00"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b := newBook()
				b.lasts[Mirror], b.broken[Mirror] = c.last, c.broke
				b.lasts[Verify] = time.Now()
				schedule(t, b, c.line, never, c.runs)
				if got := b.times(Mirror); !slices.Equal(got, c.want) {
					t.Errorf("rounds began %v, want %v", got, c.want)
				}
			})
		})
	}
}

func TestMirrorGoesOnDuringLongVerify(t *testing.T) {
	local(t)
	synctest.Test(t, func(t *testing.T) {
		b := newBook()
		b.lasts[Mirror], b.lasts[Verify] = time.Now(), time.Now()
		b.takes[Verify] = 50 * time.Hour
		schedule(t, b, "30 2 * * *", "0 1 * * *", 60*time.Hour)
		if got, want := b.times(Mirror), []string{"01 02:30:00", "02 02:30:00", "03 02:30:00"}; !slices.Equal(got, want) {
			t.Errorf("mirror rounds began %v, want %v", got, want)
		}
		// The next verification was due while the first still ran: it comes next.
		if got, want := b.times(Verify), []string{"01 01:00:00", "03 03:00:00"}; !slices.Equal(got, want) {
			t.Errorf("verify rounds began %v, want %v", got, want)
		}
	})
}

func TestDriveComesBack(t *testing.T) {
	local(t)
	synctest.Test(t, func(t *testing.T) {
		b := newBook()
		b.lasts[Mirror], b.lasts[Verify] = time.Now(), time.Now()
		b.back = time.Now().Add(9*time.Hour + 30*time.Second)
		schedule(t, b, "30 2 * * *", never, 27*time.Hour)
		if got, want := b.times(Mirror), []string{"01 02:30:00", "01 09:01:00", "02 02:30:00"}; !slices.Equal(got, want) {
			t.Errorf("mirror rounds began %v, want %v", got, want)
		}
		if got := b.times(Verify); len(got) > 0 {
			t.Errorf("verify rounds began %v", got)
		}
	})
}

// It is brought what it lacks at once, also right after a round; one that comes
// and goes sets off no round after round.
// TestRoundComesWhenALinkOpens: hours that begin and end between two rounds of the
// schedule are used, once each; and not where nothing is kept back.
func TestRoundComesWhenALinkOpens(t *testing.T) {
	local(t)
	for _, c := range []struct {
		opens int
		want  []string
	}{
		{22, []string{"01 00:00:10", "01 02:30:00", "01 22:00:10", "02 02:30:00", "02 22:00:00"}},
		{0, []string{"01 00:00:10", "01 02:30:00", "02 02:30:00"}},
	} {
		synctest.Test(t, func(t *testing.T) {
			b := newBook()
			b.opens = c.opens
			schedule(t, b, "30 2 * * *", never, 47*time.Hour)
			got := b.times(Mirror)
			for i := range got {
				got[i] = got[i][:len("01 02:3")] // within ten minutes
			}
			for i := range c.want {
				c.want[i] = c.want[i][:len("01 02:3")]
			}
			if !slices.Equal(got, c.want) {
				t.Errorf("rounds at %v, want %v", got, c.want)
			}
		})
	}
}

// TestRoundIsTriedAgainAfterABucketFellOutOfIt: soon, and then less and less often until
// the next comes on time.
func TestRoundIsTriedAgainAfterABucketFellOutOfIt(t *testing.T) {
	local(t)
	synctest.Test(t, func(t *testing.T) {
		b := newBook()
		b.fell = true
		schedule(t, b, "30 2 * * *", never, 29*time.Hour)
		var got []string
		for _, at := range b.times(Mirror) {
			got = append(got, at[:len("01 02:3")]) // within ten minutes
		}
		want := []string{"01 00:0", "01 00:3", "01 01:3", "01 02:3", "01 03:0", "01 04:0", "01 06:0", "01 10:0", "01 18:0", "02 02:3", "02 03:0", "02 04:0"}
		if !slices.Equal(got, want) {
			t.Errorf("rounds at %q, want %q", got, want)
		}
	})
}

func TestDriveComesBackRightAfterARound(t *testing.T) {
	local(t)
	for name, c := range map[string]struct {
		flaps bool
		want  []string
	}{
		"stays":          {false, []string{"01 02:30:00", "01 02:33:00"}},
		"comes and goes": {true, []string{"01 02:30:00", "01 02:33:00", "01 02:48:00", "01 03:03:00"}},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b := newBook()
				b.lasts[Mirror], b.lasts[Verify] = time.Now(), time.Now()
				b.back, b.flaps = time.Now().Add(2*time.Hour+32*time.Minute+30*time.Second), c.flaps
				schedule(t, b, "30 2 * * *", never, 3*time.Hour+10*time.Minute)
				if got := b.times(Mirror); !slices.Equal(got, c.want) {
					t.Errorf("mirror rounds began %v, want %v", got, c.want)
				}
			})
		})
	}
}

// A slow copy must not keep new photos from the others: the next round cuts
// the catching up short and carries on.
func TestNextRoundCutsCatchingUpShort(t *testing.T) {
	local(t)
	synctest.Test(t, func(t *testing.T) {
		b := newBook()
		b.lasts[Mirror], b.lasts[Verify] = time.Now(), time.Now()
		b.takes[Mirror] = 100 * time.Hour
		schedule(t, b, "30 2 * * *", never, 51*time.Hour)
		if got, want := b.times(Mirror), []string{"01 02:30:00", "02 02:30:00", "03 02:30:00"}; !slices.Equal(got, want) {
			t.Errorf("mirror rounds began %v, want %v", got, want)
		}
		for i, want := range []error{errNextRound, errNextRound, context.Canceled} {
			if got := b.ended[Mirror][i]; !errors.Is(got, want) {
				t.Errorf("round %d ended with %v, want %v", i, got, want)
			}
		}
	})
}

// A round that fails before the ledger knows of it must not run in a loop.
func TestFailingRoundWaitsForItsTime(t *testing.T) {
	local(t)
	synctest.Test(t, func(t *testing.T) {
		b := newBook()
		b.fails = errors.New("the state folder is full")
		b.lasts[Verify] = time.Now()
		schedule(t, b, "30 2 * * *", never, 27*time.Hour)
		if got, want := b.times(Mirror), []string{"01 00:00:10", "01 02:30:00", "02 02:30:00"}; !slices.Equal(got, want) {
			t.Errorf("rounds began %v, want %v", got, want)
		}
	})
}

func TestOpenIsTriedAgain(t *testing.T) {
	local(t)
	synctest.Test(t, func(t *testing.T) {
		b, tries := newBook(), 0
		b.lasts[Verify] = time.Now()
		r := &runner{
			name: "ranch", tables: map[string]Timetable{Mirror: table(t, "30 2 * * *")},
			open: func(context.Context) (rounds, error) {
				if tries++; tries < 3 {
					return nil, errors.New("the ledger is damaged")
				}
				return b, nil
			},
			log: quiet(), now: time.Now, settle: 10 * time.Second, say: func(string) {},
		}
		ctx, cancel := context.WithTimeout(t.Context(), time.Hour)
		defer cancel()
		r.run(ctx)
		if got, want := b.times(Mirror), []string{"01 00:20:00"}; !slices.Equal(got, want) {
			t.Errorf("rounds began %v, want %v", got, want)
		}
	})
}

// shelf is the server under test, with configs as plain values.
type shelf struct {
	*server
	mu    sync.Mutex
	now   []config.Archive
	errs  []error
	books map[string][]*book
	hup   chan os.Signal
}

func newShelf(archives ...config.Archive) *shelf {
	s := &shelf{now: archives, books: map[string][]*book{}, hup: make(chan os.Signal, 1)}
	s.server = &server{
		load: func() ([]config.Archive, []error) {
			s.mu.Lock()
			defer s.mu.Unlock()
			return slices.Clone(s.now), s.errs
		},
		open: func(cfg config.Archive) (Archive, error) {
			s.mu.Lock()
			defer s.mu.Unlock()
			b := newBook()
			b.lasts[Mirror], b.lasts[Verify] = time.Now(), time.Now()
			s.books[cfg.Name] = append(s.books[cfg.Name], b)
			return b, nil
		},
		log: quiet(), now: func() time.Time { return time.Now() }, settle: 10 * time.Second, hup: s.hup, crowd: newCrowd(pool.New(pool.Settings{}), time.Now),
	}
	return s
}

func (s *shelf) reloadWith(errs []error, archives ...config.Archive) {
	s.mu.Lock()
	s.now, s.errs = archives, errs
	s.mu.Unlock()
	s.hup <- os.Interrupt // any signal: the channel is what counts
	synctest.Wait()
}

func nightly(name, mirror string) config.Archive {
	return config.Archive{Name: name, Schedule: config.Schedule{Mirror: mirror, Verify: never}}
}

func TestReloadTouchesOnlyWhatChanged(t *testing.T) {
	local(t)
	synctest.Test(t, func(t *testing.T) {
		s := newShelf(nightly("a", "0 3 * * *"), nightly("b", "0 3 * * *"), nightly("c", "0 3 * * *"))
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error)
		go func() { done <- s.serve(ctx) }()
		synctest.Wait()
		// a stays, b gets another time, c's config is at fault, d is new.
		s.reloadWith([]error{errors.New("c.toml:3: unknown key")}, nightly("a", "0 3 * * *"), nightly("b", "0 5 * * *"), nightly("d", "0 4 * * *"))
		time.Sleep(6 * time.Hour)
		synctest.Wait()
		for _, c := range []struct {
			name   string
			opened int
			want   []string // rounds of the one opened last
			closed bool     // the first one
		}{
			{"a", 1, []string{"01 03:00:00"}, false},
			{"b", 2, []string{"01 05:00:00"}, true},
			{"c", 1, []string{}, true},
			{"d", 1, []string{"01 04:00:00"}, false},
		} {
			books := s.books[c.name]
			if len(books) != c.opened {
				t.Errorf("%s was opened %d times, want %d", c.name, len(books), c.opened)
				continue
			}
			if books[0].closed != c.closed {
				t.Errorf("%s: the first was closed: %v, want %v", c.name, books[0].closed, c.closed)
			}
			if got := books[len(books)-1].times(Mirror); !slices.Equal(got, c.want) {
				t.Errorf("%s: rounds began %v, want %v", c.name, got, c.want)
			}
		}
		// c is put right.
		s.reloadWith(nil, nightly("a", "0 3 * * *"), nightly("c", "30 6 * * *"))
		time.Sleep(time.Hour)
		synctest.Wait()
		if books := s.books["c"]; len(books) != 2 || !slices.Equal(books[1].times(Mirror), []string{"01 06:30:00"}) {
			t.Errorf("c was not taken up again")
		}
		if !s.books["d"][0].closed {
			t.Error("d went on without a config")
		}
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
		if !s.books["a"][0].closed {
			t.Error("a was not closed at the end")
		}
	})
}

// A round that does not listen is left behind; the daemon still stops in time.
func TestStopsWithinFiveSeconds(t *testing.T) {
	local(t)
	synctest.Test(t, func(t *testing.T) {
		s := newShelf(nightly("a", "0 3 * * *"))
		deaf := make(chan struct{})
		s.open = func(config.Archive) (Archive, error) { <-deaf; return newBook(), nil }
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error)
		go func() { done <- s.serve(ctx) }()
		synctest.Wait()
		stopped := time.Now()
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
		if took := time.Since(stopped); took >= 5*time.Second {
			t.Errorf("it took %v", took)
		}
		close(deaf)
	})
}

func TestNothingToServe(t *testing.T) {
	s := newShelf()
	bad := errors.New("ranch.toml:3: unknown key")
	s.errs = []error{bad}
	if err := s.serve(t.Context()); !errors.Is(err, ErrNothingToDo) || !errors.Is(err, bad) {
		t.Errorf("serve returned %v", err)
	}
}

// A machine that slept for a year has one round to catch up with, not 365, whether the
// service was started anew or woke up with the machine. A clock that was set back by a
// year stops no round.
func TestAMachineThatSleptForAYear(t *testing.T) {
	local(t)
	for name, c := range map[string]struct {
		jump time.Duration // of the clock on the wall, an hour after the start
		want int
	}{
		"switched off":        {0, 2 + 2},
		"asleep":              {365 * 24 * time.Hour, 2 + 1 + 2},
		"its clock set back":  {-365 * 24 * time.Hour, 2 + 2},
		"a leap day included": {366 * 24 * time.Hour, 2 + 1 + 2},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b := newBook()
				began := time.Now()
				jumped := func() time.Duration {
					if time.Since(began) < 27*time.Hour {
						return 0
					}
					return c.jump
				}
				b.now = func() time.Time { return time.Now().UTC().Add(jumped()) }
				b.lasts[Mirror] = began.AddDate(-1, 0, 0)
				r := &runner{
					name: "ranch", open: func(context.Context) (rounds, error) { return b, nil },
					tables: map[string]Timetable{Mirror: table(t, "30 2 * * *")},
					log:    quiet(), now: b.now, settle: 10 * time.Second, say: func(string) {},
				}
				ctx, cancel := context.WithCancel(t.Context())
				done := make(chan struct{})
				go func() { r.run(ctx); close(done) }()
				time.Sleep(3 * 24 * time.Hour)
				cancel()
				<-done
				if got := b.times(Mirror); len(got) != c.want {
					t.Errorf("rounds at %v, want %d", got, c.want)
				}
			})
		})
	}
}
