package manifest

import (
	"regexp"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestContentPath(t *testing.T) {
	d := sum("abc")
	hashed := "v3/content/_/" + d.String()
	x100, x101 := strings.Repeat("x", 100), strings.Repeat("x", 101)
	deep400 := strings.Repeat(x100[:99]+"/", 3) + x100 // 3·100 + 100 bytes
	for _, c := range []struct {
		why, logical, want string
	}{
		{"plain", "2019-06-21/plot.jpg", "v3/content/2019-06-21/plot.jpg"},
		{"every plain character", "aZ09 ._()+,&'-/b", "v3/content/aZ09 ._()+,&'-/b"},
		{"hidden", ".hidden", "v3/content/.hidden"},
		{"the record", RecordPath, "v3/content/.linecamp/record.json"},
		{"100 bytes", x100, "v3/content/" + x100},
		{"101 bytes", x101, hashed},
		{"400 bytes", deep400, "v3/content/" + deep400},
		{"401 bytes", "a/" + deep400[1:], hashed},
		{"not ASCII", "café.jpg", hashed + ".jpg"},
		{"extension made small", "café.JPG", hashed + ".jpg"},
		{"extension too long", "café.jpgjpgjpg", hashed},
		{"extension not plain", "café.j~g", hashed},
		{"no extension", "café", hashed},
		{"folder's dot is no extension", "é.jpg/a\"", hashed},
		{"quote", "a\".txt", hashed + ".txt"},
		{"newline", "a\nb.txt", hashed + ".txt"},
		{"backslash", "a\\b.txt", hashed + ".txt"},
		{"colon", "a:b.txt", hashed + ".txt"},
		{"leading space", "a/ b.txt", hashed + ".txt"},
		{"trailing space", "a /b.txt", hashed + ".txt"},
		{"trailing dot", "a./b.txt", hashed + ".txt"},
		{"device", "con", hashed},
		{"device with extension", "a/NUL.tar.gz", hashed + ".gz"},
		{"device as folder", "Com1/b.txt", hashed + ".txt"},
		{"device with spaces", "lpt9 .txt", hashed + ".txt"},
		{"no device", "com0/lpt/console/com10/aux-2/nul l", "v3/content/com0/lpt/console/com10/aux-2/nul l"},
		{"the hash folder as a file", "_", hashed},
		{"a file in a folder called like the hash folder", "_/a", "v3/content/_/a"},
	} {
		if got := ContentPath(3, c.logical, d, &Taken{}); got != c.want {
			t.Errorf("%s: ContentPath(%q) = %s, want %s", c.why, c.logical, got, c.want)
		}
	}
}

func TestContentPathTaken(t *testing.T) {
	// Each step stores another file in the same version.
	for _, c := range []struct {
		why   string
		steps []string // logical paths
		plain []bool   // which of them are stored verbatim
	}{
		{"equal", []string{"a", "a"}, []bool{true, false}},
		{"equal but for case", []string{"2019/Plot.JPG", "2019/plot.jpg"}, []bool{true, false}},
		{"a file where a folder is", []string{"a/b", "a"}, []bool{true, false}},
		{"a folder where a file is", []string{"a", "a/b"}, []bool{true, false}},
		{"the same, but for case", []string{"A", "a/b/c"}, []bool{true, false}},
		{"a folder spelled otherwise", []string{"Plot/a", "plot/b", "Plot/c"}, []bool{true, false, true}},
		{"a deep folder spelled otherwise", []string{"a/Plot/x/1", "a/plot/x/2", "a/b"}, []bool{true, false, true}},
		{"a name that begins like another", []string{"ab", "a", "a b", "ab c/d"}, []bool{true, true, true, true}},
		{"not ASCII is not folded", []string{"a", "\u212a"}, []bool{true, false}}, // Kelvin sign
		{"what is hashed takes nothing", []string{"a/é", "a"}, []bool{false, true}},
	} {
		var taken Taken
		for i, logical := range c.steps {
			got := ContentPath(1, logical, sum(c.why+logical), &taken)
			if plain := got == "v1/content/"+logical; plain != c.plain[i] {
				t.Errorf("%s: %q became %s", c.why, logical, got)
			}
		}
	}
}

// Bytes that are not what their key says must not stand in the way for ever.
func TestContentPathOfASquattedHash(t *testing.T) {
	d := sum("abc")
	var taken Taken
	for _, squatter := range []string{".jpg", "", ".2"} {
		if !taken.keep("_/" + d.String() + squatter) {
			t.Fatal("a found key was refused")
		}
	}
	if got, want := ContentPath(2, "é.jpg", d, &taken), "v2/content/_/"+d.String()+".3"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}

// What lies there already keeps its place in every spelling, and nothing new is
// put where a drive that ignores case would confuse the two.
func TestContentPathBesideWhatIsKept(t *testing.T) {
	for _, c := range []struct {
		kept  []string
		add   string
		plain bool
	}{
		{[]string{"a/x", "A"}, "a/y", false},
		{[]string{"A", "a/x"}, "a/y", false},
		{[]string{"a/x", "A/x"}, "a/y", true},
		{[]string{"a/x", "A/x"}, "A/y", false},
		{[]string{"a/x"}, "A/X", false},
		{[]string{"a/x"}, "a", false},
		{[]string{"a/x"}, "a/y", true},
	} {
		var taken Taken
		for _, p := range c.kept {
			if !taken.keep(p) {
				t.Errorf("%v: %q was refused", c.kept, p)
			}
		}
		got := ContentPath(1, c.add, sum("abc"), &taken)
		if plain := got == "v1/content/"+c.add; plain != c.plain {
			t.Errorf("beside %v, %q became %s", c.kept, c.add, got)
		}
	}
}

// contentForm is the rule for content paths in FORMAT.md as a pattern, written apart from the code.
var contentForm = regexp.MustCompile(`^v[1-9][0-9]*/content/(_/[0-9a-f]{64}(\.[a-z0-9]{1,8})?|[A-Za-z0-9 ._()+,&'-]{1,100}(/[A-Za-z0-9 ._()+,&'-]{1,100})*)$`)

// Every list of files gets content paths that are well formed, that can stand
// beside each other on a drive that ignores case, and that do not depend on
// anything but the order.
func TestContentPathsStandBesideEachOther(t *testing.T) {
	name := rapid.OneOf(
		rapid.SampledFrom([]string{"a", "A", "b", "_", "con", "a.", "é", " ", ".linecamp", "x.jpg", "X.JPG"}),
		rapid.StringMatching(`[a-zA-Z_.é ]{1,3}`),
	)
	rapid.Check(t, func(t *rapid.T) {
		lists := rapid.SliceOfN(rapid.SliceOfN(name, 1, 3), 1, 20).Draw(t, "paths")
		var first, second []string
		for range 2 {
			var taken Taken
			var got []string
			for i, list := range lists {
				logical := strings.Join(list, "/")
				if CheckPath(logical) != nil {
					continue
				}
				got = append(got, ContentPath(7, logical, sum(string(rune('a'+i))), &taken))
			}
			first, second = second, got
		}
		if !slices.Equal(first, second) {
			t.Fatalf("%v and then %v", first, second)
		}
		seen := map[string]bool{}
		for _, p := range second {
			if !contentForm.MatchString(p) {
				t.Fatalf("%q is not a content path", p)
			}
			fold := strings.ToLower(p)
			if seen[fold] {
				t.Fatalf("%q is there twice but for case", p)
			}
			seen[fold] = true
		}
		folders := map[string]string{}
		for _, p := range second {
			for i := range p {
				if p[i] != '/' {
					continue
				}
				fold := strings.ToLower(p[:i])
				if seen[fold] {
					t.Fatalf("%q is a file and the folder of %q", p[:i], p)
				}
				if was, ok := folders[fold]; ok && was != p[:i] {
					t.Fatalf("the folder %q is also spelled %q", was, p[:i])
				}
				folders[fold] = p[:i]
			}
		}
	})
}
