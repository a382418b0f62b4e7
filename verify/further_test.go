package verify

import (
	"slices"
	"testing"
	"time"

	"linecamp/manifest"
)

// Of two decisions about one object the newer counts, in whatever order they stand.
func TestJoinedIn(t *testing.T) {
	said := func(what, path string, day int) manifest.Decision {
		return manifest.Decision{What: what, Path: path, When: time.Date(2026, 7, day, 0, 0, 0, 0, time.UTC)}
	}
	for why, c := range map[string]struct {
		said []manifest.Decision
		want []string
	}{
		"nothing":         {nil, nil},
		"the older first": {[]manifest.Decision{said(manifest.Joined, "b", 2), said(manifest.Joined, "a", 3)}, []string{"b", "a"}},
		"said twice":      {[]manifest.Decision{said(manifest.Joined, "a", 1), said(manifest.Joined, "a", 2)}, []string{"a"}},
		"parted again":    {[]manifest.Decision{said(manifest.Joined, "a", 1), said(manifest.Apart, "a", 2)}, nil},
		"parted before":   {[]manifest.Decision{said(manifest.Joined, "a", 2), said(manifest.Apart, "a", 1)}, []string{"a"}},
		"another parted":  {[]manifest.Decision{said(manifest.Joined, "a", 1), said(manifest.Apart, "b", 2)}, []string{"a"}},
		"no pair":         {[]manifest.Decision{said(manifest.Explained, "a", 1), said(manifest.Joined, "", 2)}, nil},
	} {
		if got := JoinedIn(&manifest.Record{Decisions: c.said}); !slices.Equal(got, c.want) {
			t.Errorf("%s: %q are joined, want %q", why, got, c.want)
		}
	}
	if got := JoinedIn(nil); got != nil {
		t.Errorf("no record joins %q", got)
	}
}
