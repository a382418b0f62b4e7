package bag

import (
	"bytes"
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

var may = time.Date(2026, 5, 9, 18, 0, 0, 0, time.FixedZone("", -6*3600))

// payload fills data/ of a new folder.
func payload(t testing.TB, files map[string]string) string {
	t.Helper()
	dir := t.TempDir()
	for name, text := range files {
		at := filepath.Join(dir, "data", filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(at), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(at, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// good is a bag of two pictures and a note.
func good(t testing.TB) string {
	t.Helper()
	dir := payload(t, map[string]string{
		"Stake 3/2026-05-09/plot.jpg":      "grama and bare ground",
		"Stake 3/2026-05-09/landscape.jpg": "the butte",
		"Stake 3/2026-05-09/notes.txt":     "dry",
	})
	c := Contents{Day: may, Info: []Tag{{"External-Identifier", "saltbush-draw"}}, Files: map[string][]byte{"years.csv": []byte("site,year\r\n")}}
	if _, err := Finish(t.Context(), dir, c, nil); err != nil {
		t.Fatal(err)
	}
	return dir
}

func judged(t testing.TB, dir string) Report {
	t.Helper()
	r, err := Judge(t.Context(), dir, nil)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestGoodBag(t *testing.T) {
	dir := good(t)
	r := judged(t, dir)
	if !r.Complete || !r.Valid || len(r.Errors)+len(r.Advice)+len(r.Unchecked) > 0 || r.Files != 3 || r.Bytes != 33 {
		t.Errorf("a bag as Finish makes it: %+v", r)
	}
	// RFC 8493 section 2.1.1: these two lines and nothing else.
	if b, _ := os.ReadFile(filepath.Join(dir, "bagit.txt")); string(b) != "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n" {
		t.Errorf("bagit.txt holds %q", b)
	}
	info, _ := os.ReadFile(filepath.Join(dir, "bag-info.txt"))
	for _, want := range []string{"Bagging-Date: 2026-05-09\n", "Payload-Oxum: 33.3\n", "External-Identifier: saltbush-draw\n"} {
		if !strings.Contains(string(info), want) {
			t.Errorf("bag-info.txt lacks %q:\n%s", want, info)
		}
	}
	// Another program: coreutils.
	for _, p := range []string{"sha256", "sha512"} {
		for _, list := range []string{"manifest-" + p + ".txt", "tagmanifest-" + p + ".txt"} {
			cmd := exec.Command(p+"sum", "-c", "--strict", list)
			cmd.Dir = dir
			if out, err := cmd.CombinedOutput(); err != nil {
				t.Errorf("%ssum -c %s: %v\n%s", p, list, err, out)
			}
		}
	}
}

// Each rule of the standard that a bag can break, broken in a bag that was good.
func TestBadBags(t *testing.T) {
	edit := func(name string, change func([]byte) []byte) func(*testing.T, string) {
		return func(t *testing.T, dir string) {
			at := filepath.Join(dir, name)
			b, err := os.ReadFile(at)
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(at, change(b), 0o666); err != nil {
				t.Fatal(err)
			}
		}
	}
	replace := func(name, old, new string) func(*testing.T, string) {
		return edit(name, func(b []byte) []byte {
			if !bytes.Contains(b, []byte(old)) {
				t.Fatalf("%s does not hold %q", name, old)
			}
			return bytes.Replace(b, []byte(old), []byte(new), 1)
		})
	}
	add := func(name, line string) func(*testing.T, string) {
		return func(t *testing.T, dir string) {
			f, err := os.OpenFile(filepath.Join(dir, name), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o666)
			if err != nil {
				t.Fatal(err)
			}
			_, err = f.WriteString(line)
			if err := errors.Join(err, f.Close()); err != nil {
				t.Fatal(err)
			}
		}
	}
	remove := func(names ...string) func(*testing.T, string) {
		return func(t *testing.T, dir string) {
			for _, name := range names {
				if err := os.RemoveAll(filepath.Join(dir, name)); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	digest := strings.Repeat("0", 64)
	const note = "data/Stake 3/2026-05-09/notes.txt"
	for _, c := range []struct {
		name     string
		spoil    func(*testing.T, string)
		rule     string
		detail   string
		complete bool // the bag is complete and only not valid
	}{
		{"no declaration", remove("bagit.txt"), "2.1.1", "is not there", false},
		{"declaration with a byte-order mark", edit("bagit.txt", func(b []byte) []byte { return append([]byte("\uFEFF"), b...) }), "2.1.1", "byte-order mark", false},
		{"declaration the other way around", edit("bagit.txt", func([]byte) []byte {
			return []byte("Tag-File-Character-Encoding: UTF-8\nBagIt-Version: 1.0\n")
		}), "2.1.1", "first line", false},
		{"declaration with a third line", add("bagit.txt", "More: yes\n"), "2.1.1", "3 lines", false},
		{"declaration with an empty line", add("bagit.txt", "\n"), "2.1.1", "3 lines", false},
		{"a version to come", replace("bagit.txt", "1.0", "2.7"), "2.1.1", "judges version 1.0", false},
		{"an encoding unknown here", replace("bagit.txt", "UTF-8", "UTF-16"), "2.1.1", "UTF-16", false},
		{"no payload folder", remove("data"), "2.1.2", "no folder", false},
		{"no payload list", remove("manifest-sha256.txt", "manifest-sha512.txt"), "2.1.3", "no payload manifest", false},
		{"a payload file in one list only", replace("manifest-sha512.txt", "  data/Stake 3/2026-05-09/notes.txt", "  data/elsewhere"), "2.1.3", "not in manifest-sha512.txt", false},
		{"a payload file in no list", add("data/stray.txt", "x"), "2.1.3", "not in manifest-sha256.txt", false},
		{"a payload file gone", remove(note), "3", "is not there", false},
		{"a payload file altered", replace(note, "dry", "wet"), "3", "its sha256 is", true},
		{"a tag file altered", add("years.csv", "x"), "3", "its sha512 is", true},
		{"a tag file gone", remove("years.csv"), "3", "is not there", false},
		{"a digest too short", add("manifest-sha256.txt", "abcd  "+note+"\n"), "2.1.3", "64 hex digits", false},
		{"a line without a path", add("manifest-sha256.txt", digest+"\n"), "2.1.3", "white space", false},
		{"a file named twice", add("manifest-sha256.txt", digest+"  "+note+"\n"), "2.1.3", "a second time", false},
		{"a list that leaves data/", add("manifest-sha256.txt", digest+"  bagit.txt\n"), "2.1.3", "not in data/", false},
		{"a path that climbs out", add("manifest-sha256.txt", digest+"  data/../../etc/passwd\n"), "5.1", `".."`, false},
		{"a path from the top", add("manifest-sha256.txt", digest+"  /etc/passwd\n"), "5.1", "inside the bag", false},
		{"a path from somebody's home", add("manifest-sha256.txt", digest+"  ~root/.profile\n"), "5.1", "inside the bag", false},
		{"a path of another system", add("manifest-sha256.txt", digest+`  data\..\..\x`+"\n"), "5.1", "is read as", false},
		{"a path of another system's drive", add("manifest-sha256.txt", digest+`  c:\data\x`+"\n"), "5.1", "drive's letter", false},
		{"a path of another system's network", add("manifest-sha256.txt", digest+`  \\server\x`+"\n"), "5.1", "begins with", false},
		{"a path that climbs out in both ways", add("manifest-sha256.txt", digest+`  data/x\../..\y`+"\n"), "5.1", "is read as", false},
		{"a directory in a list", add("manifest-sha256.txt", digest+"  data/Stake 3/\n"), "5.1", `""`, false},
		{"a tag list that names the payload", add("tagmanifest-sha256.txt", digest+"  "+note+"\n"), "2.2.1", "payload file", false},
		{"a tag list that names a tag list", add("tagmanifest-sha256.txt", digest+"  tagmanifest-sha512.txt\n"), "2.2.1", "tag manifest", false},
		{"a tag list without a payload list", replace("tagmanifest-sha256.txt", "  manifest-sha512.txt", "  years2.csv"), "2.2.1", "is a payload manifest and not in", false},
		{"an Oxum of another payload", replace("bag-info.txt", "33.3", "33.4"), "2.2.2", "33.4", false},
		{"an Oxum that is none", replace("bag-info.txt", "33.3", "lots"), "2.2.2", `"lots"`, false},
		{"two Oxums", add("bag-info.txt", "Payload-Oxum: 33.3\n"), "2.2.2", "2 times", false},
		{"a label without a colon", add("bag-info.txt", "hello\n"), "2.2.2", "colon", false},
		{"no white space after the colon", add("bag-info.txt", "Contact-Name:Ada\n"), "2.2.2", "white space", false},
		{"white space before the colon", add("bag-info.txt", "Contact-Name : Ada\n"), "2.2.2", "at once", false},
		{"metadata with a byte-order mark", edit("bag-info.txt", func(b []byte) []byte { return append([]byte("\uFEFF"), b...) }), "2.3", "byte-order mark", false},
		{"a list with a byte-order mark", edit("manifest-sha256.txt", func(b []byte) []byte { return append([]byte("\uFEFF"), b...) }), "2.3", "byte-order mark", false},
		{"a continuation of nothing", edit("bag-info.txt", func(b []byte) []byte { return append([]byte("  x\n"), b...) }), "2.2.2", "continues nothing", false},
		{"metadata in another encoding", add("bag-info.txt", "Contact-Name: caf\xe9\n"), "2.2.2", "UTF-8", false},
		{"something to fetch, absent", func(t *testing.T, dir string) {
			add("fetch.txt", "https://example.net/x 4 data/x.jpg\n")(t, dir)
			add("manifest-sha256.txt", digest+"  data/x.jpg\n")(t, dir)
			add("manifest-sha512.txt", digest+digest+"  data/x.jpg\n")(t, dir)
		}, "3", "was not fetched", false},
		{"something to fetch, in no list", add("fetch.txt", "https://example.net/x - data/x.jpg\n"), "2.2.3", "not in manifest-sha256.txt", false},
		{"a tag file to fetch", add("fetch.txt", "https://example.net/x - years.csv\n"), "2.2.3", "not in data/", false},
		{"a fetch that climbs out", add("fetch.txt", "https://example.net/x 4 data/../../x\n"), "5.1", `".."`, false},
		{"a fetch without a length", add("fetch.txt", "https://example.net/x data/x.jpg\n"), "2.2.3", "a length", false},
		{"a link instead of a file", func(t *testing.T, dir string) {
			at := filepath.Join(dir, filepath.FromSlash(note))
			remove(note)(t, dir)
			if err := os.Symlink("/etc/hostname", at); err != nil {
				t.Fatal(err)
			}
		}, "3", "a link", false},
		{"an endless line", add("manifest-sha256.txt", strings.Repeat("a", longestLine+1)), "2.1.3", "longer than", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := good(t)
			c.spoil(t, dir)
			r := judged(t, dir)
			if r.Valid || r.Complete != c.complete {
				t.Errorf("complete %v, valid %v; want %v, false", r.Complete, r.Valid, c.complete)
			}
			if !slices.ContainsFunc(r.Errors, func(f Fault) bool { return f.Rule == c.rule && strings.Contains(f.Detail, c.detail) }) {
				t.Errorf("no fault of section %s that says %q: %+v", c.rule, c.detail, r.Errors)
			}
		})
	}
}

// What the standard allows and Finish does not write.
func TestOtherGoodBags(t *testing.T) {
	for name, change := range map[string]func(string) string{
		"capital digits":   strings.ToUpper,
		"a tab between":    func(s string) string { return strings.Replace(s, "  ", "\t", 1) },
		"binary asterisks": func(s string) string { return strings.Replace(s, "  ", " *", 1) },
		"a dot in front":   func(s string) string { return strings.Replace(s, "  ", "  ./", 1) },
	} {
		for end, mark := range map[string]string{"LF": "\n", "CR": "\r", "CRLF": "\r\n"} {
			t.Run(name+" "+end, func(t *testing.T) {
				dir := good(t)
				for _, l := range []string{"tagmanifest-sha256.txt", "tagmanifest-sha512.txt"} {
					os.Remove(filepath.Join(dir, l))
				}
				at := filepath.Join(dir, "manifest-sha256.txt")
				b, _ := os.ReadFile(at)
				var out strings.Builder
				for line := range strings.Lines(string(b)) {
					digest, path, _ := strings.Cut(strings.TrimSuffix(line, "\n"), "  ")
					if name == "capital digits" {
						digest = change(digest)
					}
					line = digest + "  " + path
					if name != "capital digits" {
						line = change(line)
					}
					out.WriteString(line + mark)
				}
				if err := os.WriteFile(at, []byte(out.String()), 0o666); err != nil {
					t.Fatal(err)
				}
				want := 1 // there is no tag list
				if name == "binary asterisks" {
					want++
				}
				if r := judged(t, dir); !r.Valid || len(r.Advice) != want {
					t.Errorf("%+v", r)
				}
			})
		}
	}
}

// What section 2.4 lets older bags have is checked, and what a good bag should not do is
// told without calling it a fault.
func TestAdvice(t *testing.T) {
	for name, c := range map[string]struct {
		change       func(t *testing.T, dir string)
		rule, detail string
	}{
		"only an old algorithm": {func(t *testing.T, dir string) {
			for _, l := range []string{"manifest-sha256.txt", "manifest-sha512.txt", "tagmanifest-sha256.txt", "tagmanifest-sha512.txt"} {
				os.Remove(filepath.Join(dir, l))
			}
			md5sum(t, dir, "manifest-md5.txt", "data")
		}, "2.4", "changed on purpose"},
		"tag lists of another algorithm": {func(t *testing.T, dir string) {
			md5sum(t, dir, "tagmanifest-md5.txt", "bagit.txt", "bag-info.txt", "manifest-sha256.txt", "manifest-sha512.txt", "years.csv")
		}, "2.2.1", "no payload manifest has"},
		"two days of bagging": {func(t *testing.T, dir string) {
			for _, l := range []string{"tagmanifest-sha256.txt", "tagmanifest-sha512.txt"} {
				os.Remove(filepath.Join(dir, l))
			}
			f, err := os.OpenFile(filepath.Join(dir, "bag-info.txt"), os.O_APPEND|os.O_WRONLY, 0)
			if err == nil {
				_, err = f.WriteString("bagging-date: 2026-05-10\n")
			}
			if err := errors.Join(err, f.Close()); err != nil {
				t.Fatal(err)
			}
		}, "2.2.2", "2 times"},
		"names alike but for the accent": {func(t *testing.T, dir string) {
			for _, n := range []string{"Ca\u00f1on.txt", "can\u0303on.txt"} {
				if err := os.WriteFile(filepath.Join(dir, n), nil, 0o666); err != nil {
					t.Fatal(err)
				}
			}
		}, "6.1.1", "accents"},
	} {
		t.Run(name, func(t *testing.T) {
			dir := good(t)
			c.change(t, dir)
			r := judged(t, dir)
			if !r.Valid || !slices.ContainsFunc(r.Advice, func(f Fault) bool { return f.Rule == c.rule && strings.Contains(f.Detail, c.detail) }) {
				t.Errorf("%+v", r)
			}
		})
	}
}

// md5sum writes a list with another program: coreutils.
func md5sum(t *testing.T, dir, list string, of ...string) {
	t.Helper()
	cmd := exec.Command("sh", append([]string{"-c", `find "$@" -type f -exec md5sum {} + >` + list, "sh"}, of...)...)
	cmd.Dir = dir
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
}

// RULES.md names only cases that are there.
func TestTableOfRules(t *testing.T) {
	page, err := os.ReadFile("RULES.md")
	if err != nil {
		t.Fatal(err)
	}
	source, err := os.ReadFile("bag_test.go")
	if err != nil {
		t.Fatal(err)
	}
	cases := regexp.MustCompile("`(Test[A-Za-z]+)(?:/([^`]+))?`").FindAllStringSubmatch(string(page), -1)
	for _, c := range cases {
		if !bytes.Contains(source, []byte("func "+c[1]+"(")) || c[2] != "" && !bytes.Contains(source, []byte(strconv.Quote(c[2]))) {
			t.Errorf("RULES.md names %s, which is not there", c[0])
		}
	}
	if len(cases) < 40 {
		t.Errorf("only %d cases are named", len(cases))
	}
}

// A list by an algorithm that is not known here is named, and the others judge.
func TestListsNotCheckedAreNamed(t *testing.T) {
	dir := good(t)
	if err := os.WriteFile(filepath.Join(dir, "manifest-sha3256.txt"), []byte("x"), 0o666); err != nil {
		t.Fatal(err)
	}
	if r := judged(t, dir); !slices.Equal(r.Unchecked, []string{"manifest-sha3256.txt"}) {
		t.Errorf("%+v", r)
	}
}

// Any names that a file system takes come back out of the lists (section 2.1.3:
// CR, LF and the percent sign, and only those, are spelled).
func TestNamesComeBack(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		element := rapid.StringMatching(`[a-zA-Z0-9 %\r\n\tä.,'"()*&]{1,20}`).Filter(func(s string) bool { return s != "." && s != ".." })
		files := map[string]string{}
		for _, n := range rapid.SliceOfNDistinct(element, 1, 5, strings.ToLower).Draw(rt, "names") {
			files["d/"+n] = rapid.String().Draw(rt, "text")
		}
		dir := payload(t, files)
		if _, err := Finish(context.Background(), dir, Contents{Day: may}, nil); err != nil {
			rt.Fatal(err)
		}
		if r := judged(t, dir); !r.Valid || r.Files != len(files) {
			rt.Fatalf("%q: %+v", files, r)
		}
		list, _ := os.ReadFile(filepath.Join(dir, "manifest-sha256.txt"))
		if n := bytes.Count(list, []byte("\n")); n != len(files) || bytes.Contains(list, []byte("\r")) {
			rt.Fatalf("%d lines for %d files: %q", n, len(files), list)
		}
	})
}

// What was stopped half-way is no bag, and the same call makes it one; a bag is
// not made twice.
func TestFinishAgain(t *testing.T) {
	dir := payload(t, map[string]string{"a.txt": "a"})
	ctx, stop := context.WithCancel(t.Context())
	stop()
	if _, err := Finish(ctx, dir, Contents{Day: may}, nil); !errors.Is(err, context.Canceled) {
		t.Fatalf("stopped: %v", err)
	}
	if _, err := os.Lstat(filepath.Join(dir, "bagit.txt")); err == nil {
		t.Error("what was stopped calls itself a bag")
	}
	if _, err := Finish(t.Context(), dir, Contents{Day: may}, nil); err != nil {
		t.Fatal(err)
	}
	if _, err := Finish(t.Context(), dir, Contents{Day: may}, nil); !errors.Is(err, ErrNotBag) {
		t.Errorf("a second time: %v", err)
	}
	if _, err := Judge(ctx, dir, nil); !errors.Is(err, context.Canceled) {
		t.Errorf("a judgment that was stopped: %v", err)
	}
	if _, err := Judge(t.Context(), filepath.Join(dir, "bagit.txt"), nil); !errors.Is(err, ErrNoFolder) {
		t.Errorf("a file: %v", err)
	}
}

// Whatever a list says, nothing outside the bag is named by an entry.
func FuzzParseEntry(f *testing.F) {
	f.Add(strings.Repeat("0", 64) + "  data/a%0A.jpg")
	f.Add(strings.Repeat("F", 64) + " *data/../x")
	f.Fuzz(func(t *testing.T, line string) {
		e, err := parseEntry(line, 32)
		if err != nil || pathFault(e.path) != "" {
			return
		}
		if !filepath.IsLocal(filepath.FromSlash(e.path)) {
			t.Errorf("%q leads out: %q", line, e.path)
		}
	})
}

// Lines cut in any way put together are the text without its line ends.
func FuzzLines(f *testing.F) {
	f.Add("a\r\nb\rc\n\nd")
	f.Fuzz(func(t *testing.T, text string) {
		var got strings.Builder
		if err := lines(strings.NewReader(text), func(_ int, line string) { got.WriteString(line) }); err != nil {
			return
		}
		if want := strings.NewReplacer("\r", "", "\n", "").Replace(text); got.String() != want {
			t.Errorf("%q reads as %q", text, got.String())
		}
	})
}
