package config

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// written is as a person may leave a settings file.
const written = `# Ours, since the flood of 2011.
archive = "saltbush-draw"

# The shelf in the office. Ask the foreman for the key.
[[copy]]
kind = 'drive'
  name   =   'shelf - old.1'   # painted "red"
root = "/media/office/line-camp"
# do not change:
id = "` + idShelf + `"

# --- rounds ---
[schedule]
mirror = "30 2 * * *"

[[copy]]   # far away
"name" = "bucket"
kind = "s3"
url = "https://s3.example.net/monitoring/saltbush-draw"
id = "` + idBucket + `"
# the end`

func TestSettingsAreChangedLineByLine(t *testing.T) {
	july := time.Date(2026, 7, 2, 9, 0, 0, 0, time.UTC)
	for name, c := range map[string]struct {
		changes []Change
		gone    []string // lines that are no longer there
		come    []string
		check   func(Archive) bool
	}{
		"a copy renamed": {[]Change{Renaming(idShelf, "barn north")},
			[]string{`  name   =   'shelf - old.1'   # painted "red"`}, []string{`  name   =   "barn north"   # painted "red"`},
			func(a Archive) bool { return a.Copies[0].Name == "barn north" }},
		"a copy whose key is quoted renamed": {[]Change{Renaming(idBucket, "cloud")},
			[]string{`"name" = "bucket"`}, []string{`"name" = "cloud"`},
			func(a Archive) bool { return a.Copies[1].Name == "cloud" }},
		"a bucket's keys named, and then others": {[]Change{WithKeys(idBucket, "/etc/keys-1.toml"), WithKeys(idBucket, "/etc/keys-2.toml")},
			nil, []string{`credentials = "/etc/keys-2.toml"`},
			func(a Archive) bool { return a.Copies[1].Credentials == "/etc/keys-2.toml" }},
		"a copy given up": {[]Change{GivingUp(idBucket, july)},
			nil, []string{`given_up = "2026-07-02"   # not used any more; linecamp says so when it turns up`},
			func(a Archive) bool {
				return len(a.Copies) == 1 && len(a.GivenUp) == 1 && a.GivenUp[0].Name == "bucket" && a.GivenUp[0].GivenUp == "2026-07-02"
			}},
		"a copy taken out": {[]Change{TakingOut(idShelf, "Taken out.")},
			[]string{"[[copy]]", "kind = 'drive'", `  name   =   'shelf - old.1'   # painted "red"`, `root = "/media/office/line-camp"`, "# do not change:", `id = "` + idShelf + `"`},
			[]string{"# Taken out.", "# [[copy]]", "# kind = 'drive'", `#   name   =   'shelf - old.1'   # painted "red"`, `# root = "/media/office/line-camp"`, "# # do not change:", `# id = "` + idShelf + `"`},
			func(a Archive) bool { return len(a.Copies) == 1 && a.Copies[0].Name == "bucket" }},
		"a copy replaced by one of its name": {[]Change{GivingUp(idShelf, july), Renaming(idBucket, "b"), Adding(Copy{Name: "bucket", Kind: KindDrive, Root: "/media/new", ID: "00000000-0000-4000-8000-000000000001"})},
			[]string{`"name" = "bucket"`}, []string{`given_up = "2026-07-02"   # not used any more; linecamp says so when it turns up`, `"name" = "b"`, "", "[[copy]]", `name = "bucket"`, `kind = "drive"`,
				`root = "/media/new"`, `id = "00000000-0000-4000-8000-000000000001"   # the root's own id: only this one is written to`},
			func(a Archive) bool {
				return len(a.Copies) == 2 && len(a.GivenUp) == 1 && a.Copies[1].Root == "/media/new"
			}},
	} {
		for ends, old := range map[string]string{"": written, ", with BOM and CRLF": "\xef\xbb\xbf" + strings.ReplaceAll(written, "\n", "\r\n")} {
			t.Run(name+ends, func(t *testing.T) {
				dir := alone(t)
				file := filepath.Join(dir, "etc", "a.toml")
				put(t, file, old)
				if err := Rewrite(file, c.changes...); err != nil {
					t.Fatal(err)
				}
				b, err := os.ReadFile(file)
				if err != nil {
					t.Fatal(err)
				}
				if strings.Contains(old, "\r\n") && strings.Count(string(b), "\n") != strings.Count(string(b), "\r\n") {
					t.Error("line ends are mixed")
				}
				// Every other line is there, in the order it had.
				left, come := strings.Split(strings.ReplaceAll(string(b), "\r", ""), "\n"), c.come
				gone := c.gone
				for _, line := range strings.Split(strings.ReplaceAll(old, "\r", ""), "\n") {
					if len(gone) > 0 && line == gone[0] {
						gone = gone[1:]
						continue
					}
					for len(left) > 0 && len(come) > 0 && left[0] != line && left[0] == come[0] {
						left, come = left[1:], come[1:]
					}
					if len(left) == 0 || left[0] != line {
						t.Fatalf("the line %q is not where it was:\n%s", line, b)
					}
					left = left[1:]
				}
				if got := strings.TrimSuffix(strings.Join(left, "\n"), "\n"); got != strings.Join(come, "\n") || len(gone) > 0 {
					t.Errorf("beside it there is %q, not %q:\n%s", got, come, b)
				}
				if got, faults := Load(file); faults != nil || !c.check(got[0]) {
					t.Errorf("read back: %+v, %v", got, faults)
				}
				onlyFile(t, file)
			})
		}
	}
}

func TestChangesThatAreRefusedLeaveTheFile(t *testing.T) {
	inline := `archive = "a"
copy = [{name = "shelf", kind = "drive", root = "/media/x", id = "` + idShelf + `"}]
`
	var fault *Error
	for name, c := range map[string]struct {
		old    string
		change Change
		is     any
	}{
		"a name that is taken":   {written, Renaming(idShelf, "Bucket"), &fault},
		"a name that is none":    {written, Renaming(idShelf, "a\tb"), &fault},
		"a copy that is unknown": {written, Renaming("00000000-0000-4000-8000-000000000001", "x"), ErrEdit},
		"copies in a list":       {inline, Renaming(idShelf, "x"), ErrEdit},
		"given up twice": {strings.Replace(written, "[schedule]", "[schedule]", 1), func(t *text) error {
			return errors.Join(GivingUp(idShelf, time.Now())(t), t.find([]byte(strings.Join(t.lines, ""))), GivingUp(idShelf, time.Now())(t))
		}, &fault},
	} {
		t.Run(name, func(t *testing.T) {
			file := filepath.Join(alone(t), "etc", "a.toml")
			put(t, file, c.old)
			err := Rewrite(file, c.change)
			if want, ok := c.is.(error); ok && !errors.Is(err, want) || !ok && !errors.As(err, c.is) {
				t.Errorf("it ended with %v", err)
			}
			if b, err := os.ReadFile(file); err != nil || string(b) != c.old {
				t.Errorf("the file is now %s (%v)", b, err)
			}
			onlyFile(t, file)
		})
	}
}

// A copy that was given up counts for nothing but its id.
func TestCopiesGivenUp(t *testing.T) {
	dir := alone(t)
	file := filepath.Join(dir, "a.toml")
	given := strings.Replace(example, "[[copy]]\n", "[[copy]]\ngiven_up = \"2026-07-02\"\n", 1)
	again := strings.Replace(strings.Replace(example[strings.Index(example, "[[copy]]"):strings.Index(example, "[schedule]")], idShelf, "00000000-0000-4000-8000-000000000001", 1), idBucket, "00000000-0000-4000-8000-000000000002", 1)
	again = again[:strings.LastIndex(again, "[[copy]]")]
	put(t, file, given+again) // a new one with its name, at its place
	got, faults := Load(file)
	if faults != nil || len(got) != 1 || len(got[0].Copies) != 2 || got[0].Copies[1].Name != "shelf-drive" {
		t.Fatalf("%+v %v", got, faults)
	}
	put(t, file, given+strings.Replace(again, "00000000-0000-4000-8000-000000000001", idShelf, 1))
	if _, faults := Load(file); len(faults) != 1 || !strings.Contains(faults[0].Error(), "given up on 2026-07-02") || !strings.Contains(faults[0].Error(), "a.toml:29: copy.id") {
		t.Errorf("with the same id: %v", faults)
	}
	put(t, file, strings.Replace(given, "2026-07-02", "last summer", 1))
	if _, faults := Load(file); len(faults) != 1 || !strings.Contains(faults[0].Error(), "given_up: this is not a day") {
		t.Errorf("not a day: %v", faults)
	}
}
