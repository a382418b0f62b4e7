package daemon_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"linecamp/daemon"
	"linecamp/daemon/attention"
	"linecamp/daemon/config"
	"linecamp/daemon/event"
	"linecamp/daemon/service"
)

func (r *ranch) drill(a *daemon.Archive, o daemon.DrillOptions) daemon.DrillReport {
	r.t.Helper()
	d, err := a.Drill(r.t.Context(), o, nil)
	if err != nil {
		r.t.Fatal(err)
	}
	return d
}

// reread sets how much may be downloaded to check the bucket.
func (r *ranch) reread(amount string) {
	r.t.Helper()
	b, err := os.ReadFile(r.config)
	if err != nil {
		r.t.Fatal(err)
	}
	text := strings.Replace(string(b), config.DefaultReread, amount, 1)
	if err := os.WriteFile(r.config, []byte(text), 0o644); err != nil {
		r.t.Fatal(err)
	}
}

func lacking(s daemon.Status, kind attention.Kind) (copies []string) {
	for _, i := range s.Attention {
		if i.Kind == kind {
			copies = append(copies, i.Copy)
		}
	}
	return copies
}

// The service does not begin with a drill; each is told with an event at its end, and
// each month it is another site's turn.
func TestDrillsOnSchedule(t *testing.T) {
	r := newRanch(t, "shelf").bucket().setup()
	a := r.open()
	r.mirror(a)
	next := r.status(a).Next
	if i := slices.IndexFunc(next, func(n service.NextRound) bool { return n.Round == service.Drill }); i < 0 || !next[i].At.Equal(time.Date(2026, 12, 1, 5, 0, 0, 0, time.Local)) {
		t.Errorf("the next rounds are %v", next)
	}
	r.now = time.Date(2026, 12, 1, 5, 0, 0, 0, time.Local)
	if err := a.Round(t.Context(), service.Drill); err != nil {
		t.Fatal(err)
	}
	first := r.drill(a, daemon.DrillOptions{})
	r.now = r.now.AddDate(0, 1, 0)
	second := r.drill(a, daemon.DrillOptions{})
	for i := range first.Copies {
		one, two := first.Copies[i], second.Copies[i]
		if !one.Passed || !two.Passed || one.Site == two.Site || one.Files != 3 || one.Visit != "2025-06-21" {
			t.Errorf("%+v, and the month after %+v", one, two)
		}
	}
	s := r.status(a)
	for _, c := range s.Copies {
		if c.LastDrill == nil || !c.LastDrill.Equal(r.now) {
			t.Errorf("%s was last drilled %v, not %v", c.Copy, c.LastDrill, r.now)
		}
	}
	if i := slices.IndexFunc(s.Last, func(p daemon.PastRound) bool { return p.Round == service.Drill }); i < 0 || s.Last[i].Outcome != event.Well {
		t.Errorf("the last rounds are %+v", s.Last)
	}
	a.Close()
	ended := 0
	for e, err := range event.Read(filepath.Join(r.dir, "state")) {
		if err != nil {
			t.Fatal(err)
		}
		if end, ok := e.Event.(event.RoundEnded); ok && end.Round == service.Drill {
			if ended++; len(end.Copies) != 2 || end.Copies[0].Files != 3 || end.Outcome != event.Well {
				t.Errorf("the event says %+v", end)
			}
		}
	}
	if ended != 3 {
		t.Errorf("%d ends of drills were told, not 3", ended)
	}
}

// A bucket is drilled within what the settings let be downloaded, which the drill
// counts; where that is used up, nothing is tried, and no copy is blamed.
func TestADrillKeepsWithinTheAllowance(t *testing.T) {
	r := newRanch(t, "shelf").bucket().setup()
	for _, site := range []string{"Windmill/Stake 3", "North Draw/Post 1"} {
		for _, year := range []string{"2023", "2024", "2025"} {
			r.write(site+"/"+year+"-06-21/walk.txt", strings.Repeat(site+year, 2000))
		}
	}
	r.mirror(r.open())
	r.reread("100kB/month")
	a := r.open()
	id := a.ID("bucket")
	spent := func() int64 {
		n, err := a.Ledger.Spent(id, r.now.AddDate(0, 0, -20))
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	whole := r.drill(a, daemon.DrillOptions{Copy: "bucket", Everything: true}).Copies[0]
	if whole.Passed || whole.Files != 0 || !strings.Contains(whole.Untried, "reread") {
		t.Errorf("everything: %+v", whole)
	}
	before := spent()
	if before == 0 || before > 100_000 {
		t.Errorf("%d bytes were counted", before)
	}
	r.now = r.now.AddDate(0, 1, 0)
	one := r.drill(a, daemon.DrillOptions{Copy: "bucket"}).Copies[0]
	if !one.Passed || one.Files == 0 || one.Whole.Files != 24 {
		t.Errorf("one visit: %+v", one)
	}
	left := false
	for range 20 {
		left = left || one.LeftOut.Files > 0 && one.Passed
		if one = r.drill(a, daemon.DrillOptions{Copy: "bucket"}).Copies[0]; one.Untried != "" {
			break
		}
	}
	if one.Passed || !strings.Contains(one.Untried, "100kB/month") || spent() > 110_000 || !left {
		t.Errorf("after %d bytes, something left out %v: %+v", spent(), left, one)
	}
	if c := r.status(a).Copies[1]; c.LastDrill == nil || c.DrillFailed != nil {
		t.Errorf("it is remembered as %+v", c)
	}
	if d := r.drill(a, daemon.DrillOptions{Copy: "shelf"}).Copies[0]; !d.Passed {
		t.Errorf("a drive costs nothing: %+v", d)
	}
}

// What a drill downloads goes over the link like everything else: it counts against the
// link's allowance, and a drill for which that leaves too little is put off, and says so.
func TestADrillKeepsWithinTheLinksAllowance(t *testing.T) {
	r := newRanch(t, "shelf").bucket().setup()
	r.write("Windmill/Stake 3/2025-06-21/walk.txt", strings.Repeat("dry", 40_000))
	r.mirror(r.open())
	limit := func(allowance string) *daemon.Archive {
		t.Helper()
		b, err := os.ReadFile(r.config)
		if err != nil {
			t.Fatal(err)
		}
		text := regexp.MustCompile(`(?m)^(allowance = .*\n)?region = `).ReplaceAllString(string(b), "allowance = \""+allowance+"\"\nregion = ")
		if err := os.WriteFile(r.config, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		return r.open()
	}
	a := limit("100 MB/month")
	spent := func() int64 {
		n, err := a.Ledger.Spent("link of "+a.ID("bucket"), r.now.AddDate(0, 0, -40))
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	if one := r.drill(a, daemon.DrillOptions{Copy: "bucket"}).Copies[0]; !one.Passed {
		t.Fatalf("%+v", one)
	}
	before := spent() // with what is assumed of a link whose ledger is new
	one := r.drill(a, daemon.DrillOptions{Copy: "bucket", Everything: true}).Copies[0]
	if got := spent() - before; !one.Passed || one.Bytes < 100_000 || got < one.Bytes {
		t.Errorf("%d bytes were counted: %+v", got, one)
	}
	a.Close()

	a = limit("60 kB/month")
	before = spent()
	one = r.drill(a, daemon.DrillOptions{Copy: "bucket"}).Copies[0]
	if one.Passed || one.Step != "" || !strings.Contains(one.Untried, "its link's allowance of 60 kB/month leaves too little") {
		t.Errorf("put off: %+v", one)
	}
	if got := spent() - before; got != 0 {
		t.Errorf("%d bytes went over the link", got)
	}
	a.Close()

	a = limit("100 MB/month")
	r.now = r.now.AddDate(0, 1, 0)
	if one := r.drill(a, daemon.DrillOptions{Copy: "bucket"}).Copies[0]; !one.Passed {
		t.Errorf("the month after: %+v", one)
	}
}

// After 100 days without a drill that passed, a person is told, from the first that
// was due on; also of a drive that was away, which no drill blames.
func TestADrillIsMissedAfterAHundredDays(t *testing.T) {
	r := newRanch(t, "shelf", "barn").setup()
	a := r.open()
	r.mirror(a)
	r.now = r.now.AddDate(0, 0, 120) // the first was due on December 1
	if got := lacking(r.status(a), attention.DrillOverdue); len(got) > 0 {
		t.Errorf("missed already: %v", got)
	}
	if err := os.Rename(r.drive("barn"), r.drive("barn")+"-away"); err != nil {
		t.Fatal(err)
	}
	r.now = r.now.AddDate(0, 0, 10)
	if got := lacking(r.status(a), attention.DrillOverdue); !slices.Equal(got, []string{"shelf", "barn"}) {
		t.Errorf("missed: %v", got)
	}
	d := r.drill(a, daemon.DrillOptions{})
	if !d.Copies[0].Passed {
		t.Errorf("%+v", d.Copies[0])
	}
	s := r.status(a)
	if got := lacking(s, attention.DrillOverdue); !slices.Equal(got, []string{"barn"}) {
		t.Errorf("missed after the drill: %v", got)
	}
	if text := printed(s); !strings.Contains(text, "No practice recovery from barn has succeeded since December 1, 2026") || !strings.Contains(text, "last drill passed") {
		t.Error(text)
	}
}

// What a killed drill left is removed by one that comes later.
func TestWhatAKilledDrillLeftIsRemoved(t *testing.T) {
	r := newRanch(t, "shelf").setup()
	a := r.open()
	r.mirror(a)
	left := filepath.Join(r.dir, "state", "drill-1")
	if err := os.MkdirAll(filepath.Join(left, "Windmill"), 0o755); err != nil {
		t.Fatal(err)
	}
	at := r.now.AddDate(0, 0, -3)
	if err := os.Chtimes(left, at, at); err != nil {
		t.Fatal(err)
	}
	r.drill(a, daemon.DrillOptions{})
	if found, _ := filepath.Glob(filepath.Join(r.dir, "state", "drill-*")); len(found) > 0 {
		t.Errorf("left: %v", found)
	}
}

// A drill that is stopped ends at once, leaves nothing behind, and is no drill.
func TestAStoppedDrillIsNone(t *testing.T) {
	r := newRanch(t, "shelf").setup()
	a := r.open()
	r.mirror(a)
	ctx, stop := context.WithCancel(t.Context())
	d, err := a.Drill(ctx, daemon.DrillOptions{Everything: true}, func(string, int64, int64) { stop() })
	if !errors.Is(err, context.Canceled) {
		t.Errorf("it ended with %+v, %v", d, err)
	}
	if found, _ := filepath.Glob(filepath.Join(r.dir, "state", "drill-*")); len(found) > 0 {
		t.Errorf("left: %v", found)
	}
	if c := r.status(a).Copies[0]; c.LastDrill != nil || c.DrillFailed != nil {
		t.Errorf("it is remembered as %+v", c)
	}
}
