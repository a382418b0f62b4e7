package drill

import (
	"slices"
	"testing"
	"time"
)

// Within as many months as there are sites each has its turn, and on every day of a
// month it is the same one.
func TestEachSiteHasItsTurn(t *testing.T) {
	sites := []string{"a", "b", "c", "d", "e"}
	seen := map[string]int{}
	for month := range len(sites) * 2 {
		first := time.Date(2026, time.October+time.Month(month), 1, 5, 0, 0, 0, time.Local)
		turn := inTurn(sites, first)
		seen[turn[0]]++
		if late := inTurn(sites, first.AddDate(0, 0, 27)); late[0] != turn[0] {
			t.Errorf("%s, and %s later in the month", turn[0], late[0])
		}
		if left := slices.Sorted(slices.Values(turn)); !slices.Equal(left, sites) {
			t.Errorf("%v of %v", turn, sites)
		}
	}
	for _, s := range sites {
		if seen[s] != 2 {
			t.Errorf("%s had its turn %d times in twice as many months as there are sites", s, seen[s])
		}
	}
}

func TestALackOfDrillsIsCountedFromTheFirstThatWasDue(t *testing.T) {
	day := func(n int) time.Time { return time.Date(2026, 1, 1+n, 5, 0, 0, 0, time.UTC) }
	for name, tt := range map[string]struct {
		success, first, now time.Time
		want                time.Time
	}{
		"none is due yet":         {time.Time{}, day(30), day(10), time.Time{}},
		"due for 100 days":        {time.Time{}, day(30), day(130), time.Time{}},
		"due for longer":          {time.Time{}, day(30), day(131), day(30)},
		"one passed since":        {day(60), day(30), day(131), time.Time{}},
		"one passed, long ago":    {day(60), day(30), day(161), day(60)},
		"no drill ever comes due": {time.Time{}, time.Time{}, day(400), time.Time{}},
	} {
		if got := (Memory{Success: tt.success}).Lack(tt.first, tt.now); !got.Equal(tt.want) {
			t.Errorf("%s: %v, want %v", name, got, tt.want)
		}
	}
}

func TestWhatWasNotReadCountsAsTheRestDoes(t *testing.T) {
	r := inventories{objects: 10, done: 4, Amount: Amount{Files: 40, Bytes: 1000}}
	if got := r.whole(); got != (Amount{100, 2500}) {
		t.Errorf("%+v", got)
	}
	if got := (inventories{objects: 3}).whole(); got != (Amount{}) {
		t.Errorf("of nothing read: %+v", got)
	}
}

func TestHowADrillEnds(t *testing.T) {
	passed, away := Copy{Passed: true}, Copy{Away: true, Untried: "not plugged in"}
	differs := Copy{Step: Comparing, Different: []string{"a"}}
	failed := Copy{Step: Opening, Error: "refused"}
	used := Copy{Untried: "used up"}
	for name, tt := range map[string]struct {
		copies        []Copy
		wants, failed bool
	}{
		"passed":                   {[]Copy{passed}, false, false},
		"passed, and one is away":  {[]Copy{away, passed}, false, false},
		"all away":                 {[]Copy{away}, true, false},
		"differs":                  {[]Copy{passed, differs}, true, false},
		"failed":                   {[]Copy{passed, failed}, true, true},
		"no more may be read":      {[]Copy{passed, used}, true, false},
		"one differs, one failed":  {[]Copy{differs, failed}, true, true},
		"there is nothing to read": {nil, true, false},
	} {
		r := Report{Copies: tt.copies}
		if r.Wants() != tt.wants || r.Failed() != tt.failed {
			t.Errorf("%s: wants %v, failed %v", name, r.Wants(), r.Failed())
		}
	}
}
