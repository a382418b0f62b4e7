package manifest

import (
	"errors"
	"regexp"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestSlug(t *testing.T) {
	long := strings.Repeat("x", 100)
	for _, c := range []struct{ pasture, site, want string }{
		{"Windmill", "Stake 3", "windmill--stake-3"},
		{"", "Stake 3", "stake-3"},
		{"  North -- Fork_", "#7 (old)", "north-fork--7-old"},
		{"Peñasco", "Über Élan", "penasco--uber-elan"},
		{"", "ﬁne ½ ①", "fine-1-2-1"}, // compatibility decomposition
		{"", "İstanbul", "istanbul"},  // capital I with dot: I and a mark
		{"", "straße", "stra-e"},      // no decomposition
		{"", "牧場", "site"},            // nothing left
		{"牧場", "Stake 3", "stake-3"},  // nothing left of the pasture
		{"Windmill", "…", "windmill--site"},
		{"", "", "site"},
		{"", "Extensions", "extensions-2"},
		{"", "Unfiled", "unfiled-2"},
		{"Unfiled", "East", "unfiled-2--east"},
		{"", "unfiled corner", "unfiled-corner"},
		{"", "NUL", "nul-2"},
		{"", "com7", "com7-2"},
		{"Aux", "con", "aux--con"},
		{"", long, long[:80]},
		{strings.Repeat("y", 79), "east", strings.Repeat("y", 79)}, // no hyphen at the end
	} {
		if got := Slug(c.pasture, c.site, nil); got != c.want {
			t.Errorf("Slug(%q, %q) = %q, want %q", c.pasture, c.site, got, c.want)
		}
	}
}

func TestSlugTaken(t *testing.T) {
	taken := map[string]bool{}
	use := func(s string) bool { return taken[s] }
	for _, want := range []string{"windmill--stake-3", "windmill--stake-3-2", "windmill--stake-3-3"} {
		got := Slug("Windmill", "Stake 3", use)
		if got != want {
			t.Errorf("got %q, want %q", got, want)
		}
		taken[got] = true
	}
	long := strings.Repeat("x", 90)
	for range 12 {
		got := Slug("", long, use)
		if len(got) != 80 || taken[got] {
			t.Errorf("got %q of %d bytes", got, len(got))
		}
		taken[got] = true
	}
	if got := Slug("", "nul", func(s string) bool { return s == "nul-2" }); got != "nul-3" {
		t.Errorf("reserved and taken: %q", got)
	}
}

func TestUnfiledSlug(t *testing.T) {
	all := func(s string) bool { return s == "unfiled" || s == "unfiled--scans" }
	for _, c := range []struct {
		top   string
		taken func(string) bool
		want  string
	}{
		{"", nil, "unfiled"},
		{"", all, "unfiled--2"},
		{"", func(s string) bool { return all(s) || s == "unfiled--2" }, "unfiled--2-2"},
		{"Scans", nil, "unfiled--scans"},
		{"Scans", all, "unfiled--scans-2"},
		{"牧", nil, "unfiled--site"},
	} {
		got := UnfiledSlug(c.top, c.taken)
		if got != c.want || !Unfiled(got) {
			t.Errorf("UnfiledSlug(%q) = %q, want %q", c.top, got, c.want)
		}
	}
}

func TestObjectID(t *testing.T) {
	archive, slug, err := ParseObjectID(ObjectID(testArchive, "windmill--stake-3"))
	if err != nil || archive != testArchive || slug != "windmill--stake-3" {
		t.Fatal(archive, slug, err)
	}
	for _, bad := range []string{
		"", "linecamp", "linecamp:a", "linecamp::b", "linecamp:a:", "other:a:b", "linecamp:a:b:c", "Linecamp:a:b",
		"linecamp:a:../b", "linecamp:a:..", "linecamp:a:b/c", "linecamp:A:b", "linecamp:a:B", "linecamp:a:b---c",
		"linecamp:a--b:c", "linecamp:-a:b", "linecamp:a:b-", "linecamp:a:extensions", "linecamp:a:nul",
		"linecamp:a:" + strings.Repeat("x", 81), "linecamp:" + strings.Repeat("x", 61) + ":b", "linecamp:a:b\n",
		"linecamp:con:b", "linecamp:a:b ",
	} {
		if _, _, err := ParseObjectID(bad); !errors.Is(err, ErrID) {
			t.Errorf("ParseObjectID(%q) = %v, want ErrID", bad, err)
		}
	}
}

// Whatever the names, a slug is one that an id takes, is new, and is of a site
// if it is a site's.
func TestSlugHolds(t *testing.T) {
	form := regexp.MustCompile(`^[a-z0-9]+(--?[a-z0-9]+)*$`)
	name := rapid.OneOf(rapid.String(), rapid.SampledFrom([]string{"unfiled", "nul", "a", "A", "extensions", strings.Repeat("q-", 60)}))
	rapid.Check(t, func(t *rapid.T) {
		taken := map[string]bool{}
		for i := range rapid.IntRange(1, 8).Draw(t, "sites") {
			got := Slug(name.Draw(t, "pasture"), name.Draw(t, "site"), func(s string) bool { return taken[s] })
			if i%3 == 2 {
				got = UnfiledSlug("x"+name.Draw(t, "top"), func(s string) bool { return taken[s] })
			}
			if !form.MatchString(got) || len(got) > 80 || taken[got] || Unfiled(got) != (i%3 == 2) {
				t.Fatalf("%q", got)
			}
			if _, _, err := ParseObjectID(ObjectID(testArchive, got)); err != nil {
				t.Fatal(err)
			}
			taken[got] = true
		}
	})
}
