package notice

import (
	"encoding/json"
	"fmt"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"linecamp/daemon/attention"
	"linecamp/daemon/event"
	"linecamp/verify"
)

// office is a book, the mail server it is sent through, and all that came through.
type office struct {
	t interface {
		Fatal(...any)
		Fatalf(string, ...any)
	}
	book *Book
	now  time.Time
	up   bool
	in   []Notice
	// lastDamage is when damage was found last.
	lastDamage time.Time
	restarts   bool
}

const mail = "mail"

// look is one turn of the service: what is due is sent, if the server answers.
func (o *office) look() {
	if o.restarts {
		b, err := json.Marshal(o.book)
		if err != nil {
			o.t.Fatal(err)
		}
		o.book = &Book{}
		if err := json.Unmarshal(b, o.book); err != nil {
			o.t.Fatal(err)
		}
		o.book.Use(o.now, mail)
	}
	n, due := o.book.Due(mail, o.now)
	switch {
	case !due:
	case !o.up:
		o.book.Failed(mail, "it does not answer", o.now)
	default:
		o.book.Sent(mail, n, o.now)
		o.receive(n)
	}
}

// receive holds a notice against what it may say, and when it may come.
func (o *office) receive(n Notice) {
	if k := len(o.in); k > 0 && day(o.in[k-1].At) == day(n.At) && o.lastDamage.Before(o.in[k-1].At) {
		o.t.Fatalf("two notices on %s without new damage:\n%+v\n%+v", day(n.At), o.in[k-1], n)
	}
	if (len(n.New)+len(n.Standing) > 0) != (n.Kind == Wants) {
		o.t.Fatalf("a notice of kind %s tells of %d troubles", n.Kind, len(n.New)+len(n.Standing))
	}
	if n.Kind == WellAgain && len(n.Ended)+n.LeftOut+len(n.Damage) == 0 {
		o.t.Fatal("it is well again, after nothing")
	}
	o.in = append(o.in, n)
}

// wait lets time pass, with a turn of the service every two hours.
func (o *office) wait(d time.Duration) {
	for end := o.now.Add(d); o.now.Before(end); {
		o.now = o.now.Add(min(2*time.Hour, end.Sub(o.now)))
		o.look()
	}
}

// tells reports whether a notice tells of a trouble, in whatever way.
func tells(n Notice, k string) bool {
	is := func(i attention.Item) bool { return key(i) == k }
	return slices.ContainsFunc(n.New, is) || slices.ContainsFunc(n.Ended, func(e Ended) bool { return !e.Told && is(e.Item) })
}

// known reports whether the last notice before a moment that spoke of a trouble said
// that it is so.
func known(all []Notice, k string, at time.Time) (is bool) {
	on := func(i attention.Item) bool { return key(i) == k }
	for _, n := range all {
		if !n.At.Before(at) {
			break
		}
		switch {
		case slices.ContainsFunc(n.New, on) || slices.ContainsFunc(n.Standing, on):
			is = true
		case slices.ContainsFunc(n.Ended, func(e Ended) bool { return on(e.Item) }):
			is = false
		}
	}
	return is
}

func troubles(names []int) (all []attention.Item) {
	for _, n := range names {
		i := attention.Item{Kind: attention.CopyUnreachable, ID: fmt.Sprint(n), Copy: fmt.Sprint("copy ", n), What: "It is out of reach."}
		if n >= 4 {
			i = attention.Item{Kind: attention.Years, What: fmt.Sprintf("Not every year is whole: %d short.", n)}
		}
		all = append(all, i)
	}
	return all
}

// Days of rounds: whatever comes and goes, nobody gets two notices on a day without
// new damage; what wants a person is told at the latest on the next day; after
// trouble, "all is well again" is told exactly once; and no month passes in silence.
func TestNoticesOverDays(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		o := &office{t: rt, book: &Book{}, now: time.Date(2026, 1, 20, rapid.IntRange(0, 23).Draw(rt, "hour"), 7, 0, 0, time.UTC), up: true,
			restarts: rapid.Bool().Draw(rt, "restarts")}
		o.book.Use(o.now, mail)
		fails := rapid.Bool().Draw(rt, "the server fails at times")
		type arisen struct {
			key  string
			at   time.Time
			left time.Time
		}
		var open, all []arisen
		change := func(names []int) {
			list := troubles(names)
			o.book.Note(list, o.now)
			var still []arisen
			for _, a := range open {
				if !has(list, a.key) {
					a.left = o.now
					all = append(all, a)
				} else {
					still = append(still, a)
				}
			}
			open = still
			for _, i := range list {
				if !slices.ContainsFunc(open, func(a arisen) bool { return a.key == key(i) }) {
					open = append(open, arisen{key: key(i), at: o.now})
				}
			}
		}
		for range rapid.IntRange(1, 40).Draw(rt, "events") {
			o.wait(time.Duration(rapid.IntRange(1, 40*60).Draw(rt, "minutes")) * time.Minute)
			switch rapid.IntRange(0, 9).Draw(rt, "what") {
			case 0:
				o.book.Found(event.DamageFound{Copy: "shelf", Files: 1, First: []verify.Damage{{Path: "a.jpg"}}}, o.now)
				o.lastDamage = o.now
			case 1, 2, 3:
				change(nil)
			case 4:
				o.up = !fails || !o.up
			default:
				change(rapid.SliceOfNDistinct(rapid.IntRange(0, 4), 0, 4, rapid.ID[int]).Draw(rt, "troubles"))
			}
		}
		o.up = true
		o.wait(2 * 24 * time.Hour)
		if !fails {
			for _, a := range append(all, open...) {
				// Who was told of it, and not of its end before it came back, knows.
				if known(o.in, a.key, a.at) {
					continue
				}
				at := slices.IndexFunc(o.in, func(n Notice) bool { return !n.At.Before(a.at) && tells(n, a.key) })
				if at < 0 || o.in[at].At.Sub(a.at) > 48*time.Hour || day(o.in[at].At) > day(a.at.Add(24*time.Hour)) {
					rt.Fatalf("%s arose %v and was told at the wrong time or never (%d)", a.key, a.at, at)
				}
			}
		}
		// In the end all is well.
		change(nil)
		o.wait(3 * 24 * time.Hour)
		trouble := false
		for _, n := range o.in {
			switch n.Kind {
			case Wants:
				trouble = true
			case WellAgain:
				fresh := len(n.Damage) > 0 || slices.ContainsFunc(n.Ended, func(e Ended) bool { return !e.Told })
				if !trouble && !fresh {
					rt.Fatalf("all is well again, twice: %+v", n)
				}
				trouble = false
			case AllWell:
				if trouble {
					rt.Fatal("all is well, and nobody was told that the trouble ended")
				}
			}
		}
		if trouble {
			rt.Fatalf("nobody was told that all is well again; the last was %+v", o.in[len(o.in)-1])
		}
		// No month passes in silence.
		o.now = time.Date(o.now.Year(), o.now.Month(), 1, 0, 0, 0, 0, time.UTC).AddDate(0, 1, 0)
		before := len(o.in)
		o.wait(24 * time.Hour)
		if len(o.in) != before+1 || o.in[before].Kind != AllWell {
			rt.Fatalf("the next month brought %d notices", len(o.in)-before)
		}
	})
}

// A server that is away for weeks costs one notice, with all that was in between.
func TestWhatCouldNotBeSentComesInOne(t *testing.T) {
	o := &office{t: t, book: &Book{}, now: time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)}
	o.book.Use(o.now, mail)
	began := o.now.Add(time.Hour)
	o.book.Note(troubles([]int{0}), o.now)
	for i := range 300 {
		o.wait(time.Hour)
		o.book.Note(troubles([]int{i % 3}), o.now)
		o.book.Found(event.DamageFound{Copy: fmt.Sprint("drive ", i%200), Files: 1, First: make([]verify.Damage, 20)}, o.now)
	}
	o.lastDamage = o.now
	o.up = true
	o.wait(24 * time.Hour)
	if len(o.in) != 1 || o.in[0].Unsent == nil || !o.in[0].Unsent.Equal(began) {
		t.Fatalf("%d notices came: %+v", len(o.in), o.in)
	}
	if n := o.in[0]; len(n.Ended) > mostEnded || len(n.Damage) > mostDamage || len(n.Damage[0].Paths) > event.MostListed {
		t.Fatal("what was kept has no bounds")
	}
}

func TestClockThatWasSetBackIsNotWaitedFor(t *testing.T) {
	b := &Book{}
	now := time.Date(2035, 5, 5, 5, 0, 0, 0, time.UTC)
	b.Use(now, mail)
	b.Note(troubles([]int{1}), now)
	n, due := b.Due(mail, now)
	if !due {
		t.Fatal("nothing is due")
	}
	b.Sent(mail, n, now)
	now = now.AddDate(-9, 0, 0)
	b.Note(troubles([]int{1, 2}), now)
	if n, due = b.Due(mail, now); !due || len(n.New) != 1 {
		t.Fatalf("after the clock was set right, due is %v: %+v", due, n)
	}
	b.Failed(mail, "no", now)
	if _, due = b.Due(mail, now.AddDate(-1, 0, 0)); !due {
		t.Error("the next try waits for years")
	}
}

func TestBookIsKeptInTheStateFolder(t *testing.T) {
	dir := t.TempDir()
	b, err := Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	now := time.Date(2026, 5, 5, 5, 0, 0, 0, time.UTC)
	b.Use(now, mail, "webhook")
	b.Note(troubles([]int{1}), now)
	b.Failed(mail, "it does not answer", now)
	if err := b.Save(dir); err != nil {
		t.Fatal(err)
	}
	if since, why := Unsent(dir); why != "it does not answer" || !since.Equal(now) {
		t.Errorf("unsent since %v: %q", since, why)
	}
	again, err := Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	again.Use(now, mail)
	if n, due := again.Due(mail, now.Add(time.Hour)); !due || len(n.New) != 1 || len(again.Ways) != 1 {
		t.Errorf("due %v: %+v", due, n)
	}
}
