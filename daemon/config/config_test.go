package config

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"
)

const (
	idShelf  = "3f6c0d52-8a31-4c1e-9d57-0b6a4f2e7c19"
	idBucket = "b81e44a7-1f0d-4a55-8d0b-6c6f4a3e9d02"
)

// example is a config as a person would find it, with whole ids.
const example = `archive = "saltbush-draw"
folder  = "/srv/monitoring"             # absent for an archive this machine only keeps
layout  = "{pasture}/{site}/{date}"     # optional

[[copy]]
name = "shelf-drive"
kind = "drive"
root = "/media/office/line-camp"
id   = "` + idShelf + `"
away = "14d"                            # how long it may be unplugged

[[copy]]
name = "bucket"
kind = "s3"
url  = "https://s3.example.net/monitoring/saltbush-draw"
id   = "` + idBucket + `"
region = "us-west-2"
credentials = "env"
reread = "2GB/month"

[schedule]
mirror = "30 2 * * *"
verify = "0 4 * * 0"
`

// alone keeps a test away from the state and config folders of whoever runs it.
func alone(t testing.TB) string {
	t.Helper()
	dir, err := filepath.EvalSymlinks(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Setenv("STATE_DIRECTORY", "")
	t.Setenv("LINECAMP_CONFIG", "")
	t.Setenv("XDG_STATE_HOME", filepath.Join(dir, "state"))
	t.Setenv("XDG_CONFIG_HOME", filepath.Join(dir, "config"))
	t.Setenv("HOME", filepath.Join(dir, "home"))    // macOS
	t.Setenv("AppData", filepath.Join(dir, "home")) // Windows
	return dir
}

// usersFolder is where the user's own configs are, which alone has moved.
func usersFolder(t testing.TB, dir string) string {
	t.Helper()
	users, err := os.UserConfigDir()
	if err != nil || !strings.HasPrefix(users, dir) {
		t.Fatalf("the user's configs are in %s, %v; want them below %s", users, err, dir)
	}
	return filepath.Join(users, "linecamp")
}

func put(t testing.TB, path, text string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

func TestLoadsTheExample(t *testing.T) {
	file := filepath.Join(alone(t), "saltbush-draw.toml")
	want := Archive{
		Name: "saltbush-draw", Folder: "/srv/monitoring", Layout: "{pasture}/{site}/{date}", File: file,
		Schedule: Schedule{Mirror: "30 2 * * *", Verify: "0 4 * * 0", Drill: DefaultDrill},
		Copies: []Copy{
			{Name: "shelf-drive", Kind: KindDrive, Root: "/media/office/line-camp", ID: idShelf, Away: 14 * 24 * time.Hour},
			{Name: "bucket", Kind: KindS3, URL: "https://s3.example.net/monitoring/saltbush-draw", ID: idBucket,
				Region: "us-west-2", Credentials: "env", Reread: Allowance{Bytes: 2e9, Per: "month", Text: "2GB/month"}},
		},
	}
	for name, text := range map[string]string{
		"as it is":             example,
		"byte-order mark":      "\xef\xbb\xbf" + example,
		"CRLF":                 strings.ReplaceAll(example, "\n", "\r\n"),
		"byte-order mark+CRLF": "\xef\xbb\xbf" + strings.ReplaceAll(example, "\n", "\r\n"),
	} {
		t.Run(name, func(t *testing.T) {
			put(t, file, text)
			got, faults := Load(file)
			if faults != nil {
				t.Fatal(faults)
			}
			if len(got) != 1 || !reflect.DeepEqual(got[0], want) {
				t.Errorf("got %+v\nwant %+v", got, want)
			}
		})
	}
}

func TestRelativeFoldersStartFromTheFile(t *testing.T) {
	dir := alone(t)
	file := filepath.Join(dir, "ranch", "a.toml")
	put(t, file, "archive = 'a'\nfolder = 'photos'\nstate = '../st'\n[[copy]]\nname='d'\nkind='drive'\nid='"+idShelf+"'\nroot='../drive/'\n"+
		"[[copy]]\nname='b'\nkind='s3'\nid='"+idBucket+"'\nurl='http://127.0.0.1:9000/b/'\ncredentials='keys'\nca_file='ca.pem'\n")
	got, faults := Load(filepath.Dir(file))
	if faults != nil {
		t.Fatal(faults)
	}
	a := got[0]
	for _, c := range []struct{ what, got, want string }{
		{"folder", a.Folder, filepath.Join(dir, "ranch", "photos")},
		{"state", a.State, filepath.Join(dir, "st")},
		{"root", a.Copies[0].Root, filepath.Join(dir, "drive")},
		{"url", a.Copies[1].URL, "http://127.0.0.1:9000/b"},
		{"credentials", a.Copies[1].Credentials, filepath.Join(dir, "ranch", "keys")},
		{"ca_file", a.Copies[1].CAFile, filepath.Join(dir, "ranch", "ca.pem")},
		{"mirror", a.Schedule.Mirror, DefaultMirror},
		{"verify", a.Schedule.Verify, DefaultVerify},
		{"drill", a.Schedule.Drill, DefaultDrill},
		{"reread", a.Copies[1].Reread.Text, DefaultReread},
	} {
		if c.got != c.want {
			t.Errorf("%s is %q, want %q", c.what, c.got, c.want)
		}
	}
}

func TestYearsAreSettable(t *testing.T) {
	file := filepath.Join(alone(t), "a.toml")
	for text, want := range map[string]Years{
		"":                                    {},
		"[years]\n":                           {},
		"[years]\nseason_days = 30\n":         {SeasonDays: 30},
		"[years]\nmetres = 12.5\n":            {Meters: 12.5},
		"[years]\nmetres=80\nseason_days=1\n": {1, 80},
	} {
		put(t, file, "archive='a'\n"+text)
		got, faults := Load(file)
		if faults != nil || got[0].Years != want {
			t.Errorf("%q: %+v, %v", text, got, faults)
		}
	}
}

// The line of every fault is counted by hand.
func TestFaultsNameFileLineAndKey(t *testing.T) {
	dir := alone(t)
	secret := "hunter2"
	drive := "[[copy]]\nname='d'\nkind='drive'\nid='" + idShelf + "'\n" // 4 lines
	bucket := "[[copy]]\nname='b'\nkind='s3'\nid='" + idBucket + "'\n"
	if err := os.MkdirAll(filepath.Join(dir, "mon", "sub"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(filepath.Join(dir, "mon"), filepath.Join(dir, "link")); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ name, text, want, says string }{
		{"unknown key", "archive='a'\n\nfoldr='/x'\n", ":3: foldr: ", "there is no such setting here"},
		{"season days in quotes", "archive='a'\n[years]\nseason_days='21'\n", ":3: years.season_days: ", "text where a whole number is wanted"},
		{"half a day", "archive='a'\n[years]\nseason_days=1.5\n", ":3: years.season_days: ", "a whole number from 1 to 180"},
		{"no days", "archive='a'\n[years]\n\nseason_days=0\n", ":4: years.season_days: ", "0 cannot be"},
		{"too many metres", "archive='a'\n[years]\nmetres=5001\n", ":3: years.metres: ", "a number from 1 to 5000"},
		{"metres below nothing", "archive='a'\nyears.metres=-3\n", ":2: years.metres: ", "-3 cannot be"},
		{"metres that are no number", "archive='a'\n[years]\nmetres=nan\n", ":3: years.metres: ", "NaN cannot be"},
		{"unknown key of the years", "archive='a'\n[years]\nyards=3\n", ":3: years.yards: ", "settings here: feet, meters, metres, season_days"},
		{"years that are no table", "archive='a'\nyears=21\n", ":2: years: ", "begins with the line [years]"},
		{"unknown key in the second copy", "archive='a'\n" + drive + "root='/d'\n\n" + bucket + "url='https://h/b'\n# why\nbandwith='1'\n", ":14: copy.bandwith: ", "no such setting"},
		{"unknown table", "archive='a'\n[notify]\nx=1\n", ":2: notify: ", "no such setting"},
		{"unknown key in the schedule", "archive='a'\n[schedule]\nmend='0 0 * * *'\n", ":3: schedule.mend: ", "no such setting"},
		{"letter case of a key", "Archive='a'\narchive='a'\n", ":1: Archive: ", "no such setting"},
		{"no name", "folder='/x'\n", ":1: archive: ", "has no name"},
		{"empty name", "\narchive=''\n", ":2: archive: ", "is empty"},
		{"bad name", "archive='Salt Bush'\n", ":1: archive: ", "small letters"},
		{"a number for text", "archive='a'\nfolder=5\n", ":2: folder: ", "a number where text is wanted"},
		{"a list for text", "archive='a'\nlayout=['x']\n", ":2: layout: ", "a list where text"},
		{"copy as one table", "archive='a'\n[copy]\nname='d'\n", ":2: copy: ", "two brackets"},
		{"schedule as text", "archive='a'\nschedule='daily'\n", ":2: schedule: ", "[schedule]"},
		{"not TOML", "archive='a'\nfolder = /srv\n", ":2: folder: ", "this line cannot be read"},
		{"key twice", "archive='a'\narchive='b'\n", ":2: archive: ", "this line cannot be read"},
		{"UTF-16", "\xff\xfea\x00r\x00", ":1: ", "UTF-16"},
		{"not UTF-8", "archive='a'\nfolder='/srv/Weidefl\xe4che'\n", ":2: ", "UTF-8"},
		{"line end in a path", "archive='a'\nfolder=\"/srv/\\nmon\"\n", ":2: folder: ", "control character"},
		{"layout", "archive='a'\nlayout='{pasture}/{stie}/{date}'\n", ":2: layout: ", "{stie}"},
		{"an order of dates", "archive='a'\ndates='american'\n", ":2: dates: ", "month first"},
		{"tilde", "archive='a'\nfolder='~/photos'\n", ":2: folder: ", "~ is not understood"},
		{"cron with four fields", "archive='a'\n[schedule]\nmirror='30 2 * *'\n", ":3: schedule.mirror: ", "five fields"},
		{"cron out of range", "archive='a'\n[schedule]\nmirror='0 0 * * *'\nverify='61 2 * * *'\n", ":4: schedule.verify: ", "five fields"},
		{"cron by name", "archive='a'\n[schedule]\nmirror='@daily'\n", ":3: schedule.mirror: ", "five fields"},
		{"cron with a time zone", "archive='a'\n[schedule]\nmirror='TZ=UTC 2 * * *'\n", ":3: schedule.mirror: ", "five fields"},
		{"cron that never comes", "archive='a'\n[schedule]\nmirror='0 0 31 2 *'\n", ":3: schedule.mirror: ", "never comes"},
		{"copy without kind", "archive='a'\n[[copy]]\nname='d'\nid='" + idShelf + "'\n", ":2: copy.kind: ", "does not say what it is"},
		{"unknown kind", "archive='a'\n[[copy]]\nname='d'\nid='" + idShelf + "'\nkind='tape'\n", ":5: copy.kind: ", "no kind of copy \"tape\""},
		{"copy without name", "archive='a'\n[[copy]]\nkind='drive'\nroot='/d'\nid='" + idShelf + "'\n", ":2: copy.name: ", "has no name"},
		{"copy named working", "archive='a'\n[[copy]]\nname='Working'\nkind='drive'\nroot='/d'\nid='" + idShelf + "'\n", ":3: copy.name: ", "your folder"},
		{"copy without id", "archive='a'\n[[copy]]\nname='d'\nkind='drive'\nroot='/d'\n", ":2: copy.id: ", "has no id"},
		{"bad id", "archive='a'\n[[copy]]\nname='d'\nkind='drive'\nroot='/d'\nid='3f6c…'\n", ":6: copy.id: ", "not the id of a copy"},
		{"drive without root", "archive='a'\n" + drive, ":2: copy.root: ", "does not say where"},
		{"bucket without url", "archive='a'\n" + bucket, ":2: copy.url: ", "does not say where"},
		{"url on a drive", "archive='a'\n" + drive + "root='/d'\nurl='https://h/b'\n", ":7: copy.url: ", "for a copy of kind \"s3\""},
		{"away on a bucket", "archive='a'\n" + bucket + "url='https://h/b'\naway='1d'\n", ":7: copy.away: ", "for a copy of kind \"drive\""},
		{"bad away", "archive='a'\n" + drive + "root='/d'\naway='two weeks'\n", ":7: copy.away: ", "not a length of time"},
		{"bad reread", "archive='a'\n" + bucket + "url='https://h/b'\nreread='2GB'\n", ":7: copy.reread: ", "how much in which time"},
		{"bad fence", "archive='a'\n" + bucket + "url='https://h/b'\nfence='off'\n", ":7: copy.fence: ", "\"none\""},
		{"bad addressing", "archive='a'\n" + bucket + "url='https://h/b'\naddressing='x'\n", ":7: copy.addressing: ", "\"path\""},
		{"read_back in quotes", "archive='a'\n" + bucket + "url='https://h/b'\nread_back='yes'\n", ":7: copy.read_back: ", "true or false"},
		{"http over the net", "archive='a'\n" + bucket + "url='http://s3.example.net/b'\n", ":6: copy.url: ", "use https"},
		{"other scheme", "archive='a'\n" + bucket + "url='s3://b/p'\n", ":6: copy.url: ", "not a web address"},
		{"no bucket", "archive='a'\n" + bucket + "url='https://s3.example.net/'\n", ":6: copy.url: ", "names no bucket"},
		{"dots in the url", "archive='a'\n" + bucket + "url='https://s3.example.net/b/../c'\n", ":6: copy.url: ", "empty part, . or .."},
		{"question mark", "archive='a'\n" + bucket + "url='https://s3.example.net/b?sig=" + secret + "'\n", ":6: copy.url: ", "with ? or #"},
		{"credentials in the url", "archive='a'\n" + bucket + "url='https://AKIA:" + secret + "@s3.example.net/b'\n", ":6: copy.url: ", "holds credentials"},
		{"credentials in a broken url", "archive='a'\n" + bucket + "url='https://AKIA:" + secret + "@s3.example.net:port/b'\n", ":6: copy.url: ", "not the address of a bucket"},
		{"secret under an unknown key", "archive='a'\n" + bucket + "url='https://h/b'\nsecret='" + secret + "'\n", ":7: copy.secret: ", "no such setting"},
		{"same id", "archive='a'\n" + drive + "root='/d'\n[[copy]]\nname='e'\nkind='drive'\nroot='/e'\nid='" + strings.ToUpper(idShelf) + "'\n", ":11: copy.id: ", "\"d\" has the same id"},
		{"same name", "archive='a'\n" + drive + "root='/d'\n[[copy]]\nname='D'\nkind='drive'\nroot='/e'\nid='" + idBucket + "'\n", ":8: copy.name: ", "same name"},
		{"same bucket", "archive='a'\n" + bucket + "url='https://h/b/p'\n[[copy]]\nname='c'\nkind='s3'\nid='" + idShelf + "'\nurl='https://H:443/b/p/'\n", ":11: copy.url: ", "same place"},
		{"prefix in prefix", "archive='a'\n" + bucket + "url='https://h/b/p'\n[[copy]]\nname='c'\nkind='s3'\nid='" + idShelf + "'\nurl='https://h/b/p/q'\n", ":11: copy.url: ", "inside the other"},
		{"copy is the working folder", "archive='a'\nfolder='mon'\n" + drive + "root='mon'\n", ":7: copy.root: ", "is your folder itself"},
		{"copy inside the working folder", "archive='a'\nfolder='mon'\n" + drive + "root='mon/new/copy'\n", ":7: copy.root: ", "this copy lies inside your folder"},
		{"copy inside through a link", "archive='a'\nfolder='mon'\n" + drive + "root='link/new/copy'\n", ":7: copy.root: ", "this copy lies inside your folder"},
		{"working folder inside the copy", "archive='a'\nfolder='mon/sub'\n" + drive + "root='mon'\n", ":7: copy.root: ", "your folder lies inside this copy"},
		{"working folder inside through a link", "archive='a'\nfolder='link/sub'\n" + drive + "root='mon'\n", ":7: copy.root: ", "your folder lies inside this copy"},
		{"working folder not there yet", "archive='a'\nfolder='/nowhere/mon'\n" + drive + "root='/nowhere/mon/x'\n", ":7: copy.root: ", "this copy lies inside"},
		{"copy inside a copy", "archive='a'\n" + drive + "root='mon'\n[[copy]]\nname='e'\nkind='drive'\nid='" + idBucket + "'\nroot='mon/sub'\n", ":11: copy.root: ", "one inside the other"},
		{"state inside the working folder", "archive='a'\nfolder='mon'\nstate='mon/state'\n", ":3: state: ", "inside your folder"},
		{"usual state inside the working folder", "archive='a'\nfolder='" + dir + "'\n", ":1: state: ", "inside your folder"},
		{"state inside a copy", "archive='a'\nstate='mon/state'\n" + drive + "root='mon'\n", ":7: copy.root: ", "state folder lies inside this copy"},
		{"view called untold", "archive='a'\n[views]\nuntold=['x']\n", ":3: views.untold: ", "cannot be called"},
		{"word of two views", "archive='a'\n[views]\nplot=['near']\nwide=['Near']\n", ":4: views.wide: ", "one view only"},
		{"words that are none", "archive='a'\n[views]\nplot=[1]\n", ":3: views.plot: ", "every word"},
		{"words as text", "archive='a'\n[views]\nplot='near'\n", ":3: views.plot: ", "list of words"},
	} {
		t.Run(c.name, func(t *testing.T) {
			file := filepath.Join(dir, "a.toml")
			put(t, file, c.text)
			got, faults := Load(file)
			if len(got) != 0 || len(faults) != 1 {
				t.Fatalf("got %d archives and %d errors, want 0 and 1", len(got), len(faults))
			}
			var e *Error
			if !errors.As(faults[0], &e) {
				t.Fatalf("%T is not an *Error", faults[0])
			}
			text := e.Error()
			if !strings.HasPrefix(text, file+c.want) || !strings.Contains(text, c.says) {
				t.Errorf("got  %s\nwant %s%s… %s", text, file, c.want, c.says)
			}
			if len(e.Problems) != 1 {
				t.Errorf("%d problems, want 1: %s", len(e.Problems), text)
			}
			if strings.Contains(text, secret) {
				t.Errorf("the message repeats the secret: %s", text)
			}
		})
	}
}

func TestAllFaultsOfAFileAtOnce(t *testing.T) {
	file := filepath.Join(alone(t), "a.toml")
	put(t, file, "archive='a'\nfolder=1\n[schedule]\nmirror='x'\n")
	_, faults := Load(file)
	var e *Error
	if len(faults) != 1 || !errors.As(faults[0], &e) || len(e.Problems) != 2 || e.Archive != "a" {
		t.Fatalf("got %v, want two problems of archive a", faults)
	}
}

func TestAllowedNeighbors(t *testing.T) {
	dir := alone(t)
	for name, text := range map[string]string{
		"names that begin alike":    "archive='a'\nfolder='/srv/mon'\n[[copy]]\nname='d'\nkind='drive'\nroot='/srv/monitor'\nid='" + idShelf + "'\n",
		"drives swapped":            "archive='a'\n[[copy]]\nname='odd months'\nkind='drive'\nroot='/media/x'\nid='" + idShelf + "'\n[[copy]]\nname='even months'\nkind='drive'\nroot='/media/x'\nid='" + idBucket + "'\n",
		"prefixes that begin alike": "archive='a'\n[[copy]]\nname='d'\nkind='s3'\nurl='https://h/b/mon'\nid='" + idShelf + "'\n[[copy]]\nname='e'\nkind='s3'\nurl='https://h/b/monitor'\nid='" + idBucket + "'\n",
		"bucket in the host":        "archive='a'\n[[copy]]\nname='d'\nkind='s3'\naddressing='host'\nurl='https://mon.s3.example.net'\nid='" + idShelf + "'\n",
		"no copies":                 "archive='a'\n",
		"copies in one line":        "archive='a'\ncopy=[{name='d', kind='drive', root='/d', id='" + idShelf + "'}]\n",
	} {
		t.Run(name, func(t *testing.T) {
			file := filepath.Join(dir, "a.toml")
			put(t, file, text)
			if got, faults := Load(file); len(got) != 1 || faults != nil {
				t.Fatalf("got %v, %v", got, faults)
			}
		})
	}
}

func TestAFolderOfConfigs(t *testing.T) {
	dir := alone(t)
	put(t, filepath.Join(dir, "c", "1-good.toml"), "archive='good'\n")
	put(t, filepath.Join(dir, "c", "2-bad.toml"), "archive='bad'\nfoldr='x'\n")
	put(t, filepath.Join(dir, "c", "3-twin.toml"), "archive='twin'\n")
	put(t, filepath.Join(dir, "c", "4-twin.toml"), "\narchive='twin'\n")
	put(t, filepath.Join(dir, "c", "5-also.TOML"), "archive='also'\n")
	put(t, filepath.Join(dir, "c", ".6-hidden.toml"), "nonsense")
	put(t, filepath.Join(dir, "c", "7.toml~"), "nonsense")
	got, faults := Load(filepath.Join(dir, "c"))
	if len(got) != 2 || got[0].Name != "good" || got[1].Name != "also" {
		t.Errorf("loaded %v, want good and also", got)
	}
	wants := []string{"2-bad.toml:2: foldr: ", "3-twin.toml:1: archive: ", "4-twin.toml:2: archive: "}
	if len(faults) != len(wants) {
		t.Fatalf("got %v, want three errors", faults)
	}
	for i, want := range wants {
		if !strings.HasPrefix(faults[i].Error(), filepath.Join(dir, "c", want)) {
			t.Errorf("error %d is %v, want %s", i, faults[i], want)
		}
	}
}

func TestArchivesInEachOthersWay(t *testing.T) {
	dir := alone(t)
	one := "archive='one'\nfolder='/srv/one'\n[[copy]]\nname='d'\nkind='drive'\nroot='/media/one'\nid='" + idShelf + "'\n"
	for _, c := range []struct{ name, other, inOne, inOther string }{
		{"same copy id", "archive='two'\n[[copy]]\nname='e'\nkind='drive'\nroot='/media/two'\nid='" + idShelf + "'\n", ":7: copy.id: ", ":6: copy.id: "},
		{"copy in the other's folder", "archive='two'\n[[copy]]\nname='e'\nkind='drive'\nroot='/srv/one/x'\nid='" + idBucket + "'\n", ":2: folder: ", ":5: copy.root: "},
		{"folder in the other's copy", "archive='two'\nfolder='/media/one/x'\n", ":6: copy.root: ", ":2: folder: "},
	} {
		t.Run(c.name, func(t *testing.T) {
			a, b := filepath.Join(dir, "c", "a.toml"), filepath.Join(dir, "c", "b.toml")
			put(t, a, one)
			put(t, b, c.other)
			got, faults := Load(filepath.Join(dir, "c"))
			if len(got) != 0 || len(faults) != 2 {
				t.Fatalf("got %v, %v; want two errors", got, faults)
			}
			if !strings.HasPrefix(faults[0].Error(), a+c.inOne) || !strings.HasPrefix(faults[1].Error(), b+c.inOther) {
				t.Errorf("got %v", faults)
			}
		})
	}
}

func TestNothingToRead(t *testing.T) {
	dir := alone(t)
	if err := os.Mkdir(filepath.Join(dir, "empty"), 0o755); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{filepath.Join(dir, "absent.toml"), filepath.Join(dir, "empty")} {
		_, faults := Load(path)
		if len(faults) != 1 || !errors.Is(faults[0], fs.ErrNotExist) ||
			!strings.HasPrefix(faults[0].Error(), path+": ") || !strings.Contains(faults[0].Error(), "linecamp setup") {
			t.Errorf("%s: got %v", path, faults)
		}
	}
	put(t, filepath.Join(dir, "file"), "")
	_, faults := Load(filepath.Join(dir, "file", "a.toml"))
	if len(faults) != 1 || !strings.Contains(faults[0].Error(), "cannot be read (not a directory)") {
		t.Errorf("below a file: got %v", faults)
	}
}

func TestAFileOfSomeoneElse(t *testing.T) {
	locked := filepath.Join(alone(t), "locked.toml")
	put(t, locked, example)
	if err := os.Chmod(locked, 0); err != nil {
		t.Fatal(err)
	}
	if f, err := os.Open(locked); err == nil {
		f.Close()
		t.Skip("this user may read everything")
	}
	_, faults := Load(locked)
	if len(faults) != 1 || !errors.Is(faults[0], fs.ErrPermission) || !strings.Contains(faults[0].Error(), "cannot be read") {
		t.Errorf("got %v", faults)
	}
}

func TestFindsTheConfig(t *testing.T) {
	dir := alone(t)
	users := usersFolder(t, dir)
	put(t, filepath.Join(users, "a.toml"), "archive='a'\n")
	if got := Find(""); got != users {
		t.Errorf("the user's folder: got %s, want %s", got, users)
	}
	t.Setenv("LINECAMP_CONFIG", "/from/env")
	if got := Find(""); got != "/from/env" {
		t.Errorf("the environment: got %s", got)
	}
	if got := Find("/from/flag"); got != "/from/flag" {
		t.Errorf("the flag: got %s", got)
	}
}

func TestStateFolders(t *testing.T) {
	dir := alone(t)
	check := func(a Archive, want, machine string) {
		t.Helper()
		if got, err := a.StateDir(); err != nil || got != want {
			t.Errorf("got %s, %v; want %s", got, err, want)
		}
		if got, err := a.MachineDir(); err != nil || got != machine {
			t.Errorf("the machine's: got %s, %v; want %s", got, err, machine)
		}
	}
	base := filepath.Join(dir, "state", "linecamp")
	check(Archive{Name: "a"}, filepath.Join(base, "a"), base)
	check(Archive{Name: "a", State: "/x"}, "/x", "/x")
	t.Setenv("STATE_DIRECTORY", "/var/lib/here:/var/lib/there")
	if os.PathListSeparator == ':' {
		check(Archive{Name: "a"}, "/var/lib/here/a", "/var/lib/here")
	}
}
