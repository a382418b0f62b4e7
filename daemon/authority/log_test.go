package authority

import (
	"reflect"
	"testing"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/seal"
)

// A log that grew line by line knows what one read at once knows, and the log
// before a line stays as it was.
func TestLogFollowsWhatIsDropped(t *testing.T) {
	const slug = "windmill--stake-3"
	id, at := manifest.ObjectID("saltbush-draw", slug), time.Date(2026, 7, 2, 2, 30, 0, 0, time.UTC)
	sum := func(s string) manifest.Digest { return manifest.Sum([]byte(s)) }
	log, err := NewLog("saltbush-draw", &seal.Seal{})
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range []seal.Line{
		{What: seal.Version, Object: id, Version: 1, Inventory: sum("1")},
		{What: seal.Version, Object: id, Version: 2, Inventory: sum("2")},
		{What: seal.Version, Object: id, Version: 3, Inventory: sum("3")},
		{What: seal.Lost, Object: id, Version: 2, Why: "nowhere"},
		{What: seal.Version, Object: id, Version: 2, Inventory: sum("two")},
		{What: seal.Late, Lines: 4, Log: sum("log"), Why: "met"},
		{What: seal.Lost, Object: id, Version: 2, Why: "nowhere"},
		{What: seal.Version, Object: id, Version: 2, Inventory: sum("2")},
		{What: seal.Closed, Object: id, Version: 3, Why: "two buckets"},
	} {
		l.At = at
		before, was := len(log.Index[slug]), log.Dropped(slug, sum("two"))
		longer, err := log.With(l)
		if err != nil {
			t.Fatal(err)
		}
		if len(log.Index[slug]) != before || log.Dropped(slug, sum("two")) != was {
			t.Errorf("a line about %s changed the log before it", l.What)
		}
		read, err := NewLog("saltbush-draw", longer.Seal)
		if err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(read.Index, longer.Index) || read.Closed(slug) != longer.Closed(slug) {
			t.Errorf("after %s: %v, read anew %v", l.What, longer.Index, read.Index)
		}
		for _, d := range []string{"1", "2", "3", "two"} {
			if read.Dropped(slug, sum(d)) != longer.Dropped(slug, sum(d)) {
				t.Errorf("after %s: %s dropped differs", l.What, d)
			}
		}
		log = longer
	}
	want := []manifest.Digest{sum("1"), sum("2")}
	if !reflect.DeepEqual(log.Index[slug], want) || !log.Closed(slug) || !log.Dropped(slug, sum("3")) || !log.Dropped(slug, sum("two")) || log.Dropped(slug, sum("2")) {
		t.Errorf("in the end: %v", log.Index[slug])
	}
	if log.Counts(slug, seal.Line{Version: 2, Inventory: sum("two")}) || !log.Counts(slug, seal.Line{Version: 2, Inventory: sum("2")}) {
		t.Error("which line counts is not known")
	}
}
