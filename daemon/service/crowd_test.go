package service

import (
	"context"
	"errors"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"linecamp/daemon/config"
	"linecamp/daemon/pool"
)

// guest counts how many of its kind are open, and at a round, at the same time.
type guest struct {
	open, atWork, mostOpen, mostAtWork *atomic.Int32
	gate                               <-chan struct{}
}

func raise(now, most *atomic.Int32) {
	n := now.Add(1)
	for was := most.Load(); n > was && !most.CompareAndSwap(was, n); was = most.Load() {
	}
}

func (g guest) Last(string) (time.Time, bool, error) { return time.Time{}, true, nil }
func (g guest) Missed() []config.Copy                { return nil }
func (g guest) Broke() bool                          { return false }
func (g guest) Opens() time.Time                     { return time.Time{} }
func (g guest) Close() error                         { g.open.Add(-1); return nil }
func (g guest) Round(ctx context.Context, _ string) error {
	raise(g.atWork, g.mostAtWork)
	defer g.atWork.Add(-1)
	select {
	case <-g.gate:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// However many archives there are, only so many rounds run at once, and only so
// many archives are open; every round has its turn.
func TestManyArchivesKeepWithinTheLimits(t *testing.T) {
	const many, atOnce, open = 181, 8, 12
	var nOpen, atWork, mostOpen, mostAtWork atomic.Int32
	gate := make(chan struct{})
	c := newCrowd(pool.New(pool.Settings{Slots: atOnce}), time.Now)
	var members []rounds
	for range many {
		m, err := c.join(t.Context(), func() (Archive, error) {
			raise(&nOpen, &mostOpen)
			return guest{&nOpen, &atWork, &mostOpen, &mostAtWork, gate}, nil
		})
		if err != nil {
			t.Fatal(err)
		}
		members = append(members, m)
	}
	var all sync.WaitGroup
	for _, m := range members {
		all.Go(func() {
			for range 3 {
				m.Returned(t.Context())
			}
			if _, _, err := m.Last("mirror"); err != nil {
				t.Error(err)
			}
			if err := m.Round(t.Context(), "mirror"); err != nil {
				t.Error(err)
			}
		})
	}
	for range many {
		gate <- struct{}{} // one round after the other comes to its end
	}
	all.Wait()
	if got := mostAtWork.Load(); got > atOnce || got == 0 {
		t.Errorf("%d rounds at once, want %d at most", got, atOnce)
	}
	if got := mostOpen.Load(); got > open || got == 0 {
		t.Errorf("%d archives open at once, want %d at most", got, open)
	}
	for _, m := range members {
		if err := m.Close(); err != nil {
			t.Error(err)
		}
	}
	if got := nOpen.Load(); got != 0 {
		t.Errorf("%d are left open", got)
	}
}

func TestARoundThatWaitsForItsTurnEndsWithItsContext(t *testing.T) {
	var n, most atomic.Int32
	c := newCrowd(pool.New(pool.Settings{Slots: 1}), time.Now)
	m, err := c.join(t.Context(), func() (Archive, error) { return guest{&n, &n, &most, &most, make(chan struct{})}, nil })
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 2)
	for range 2 {
		go func() { done <- m.Round(ctx, "mirror") }()
	}
	cancel()
	for range 2 {
		if err := <-done; !errors.Is(err, context.Canceled) {
			t.Errorf("it ended with %v", err)
		}
	}
}

// An archive of which every kind of round hangs keeps one place. All others have all
// their rounds meanwhile.
func TestAnArchiveThatHangsTakesOnePlace(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := newCrowd(pool.New(pool.Settings{Slots: 2}), time.Now)
		var n, most, none atomic.Int32
		never, at := make(chan struct{}), make(chan struct{})
		close(at)
		ctx, stop := context.WithCancel(t.Context())
		var hanging, others sync.WaitGroup
		join := func(gate chan struct{}, open *atomic.Int32) rounds {
			m, err := c.join(ctx, func() (Archive, error) { return guest{open, open, &most, &most, gate}, nil })
			if err != nil {
				t.Fatal(err)
			}
			return m
		}
		stuck := join(never, &none)
		for _, kind := range Kinds {
			hanging.Go(func() { stuck.Round(ctx, kind) })
		}
		synctest.Wait()
		for range 40 {
			m := join(at, &n)
			for _, kind := range Kinds {
				others.Go(func() {
					if err := m.Round(ctx, kind); err != nil {
						t.Error(err)
					}
				})
			}
		}
		others.Wait()
		if got := none.Load(); got != int32(len(Kinds)) {
			t.Errorf("the one that hangs has %d rounds under way", got)
		}
		stop()
		hanging.Wait()
	})
}

// Rounds of one archive that begin at the same moment share one place, and give it back.
func TestRoundsThatBeginTogetherLoseNoPlace(t *testing.T) {
	p := pool.New(pool.Settings{Slots: 2})
	m := &member{crowd: newCrowd(p, time.Now)}
	for range 2 { // both get a place before either is counted
		if err := p.Enter(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	m.came()
	m.came()
	if free := p.Free(); free != 1 {
		t.Errorf("at work, %d of 2 places are free", free)
	}
	m.end()
	m.end()
	if free := p.Free(); free != 2 {
		t.Fatalf("at the end, %d of 2 places are free", free)
	}
	for n := range 20_000 {
		var both, begun sync.WaitGroup
		begun.Add(2)
		for range 2 {
			both.Go(func() {
				err := m.begin(t.Context())
				begun.Done()
				begun.Wait() // so that neither has ended when the other begins
				if err != nil {
					t.Error(err)
				}
				m.end()
			})
		}
		both.Wait()
		if free := p.Free(); free != 2 {
			t.Fatalf("after %d times, %d of 2 places are free", n+1, free)
		}
	}
}

// Looking each minute whether a drive is back opens no state.
func TestLookingForDrivesOpensNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := newCrowd(pool.New(pool.Settings{Slots: 1}), time.Now)
		opened := 0
		var n, most atomic.Int32
		var members []rounds
		for range 20 {
			m, err := c.join(t.Context(), func() (Archive, error) { opened++; return guest{&n, &n, &most, &most, nil}, nil })
			if err != nil {
				t.Fatal(err)
			}
			members = append(members, m)
		}
		for range 12 {
			for _, m := range members {
				m.Returned(t.Context())
			}
			time.Sleep(time.Minute)
		}
		if opened > 2*len(members) {
			t.Errorf("the states of %d archives were opened %d times", len(members), opened)
		}
	})
}

func TestAnArchiveThatCannotBeOpenedTakesNoRoom(t *testing.T) {
	c := newCrowd(pool.New(pool.Settings{Slots: 1}), time.Now)
	bad := errors.New("no")
	for range 3 {
		if _, err := c.join(t.Context(), func() (Archive, error) { return nil, bad }); !errors.Is(err, bad) {
			t.Fatalf("joined with %v", err)
		}
	}
}

// Rounds of several archives are spread from the time of the settings on, the
// same way each night; one archive alone keeps to the minute.
func TestRoundsAreSpread(t *testing.T) {
	night, err := parseTimetable("30 2 * * *")
	if err != nil {
		t.Fatal(err)
	}
	often, err := parseTimetable("*/15 * * * *")
	if err != nil {
		t.Fatal(err)
	}
	noon := time.Date(2026, 7, 2, 12, 0, 0, 0, time.UTC)
	first := time.Date(2026, 7, 3, 2, 30, 0, 0, time.UTC)
	if got := night.spread("saltbush-draw", 1).next(noon); !got.Equal(first) {
		t.Errorf("alone: %v", got)
	}
	perMinute := map[time.Time]int{}
	for i := range 181 {
		name := "ranch-" + string(rune('a'+i%26)) + time.Duration(i).String()
		tt := night.spread(name, 181)
		at := tt.next(noon)
		if at.Before(first) || at.After(first.Add(spreadOver)) {
			t.Fatalf("%s at %v", name, at)
		}
		if again := tt.next(at); !again.Equal(at.AddDate(0, 0, 1)) {
			t.Fatalf("%s at %v and then at %v", name, at, again)
		}
		if due := tt.due(at.Add(-time.Hour*24), at.Add(-time.Minute)); !due.Equal(at) {
			t.Fatalf("%s is due at %v, not %v", name, due, at)
		}
		perMinute[at.Truncate(time.Minute)]++
		quarter := often.spread(name, 181).next(noon)
		if quarter.Before(noon) || quarter.After(noon.Add(23*time.Minute)) {
			t.Fatalf("%s, each quarter of an hour: %v", name, quarter)
		}
	}
	for at, n := range perMinute {
		if n > 10 {
			t.Errorf("%d rounds at %v", n, at)
		}
	}
}
