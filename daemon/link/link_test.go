package link

import (
	"context"
	"errors"
	"io"
	"net"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"linecamp/daemon/config"
	"linecamp/daemon/config/hours"
	"linecamp/daemon/ledger"
)

type desk struct {
	*Link
	at time.Time
	l  *ledger.Ledger
}

// linkWith is a link with settings as a person writes them, at a day of 2026.
func linkWith(t *testing.T, open, rate, allowance, at string) *desk {
	t.Helper()
	c := config.Copy{Name: "bucket", Kind: config.KindS3, ID: t.Name() + "-" + at}
	var err error
	fail := func(err error) {
		if err != nil {
			t.Fatal(err)
		}
	}
	if open != "" {
		s, err := hours.Parse(open)
		fail(err)
		c.Link.Hours = hours.Hours{s}
	}
	if rate != "" {
		c.Link.Rate, err = config.ParseRate(rate)
		fail(err)
	}
	if allowance != "" {
		c.Link.Allowance, err = config.ParseAllowance(allowance)
		fail(err)
	}
	c.Reread, err = config.ParseAllowance(config.DefaultReread)
	fail(err)
	d := &desk{}
	d.l, err = ledger.Open(t.TempDir())
	fail(err)
	t.Cleanup(func() { d.l.Close() })
	d.on(t, at)
	d.Link = Of(c, d.l, func() time.Time { return d.at })
	fail(d.Born(d.at))
	return d
}

func (d *desk) on(t *testing.T, at string) {
	t.Helper()
	var err error
	if d.at, err = time.ParseInLocation("2006-01-02 15:04", "2026-"+at, time.Local); err != nil {
		t.Fatal(err)
	}
}

// goes has so many million bytes gone over the link, packets included.
func (d *desk) goes(t *testing.T, mega int64) {
	t.Helper()
	d.count(int(mega * 1e6 / (packets + 1) * packets))
	if err := d.Flush(); err != nil {
		t.Fatal(err)
	}
}

func (d *desk) left(t *testing.T, want int64) {
	t.Helper()
	got, err := d.Left()
	if err != nil || (got-want*1e6) > 1000 || (got-want*1e6) < -1000 {
		t.Errorf("on %v there are %d bytes left (%v), want %d MB", d.at, got, err, want)
	}
}

func TestAllowanceIsOfTheMonth(t *testing.T) {
	d := linkWith(t, "", "", "1000 MB/month", "07-01 00:00")
	d.left(t, 900) // a tenth is left to rereads
	d.goes(t, 300)
	d.left(t, 600)
	if err := d.l.Spend(d.id, 57_142_857, d.at); err != nil { // of the 300
		t.Fatal(err)
	}
	d.left(t, 660)
	if n, err := d.Rereads(); err != nil || n < 660e6 || n > 670e6 {
		t.Errorf("%d bytes may be read again (%v)", n, err)
	}
	if err := d.Start(700e6); !errors.Is(err, ErrHeld) {
		t.Errorf("a version that does not fit: %v", err)
	}
	if err := d.Start(600e6); err != nil {
		t.Errorf("one that fits: %v", err)
	}
	if err := d.Start(900e6); err != nil {
		t.Errorf("one that is larger than all a month leaves: %v", err)
	}
	d.goes(t, 661)
	if err := d.May(); !errors.Is(err, ErrHeld) {
		t.Errorf("with nothing left: %v", err)
	}
	if err := d.Start(5000e6); !errors.Is(err, ErrHeld) {
		t.Errorf("the large one with nothing left: %v", err)
	}
	d.on(t, "08-01 00:00")
	d.left(t, 900)
}

// TestClockSetBackGivesNothing: neither within the month, nor over its edge and again.
func TestClockSetBackGivesNothing(t *testing.T) {
	d := linkWith(t, "", "", "1000 MB/month", "06-01 00:00")
	d.on(t, "07-10 12:00")
	d.goes(t, 700)
	d.left(t, 200)
	d.on(t, "06-25 12:00")
	d.left(t, 200)
	d.goes(t, 100)
	d.left(t, 100)
	d.on(t, "07-01 00:00")
	d.left(t, 100)
	d.on(t, "07-10 12:00")
	d.left(t, 100)
	d.on(t, "08-01 00:00")
	d.left(t, 900)
}

// TestClockThatRanAheadIsForgiven: when it is right again, the next month is a new one.
func TestClockThatRanAheadIsForgiven(t *testing.T) {
	d := linkWith(t, "", "", "1000 MB/month", "06-01 00:00")
	d.on(t, "12-24 12:00")
	d.goes(t, 900)
	d.left(t, 0)
	d.on(t, "06-10 12:00")
	d.left(t, 0)
	d.on(t, "07-01 00:00")
	d.left(t, 900)
	d.goes(t, 100)
	d.on(t, "07-20 00:00")
	d.left(t, 800)
}

func TestLostLedgerAssumesTheDaysThatAreOver(t *testing.T) {
	for _, c := range []struct {
		born string
		left int64
	}{{"2026-04-30 00:00", 600}, {"2026-06-05 00:00", 733}, {"2026-06-10 00:00", 900}} {
		d := linkWith(t, "", "", "1000 MB/month", "06-10 00:00") // born on that day
		fresh, err := ledger.Open(t.TempDir())
		if err != nil {
			t.Fatal(err)
		}
		defer fresh.Close()
		d.ledger = fresh
		born, _ := time.ParseInLocation("2006-01-02 15:04", c.born, time.Local)
		if err := d.Born(born); err != nil {
			t.Fatal(err)
		}
		left, err := d.Left()
		if err != nil || left/1e6 < c.left-1 || left/1e6 > c.left+1 {
			t.Errorf("a copy that exists since %s has %d MB left (%v), want %d", c.born, left/1e6, err, c.left)
		}
		if err := d.Born(born); err != nil { // once, not each time
			t.Fatal(err)
		}
		if again, _ := d.Left(); again != left {
			t.Errorf("opened again it has %d", again)
		}
	}
}

func TestNarrowLinkTakesFewFilesAtOnce(t *testing.T) {
	for rate, want := range map[string]int{"": 4, "1 Mbit/s": 1, "2 Mbit/s": 1, "4 Mbit/s": 2, "80 Mbit/s": 4} {
		if got := linkWith(t, "", rate, "", "07-01 12:00").AtOnce(); got != want {
			t.Errorf("%q: %d at once, want %d", rate, got, want)
		}
	}
	var none *Link
	if none.AtOnce() != 4 {
		t.Error("a link without limits is narrow")
	}
}

func TestHoursKeepBack(t *testing.T) {
	d := linkWith(t, "22:00-06:00", "", "", "07-01 12:00")
	if err := d.May(); !errors.Is(err, ErrHeld) || err.Error() != "the link's limits keep it back until 22:00: its hours are 22:00-06:00" {
		t.Error(err)
	}
	d.on(t, "07-01 22:00")
	if err := d.Start(1 << 40); err != nil {
		t.Error(err)
	}
	var none *Link
	if none.May() != nil || none.Start(1) != nil || none.Flush() != nil || none.IsLimited() {
		t.Error("a copy without a link has limits")
	}
}

func TestOutlook(t *testing.T) {
	for _, c := range []struct {
		name, hours, rate, allowance, at string
		mega                             int64
		days                             int
		nights                           bool
	}{
		// 8 hours at 1 Mbit/s are 3,600 MB, packets included.
		{"nights", "22:00-06:00", "1 Mbit/s", "", "07-01 12:00", 12_400, 4, true},
		{"narrower", "22:00-06:00", "400 kbit/s", "", "07-01 12:00", 12_400, 10, true},
		{"days", "", "1 Mbit/s", "", "07-01 00:00", 12_400, 2, false},
		{"within the hour", "22:00-06:00", "8 Mbit/s", "", "07-01 22:00", 10, 1, true},
		{"the allowance", "", "", "10 GB/month", "07-01 12:00", 12_400, 31, false},
		{"both", "22:00-06:00", "1 Mbit/s", "10 GB/month", "07-01 12:00", 12_400, 32, true},
		{"never", "", "", "10 MB/month", "07-01 12:00", 12_400, longest + 1, false},
		{"nothing tells", "22:00-06:00", "", "", "07-01 12:00", 12_400, 0, true},
	} {
		d := linkWith(t, c.hours, c.rate, c.allowance, c.at)
		o, err := d.Outlook(c.mega * 1e6)
		if err != nil || o.Days != c.days || o.Nights != c.nights {
			t.Errorf("%s: %+v %v, want %d days", c.name, o, err, c.days)
		}
	}
	if o, err := linkWith(t, "", "", "", "07-01 12:00").Outlook(1); o != nil || err != nil {
		t.Errorf("without limits: %+v %v", o, err)
	}
}

// TestPaceIsSharedAndSmooth has two connections send side by side: together they take
// the time that the rate allows, and no second has more than its bytes and the credit.
func TestPaceIsSharedAndSmooth(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		const rate, each = 100_000, 500_000
		l := &Link{link: config.Link{Rate: config.Rate{Bytes: rate}}, now: time.Now, pace: &pace{rate: rate}}
		began := time.Now()
		var seconds [64]atomic.Int64
		done := make(chan struct{}, 2)
		for range 2 {
			near, far := net.Pipe()
			go func() {
				defer near.Close()
				if n, err := l.Conn(near).Write(make([]byte, each)); n != each || err != nil {
					t.Errorf("sent %d: %v", n, err)
				}
			}()
			go func() {
				b := make([]byte, 1<<20)
				for {
					n, err := far.Read(b)
					seconds[int(time.Since(began).Seconds())].Add(int64(n))
					if err != nil {
						done <- struct{}{}
						return
					}
				}
			}()
		}
		<-done
		<-done
		if took := time.Since(began).Seconds(); took < 9.5 || took > 10.5 {
			t.Errorf("1 MB at 100 kB/s took %.1f s", took)
		}
		for i := range seconds {
			if n := seconds[i].Load(); n > rate*3/2 {
				t.Errorf("second %d had %d bytes", i, n)
			}
		}
	})
}

// TestCloseEndsTheWait: a request that is given up closes its connection.
func TestCloseEndsTheWait(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := &Link{link: config.Link{Rate: config.Rate{Bytes: 1000}}, now: time.Now, pace: &pace{rate: 1000}}
		near, far := net.Pipe()
		go io.Copy(io.Discard, far)
		c := l.Conn(near)
		began := time.Now()
		time.AfterFunc(time.Second, func() { c.Close() })
		if _, err := c.Write(make([]byte, 100_000)); err == nil || time.Since(began) > 2*time.Second {
			t.Errorf("ended after %v: %v", time.Since(began), err)
		}
		far.Close()
		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		if l.pace.let(ctx, 1<<20) == nil {
			t.Error("waited for somebody who is gone")
		}
	})
}

// TestAllLinksTogether has two buckets without limits of their own: both go no faster
// together than the machine's limit.
func TestAllLinksTogether(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		LimitAll(100_000)
		defer LimitAll(0)
		defer func() { all.free = time.Time{} }()
		began := time.Now()
		done := make(chan error, 2)
		for _, id := range []string{"together-1", "together-2"} {
			l := &Link{now: time.Now, pace: paceOf(id, 0)}
			here, there := net.Pipe()
			go io.Copy(io.Discard, there)
			go func() {
				c := l.Conn(here)
				_, err := c.Write(make([]byte, 500_000))
				done <- errors.Join(err, c.Close())
			}()
		}
		for range 2 {
			if err := <-done; err != nil {
				t.Error(err)
			}
		}
		if took := time.Since(began); took < 9*time.Second || took > 11*time.Second {
			t.Errorf("a million bytes took %v", took)
		}
	})
}
