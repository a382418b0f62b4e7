package blocked

import "testing"

// What lacks only what a copy out of reach may have goes on once that is needed no more;
// what is blocked for another reason does not, even where it was awaited before.
func TestOnlyWhatIsAwaitedIsReleased(t *testing.T) {
	var s Sites
	if s.Has("tank") || s.String() != "" {
		t.Fatalf("nothing was noted: %q", s.String())
	}
	s.Add("tank", "rotten")
	s.Await("well", "no manifest")
	s.Await("draw", "no bytes")
	s.Add("draw", "rotten, too")
	if got := s.String(); got != "draw: rotten, too (and 2 more sites)" {
		t.Errorf("it says %q", got)
	}
	for slug, awaits := range map[string]bool{"tank": false, "well": true, "draw": false} {
		if !s.Has(slug) || s.Awaits(slug) != awaits {
			t.Errorf("%s: blocked %v, awaited %v", slug, s.Has(slug), s.Awaits(slug))
		}
		s.Release(slug)
		if s.Has(slug) == awaits {
			t.Errorf("%s goes on: %v", slug, awaits)
		}
	}
}
