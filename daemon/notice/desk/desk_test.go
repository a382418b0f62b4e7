package desk

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"linecamp/daemon/attention"
	"linecamp/daemon/config"
	"linecamp/daemon/event"
	"linecamp/daemon/notice"
	"linecamp/daemon/notice/post"
	"linecamp/manifest/words"
	"linecamp/verify"
)

// office is a desk whose letters, looks and calls are in this process.
type office struct {
	*Desk
	mu     sync.Mutex
	cfg    config.Archive
	wants  []attention.Item
	blind  error
	down   error
	came   []string // kinds of notices, with the hour
	alive  int
	looked int
}

func newOffice(t *testing.T, ctx context.Context) *office {
	o := &office{cfg: config.Archive{Name: "saltbush-draw", State: t.TempDir(), Notice: config.Notice{Webhook: "https://hook.example/", Alive: "https://alive.example/"}}}
	o.Desk = New(ctx, Options{
		Log: slog.New(slog.NewTextHandler(io.Discard, nil)),
		Words: func(n notice.Notice, _ words.Line) (string, string) {
			return string(n.Kind), strings.Join([]string{n.At.UTC().Format("02 15h"), string(n.Kind)}, " ")
		},
		look: func(context.Context, config.Archive, Options, int) ([]attention.Item, *notice.State, error) {
			o.mu.Lock()
			defer o.mu.Unlock()
			o.looked++
			return slices.Clone(o.wants), &notice.State{}, o.blind
		},
		ways: func(config.Notice) []post.Way {
			return []post.Way{{Name: "webhook", Send: func(_ context.Context, m post.Message) error {
				o.mu.Lock()
				defer o.mu.Unlock()
				if o.down == nil {
					o.came = append(o.came, m.Text)
				}
				return o.down
			}}}
		},
		alive: func(context.Context, config.Notice) error { o.with(func() { o.alive++ }); return nil },
	})
	o.Set([]config.Archive{o.cfg})
	return o
}

func (o *office) with(do func()) {
	o.mu.Lock()
	defer o.mu.Unlock()
	do()
}

// round tells of a round that ended with this.
func (o *office) round(wants ...attention.Item) {
	o.mu.Lock()
	o.wants = wants
	o.mu.Unlock()
	e := event.RoundEnded{Round: "mirror", Outcome: event.Well, Attention: wants}
	if len(wants) > 0 {
		e.Outcome = event.Wants
	}
	o.Take(event.Told{Archive: "saltbush-draw", Event: event.RoundBegan{Round: "mirror"}})
	o.Take(event.Told{Archive: "saltbush-draw", Event: e})
	synctest.Wait()
}

func (o *office) expect(t *testing.T, want ...string) {
	t.Helper()
	o.mu.Lock()
	defer o.mu.Unlock()
	if !slices.Equal(o.came, want) {
		t.Fatalf("at %s there came %q, want %q", time.Now().UTC().Format("02 15:04"), o.came, want)
	}
}

func pass(d time.Duration) { time.Sleep(d); synctest.Wait() } // in a synctest bubble

var unplugged = attention.Item{Kind: attention.CopyUnreachable, ID: "1", What: "shelf is out of reach."}

// Clocks in a synctest bubble begin at midnight UTC on January 1, 2000.
func TestWeekAtTheDesk(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, stop := context.WithCancel(t.Context())
		o := newOffice(t, ctx)
		o.round()
		pass(time.Hour)
		o.expect(t) // all is well, and the month's word comes in the next
		o.with(func() {
			if o.alive != 1 {
				t.Errorf("alive was called %d times after a good round", o.alive)
			}
		})

		pass(time.Hour) // 02h
		o.round(unplugged)
		o.expect(t) // not yet: a mend may follow
		pass(20 * time.Minute)
		o.expect(t, "01 02h wants")
		o.with(func() {
			if o.alive != 1 {
				t.Errorf("alive was called after a round that wants a person")
			}
		})
		o.round()
		pass(12 * time.Hour)
		o.expect(t, "01 02h wants") // the second of that day waits
		pass(12 * time.Hour)
		o.expect(t, "01 02h wants", "02 00h well-again")

		// New damage does not wait for tomorrow. A check and its mend are one notice.
		o.Take(event.Told{Archive: "saltbush-draw", Event: event.DamageFound{Copy: "shelf", Files: 1, First: []verify.Damage{{Path: "a"}}}})
		o.round(attention.Item{Kind: attention.Damage, What: "1 damaged file is on record."})
		pass(5 * time.Minute)
		o.round()
		pass(time.Hour)
		o.expect(t, "01 02h wants", "02 00h well-again", "02 02h well-again")

		// The server is down for three days: one notice, when it is back.
		o.with(func() { o.down = errors.New("it does not answer") })
		o.round(unplugged)
		pass(24 * time.Hour)
		o.round()
		pass(24 * time.Hour)
		o.round(unplugged)
		pass(24 * time.Hour)
		if since, why := notice.Unsent(o.cfg.State); why != "it does not answer" || time.Since(since) < 48*time.Hour {
			t.Errorf("unsent since %v: %q", since, why)
		}
		o.with(func() { o.down = nil })
		pass(4 * time.Hour)
		o.mu.Lock()
		defer o.mu.Unlock()
		if len(o.came) != 4 || !strings.HasSuffix(o.came[3], "wants") {
			t.Errorf("there came %q", o.came)
		}
		stop()
	})
}

// Where no round runs at all, the desk looks by itself once a day; that it cannot look
// is told too.
func TestSilenceIsLookedInto(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, stop := context.WithCancel(t.Context())
		o := newOffice(t, ctx)
		pass(time.Hour)
		o.mu.Lock()
		o.wants = []attention.Item{{Kind: attention.RoundOverdue, Round: "mirror", What: "No mirror round has run here."}}
		o.mu.Unlock()
		pass(25 * time.Hour)
		o.expect(t, "02 00h wants")
		o.mu.Lock()
		if o.looked > 4 {
			t.Errorf("it looked %d times within a day", o.looked)
		}
		o.wants, o.blind = nil, errors.New("the ledger is damaged")
		o.mu.Unlock()
		pass(25 * time.Hour)
		o.expect(t, "02 00h wants", "03 00h wants")
		o.mu.Lock()
		o.blind = nil
		o.mu.Unlock()
		pass(25 * time.Hour)
		o.expect(t, "02 00h wants", "03 00h wants", "04 00h well-again")
		stop()
		o.Wait()
	})
}

// A service that starts anew each hour tells nothing twice.
func TestRestartsRepeatNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		dir := t.TempDir()
		var came []string
		for range 60 {
			ctx, stop := context.WithCancel(t.Context())
			o := newOffice(t, ctx)
			o.Set(nil)
			o.cfg.State = dir
			o.Set([]config.Archive{o.cfg})
			o.round(unplugged)
			pass(time.Hour)
			came = append(came, o.came...)
			stop()
			o.Wait()
		}
		if len(came) != 1 {
			t.Errorf("there came %q", came)
		}
	})
}

func TestSettingsThatChangeTakeAnotherClerk(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, stop := context.WithCancel(t.Context())
		o := newOffice(t, ctx)
		first := o.clerks["saltbush-draw"]
		o.Set([]config.Archive{o.cfg})
		if o.clerks["saltbush-draw"] != first {
			t.Error("the same settings took another clerk")
		}
		o.cfg.Notice.Alive = ""
		o.Set([]config.Archive{o.cfg, {Name: "untold"}})
		if c := o.clerks["saltbush-draw"]; c == first || c.among != 2 || len(o.clerks) != 1 {
			t.Errorf("there are %d clerks", len(o.clerks))
		}
		o.Set(nil)
		if len(o.clerks) != 0 {
			t.Error("a clerk is left")
		}
		stop()
		o.Wait()
	})
}
