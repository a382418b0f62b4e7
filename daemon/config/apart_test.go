package config

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"linecamp/daemon/config/claims"
)

// crossings are settings of a second archive that reach for what is the first one's.
// FIRST stands for its folder, its state and its settings' place.
var crossings = map[string]struct{ key, text string }{
	"its folder":                          {"folder", "folder = 'FIRST/folder'\n"},
	"inside its folder":                   {"folder", "folder = 'FIRST/folder/North'\n"},
	"around its folder":                   {"folder", "folder = 'FIRST'\n"},
	"its folder through a link":           {"folder", "folder = 'FIRST/link'\n"},
	"below a link to its folder":          {"folder", "folder = 'FIRST/link/North'\n"},
	"its state":                           {"state", "state = 'FIRST/state/first'\n"},
	"below its state":                     {"state", "state = 'FIRST/state/first/cache'\n"},
	"around its state":                    {"state", "state = 'FIRST/state'\n"},
	"its state through a link":            {"state", "state = 'FIRST/link-to-state'\n"},
	"its folder as a state":               {"state", "state = 'FIRST/folder/x'\n"},
	"its state as a folder":               {"folder", "folder = 'FIRST/state/first'\n"},
	"its settings and keys":               {"folder", "folder = 'FIRST/keys'\n"},
	"a copy in its folder":                {"copy.root", copyOf("drive", "root = 'FIRST/folder/x'")},
	"a copy in its copy":                  {"copy.root", copyOf("drive", "root = 'FIRST/shelf/extensions'")},
	"a copy around its copy":              {"copy.root", copyOf("drive", "root = 'FIRST'")},
	"a copy in its state":                 {"copy.root", copyOf("drive", "root = 'FIRST/state/first/x'")},
	"its copy's id":                       {"copy.id", copyOf("drive", "root = '/media/elsewhere'", idShelf)},
	"its prefix":                          {"copy.url", copyOf("s3", "url = 'https://s3.example.net/monitoring/first'")},
	"inside its prefix":                   {"copy.url", copyOf("s3", "url = 'https://S3.example.net:443/monitoring/first/x'")},
	"around its prefix":                   {"copy.url", copyOf("s3", "url = 'https://s3.example.net/monitoring'")},
	"its prefix by the bucket's host":     {"copy.url", copyOf("s3", "url = 'https://monitoring.s3.example.net/first'\naddressing = 'host'")},
	"its mail's password, sent elsewhere": {"notice.password_file", "[notice]\nto = 'a@b.example'\nfrom = 'a@b.example'\nsmtp = 'evil.example:587'\nuser = 'a'\npassword_file = 'FIRST/keys/mail.key'\n"},
	"its bucket's keys as a password":     {"notice.password_file", "[notice]\nto = 'a@b.example'\nfrom = 'a@b.example'\nsmtp = 'mail.example:587'\nuser = 'a'\npassword_file = 'FIRST/keys/first.keys'\n"},
	"its name":                            {"archive", "archive = 'first'\n"},
}

func copyOf(kind, where string, id ...string) string {
	return fmt.Sprintf("[[copy]]\nname = 'c'\nkind = '%s'\n%s\nid = '%s'\n", kind, where, append(id, idBarn)[0])
}

const idBarn = "9a1c0d52-8a31-4c1e-9d57-0b6a4f2e7c19"

// crossed lays two settings out, the second of which reaches for the first one's.
func crossed(t *testing.T, text string) (settings, first, second string) {
	dir := alone(t)
	at := filepath.Join(dir, "first")
	for _, d := range []string{"folder/North", "state/first/cache", "keys", "shelf/extensions"} {
		if err := os.MkdirAll(filepath.Join(at, filepath.FromSlash(d)), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	for link, to := range map[string]string{"link": "folder", "link-to-state": "state/first"} {
		if err := os.Symlink(filepath.Join(at, filepath.FromSlash(to)), filepath.Join(at, link)); err != nil {
			t.Fatal(err)
		}
	}
	put(t, filepath.Join(at, "keys", "first.keys"), "")
	put(t, filepath.Join(at, "keys", "mail.key"), "")
	text = strings.ReplaceAll(text, "FIRST", filepath.ToSlash(at))
	if !strings.HasPrefix(text, "archive") {
		text = "archive = 'second'\n" + text
	}
	settings = filepath.Join(dir, "c")
	first, second = filepath.Join(settings, "a.toml"), filepath.Join(settings, "b.toml")
	put(t, first, strings.ReplaceAll("archive = 'first'\nfolder = 'FIRST/folder'\nstate = 'FIRST/state/first'\n"+
		"[notice]\nto = 'a@b.example'\nfrom = 'a@b.example'\nsmtp = 'mail.example:587'\nuser = 'a'\npassword_file = 'FIRST/keys/mail.key'\n"+
		copyOf("drive", "root = 'FIRST/shelf'", idShelf)+copyOf("s3", "url = 'https://s3.example.net/monitoring/first'\ncredentials = 'FIRST/keys/first.keys'", idBucket),
		"FIRST", filepath.ToSlash(at)))
	s, err := os.ReadFile(first)
	if err != nil {
		t.Fatal(err)
	}
	put(t, first, strings.Replace(string(s), "name = 'c'\nkind = 's3'", "name = 'bucket'\nkind = 's3'", 1))
	put(t, second, text)
	return settings, first, second
}

var noon = time.Date(2026, 11, 28, 12, 0, 0, 0, time.UTC)

// Whoever was there before goes on; where nothing tells, neither does. The other's file
// is named only to whoever runs the machine.
func TestSettingsThatReachForAnothersAreRefused(t *testing.T) {
	for name, c := range crossings {
		t.Run(name, func(t *testing.T) {
			settings, first, second := crossed(t, c.text)
			got, faults := Load(settings)
			if len(got) != 0 || len(faults) != 2 {
				t.Fatalf("of two that nobody knows: %v, %v", got, faults)
			}
			one, all := Load(first)
			if len(one) != 1 {
				t.Fatal(all)
			}
			if err := claims.Note(one[0].State, one[0].Claims(), noon); err != nil {
				t.Fatal(err)
			}
			got, faults = Load(settings)
			if len(got) != 1 || got[0].File != first || len(faults) != 1 {
				t.Fatalf("of one that was there before: %v, %v", got, faults)
			}
			e := faults[0].(*Error)
			if !strings.HasPrefix(e.Error(), second+":") || !strings.Contains(e.Error(), ": "+c.key+": ") || !strings.Contains(e.Error(), first) {
				t.Errorf("who runs the machine is told %q, want the key %s", e, c.key)
			}
			if strings.Contains(e.Told(), first) || strings.Contains(e.Told(), "first'") || !strings.Contains(e.Told(), "another archive") {
				t.Errorf("the archive is told %q", e.Told())
			}
			other, _ := Load(second)
			if len(other) != 1 || other[0].Against(one) == nil {
				t.Fatalf("setup would let it be: %v", other)
			}
			if name == "its state" || name == "its state through a link" {
				return // there is one memory, of whoever was opened last
			}
			state, err := other[0].StateDir() // it is opened alone, held against nobody
			if err == nil {
				err = os.MkdirAll(state, 0o700)
			}
			if err == nil {
				err = claims.Note(state, other[0].Claims(), noon.Add(time.Hour))
			}
			if err != nil {
				t.Fatal(err)
			}
			got, faults = Load(settings)
			if len(got) != 1 || got[0].File != first || len(faults) != 1 {
				t.Errorf("of one that was there before, where the other was opened alone since: %v, %v", got, faults)
			}
		})
	}
}

// What two archives may share: a mail server with its password, keys of one bucket
// service, a place where drives trade places, folders and prefixes side by side.
func TestWhatArchivesMayShare(t *testing.T) {
	for name, text := range map[string]string{
		"the mail's password":  "[notice]\nto = 'c@b.example'\nfrom = 'a@b.example'\nsmtp = 'mail.example:587'\nuser = 'a'\npassword_file = 'FIRST/keys/mail.key'\n",
		"the bucket's keys":    copyOf("s3", "url = 'https://s3.example.net/monitoring/first-2'\ncredentials = 'FIRST/keys/first.keys'"),
		"a drive's place":      copyOf("drive", "root = 'FIRST/shelf'"),
		"a folder beside":      "folder = 'FIRST/folder2'\nstate = 'FIRST/state/first2'\n",
		"nothing but the disk": "folder = 'FIRST/other'\n" + copyOf("drive", "root = 'FIRST/shelf2'"),
	} {
		t.Run(name, func(t *testing.T) {
			settings, _, _ := crossed(t, text)
			if got, faults := Load(settings); len(got) != 2 {
				t.Errorf("got %v, %v", got, faults)
			}
		})
	}
}

// An archive that changes its own settings while another's reach for its places goes on.
func TestAnEditWhileAnotherReachesStopsNothing(t *testing.T) {
	settings, first, _ := crossed(t, crossings["its prefix"].text)
	one, _ := Load(first)
	if err := claims.Note(one[0].State, one[0].Claims(), noon); err != nil {
		t.Fatal(err)
	}
	s, err := os.ReadFile(first)
	if err != nil {
		t.Fatal(err)
	}
	put(t, first, string(s)+strings.Replace(copyOf("drive", "root = '/media/new'", "11110d52-8a31-4c1e-9d57-0b6a4f2e7c19"), "'c'", "'new'", 1))
	got, faults := Load(settings)
	if !slices.ContainsFunc(got, func(a Archive) bool { return a.File == first && len(a.Copies) == 3 }) || len(faults) != 1 {
		t.Errorf("got %v, %v", got, faults)
	}
}
