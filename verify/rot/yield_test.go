package rot_test

import (
	"context"
	"errors"
	"testing"

	"linecamp/verify/rot"
	"linecamp/verify/verifytest"
)

var creek = verifytest.Site{Slug: "creek--stake-1", Site: "Stake 1", Pasture: "Creek", Base: "Creek/Stake 1"}

// A round that writes while the check lets it in makes nothing look damaged:
// neither the site that is being checked, nor one whose listing was read ahead,
// nor one that was not there at all.
func TestRotLetsRoundsIn(t *testing.T) {
	for at := 1; at <= 10; at++ {
		r := verifytest.New(t, 1)
		r.Version(creek, verifytest.Day(2020, 7, 1), verifytest.Visits(2020))
		r.Version(verifytest.Stake, verifytest.Day(2020, 7, 1), verifytest.Visits(2019))
		o := r.Options()
		o.ExpectedObjects = append(o.ExpectedObjects, "zz--new")
		calls, wrote := 0, false
		o.Yield = func(context.Context) (bool, error) {
			if calls++; calls != at {
				return false, nil
			}
			wrote = true
			r.Version(creek, verifytest.Day(2021, 7, 1), verifytest.Visits(2020, 2021))
			r.Version(verifytest.Stake, verifytest.Day(2021, 7, 1), verifytest.Visits(2019, 2021))
			r.Version(verifytest.Site{Slug: "zz--new", Site: "New", Pasture: "ZZ", Base: "ZZ/New"}, verifytest.Day(2021, 7, 1), verifytest.Visits(2021))
			return true, nil
		}
		rep := checked(t, r.Copies[0], o)
		if got := found(rep); len(got) > 0 {
			t.Errorf("a round at call %d made %q", at, got)
		}
		if !wrote && calls < 6 {
			t.Errorf("only %d calls: not between files", calls)
		}
	}
}

func TestRotEndsWhenItCannotComeBack(t *testing.T) {
	r := ranch(t, 1)
	o := r.Options()
	no := errors.New("the turn cannot be taken again")
	o.Yield = func(context.Context) (bool, error) { return false, no }
	if _, err := rot.Check(t.Context(), r.Copies[0], o); !errors.Is(err, no) {
		t.Errorf("it ended with %v", err)
	}
}
