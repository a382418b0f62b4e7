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

func full(dir string) Archive {
	return Archive{
		Name: "saltbush-draw", Title: "O'Brien \"Land\" & Cattle", Paper: PaperA4, Folder: filepath.Join(dir, `Monitoring "new" \ photos’ #1`), Layout: "{year}/{site}", Dates: "month first",
		State: filepath.Join(dir, "st"),
		Views: map[string][]string{"plot": {"nadir"}, "wind mill": {"tower", "vane"}},
		Years: Years{SeasonDays: 30, Meters: 12.5},
		Page:  Page{Listen: "127.0.0.1:8710"},
		Notice: Notice{To: []string{"<office@ranch.example>", "\"Draw, Saltbush\" <owner@ranch.example>"}, From: "<linecamp@ranch.example>", SMTP: "mail.ranch.example:465", TLS: TLSAtOnce,
			User: "linecamp", PasswordFile: filepath.Join(dir, "mail"), CAFile: filepath.Join(dir, "ca.pem"), Webhook: "https://hook.example/T0/secret", Alive: "https://alive.example/ping?id=3", Quiet: 45 * 24 * time.Hour},
		Schedule: Schedule{Mirror: "5 3 * * *", Verify: "0 4 * * 6", Drill: "0 6 3 * *"},
		Copies: []Copy{
			{Name: "shelf drive", Kind: KindDrive, Where: "bank box", Root: filepath.Join(dir, "drive"), ID: idShelf, Away: 36 * time.Hour},
			{Name: "bucket", Kind: KindS3, URL: "https://s3.example.net/b", ID: idBucket, Region: "r", Credentials: filepath.Join(dir, "keys"),
				CAFile: filepath.Join(dir, "ca.pem"), Addressing: "path", Fence: "none", ReadBack: true,
				Reread: Allowance{Bytes: 5e8, Per: "week", Text: "500MB/week"}},
		},
	}
}

func TestWritesWhatItReads(t *testing.T) {
	dir := alone(t)
	a := full(dir)
	a.File = filepath.Join(dir, "etc", "linecamp", "saltbush-draw.toml")
	if err := a.Write(a.File); err != nil {
		t.Fatal(err)
	}
	got, faults := Load(filepath.Dir(a.File))
	if faults != nil {
		t.Fatal(faults)
	}
	if len(got) != 1 || !reflect.DeepEqual(got[0], a) {
		t.Errorf("got  %+v\nwant %+v", got, a)
	}
	before, err := os.ReadFile(a.File)
	if err != nil {
		t.Fatal(err)
	}
	other := Archive{Name: "other"}
	if err := other.Write(a.File); !errors.Is(err, fs.ErrExist) {
		t.Errorf("writing over it: got %v, want fs.ErrExist", err)
	}
	after, err := os.ReadFile(a.File)
	if err != nil || string(after) != string(before) {
		t.Errorf("the config was changed (%v)", err)
	}
	onlyFile(t, a.File)
}

// onlyFile fails if anything else was left beside path.
func onlyFile(t *testing.T, path string) {
	t.Helper()
	entries, err := os.ReadDir(filepath.Dir(path))
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if e.Name() != filepath.Base(path) {
			t.Errorf("%s was left behind", e.Name())
		}
	}
}

func TestWriteRefusesWhatLoadRefuses(t *testing.T) {
	dir := filepath.Join(alone(t), "etc")
	bad := full(dir)
	bad.Copies[0].Root = bad.Folder
	latin := full(dir)
	latin.Folder = filepath.Join(dir, "Weidefl\xe4che")
	for _, a := range []Archive{bad, latin, {Name: "no good"}} {
		var e *Error
		if err := a.Write(filepath.Join(dir, "a.toml")); !errors.As(err, &e) {
			t.Errorf("%s: got %v, want an *Error", a.Name, err)
		}
	}
	if _, err := os.Stat(dir); !errors.Is(err, fs.ErrNotExist) {
		t.Error("something was written")
	}
}

func TestAddingACopyKeepsEveryLine(t *testing.T) {
	dir := alone(t)
	file := filepath.Join(dir, "etc", "a.toml")
	more := Copy{Name: "second drive", Kind: KindDrive, Root: "/media/second", ID: "00000000-0000-4000-8000-000000000001", Away: 14 * 24 * time.Hour}
	for name, old := range map[string]string{
		"plain":           example,
		"no line end":     strings.TrimRight(example, "\n"),
		"CRLF and BOM":    "\xef\xbb\xbf" + strings.ReplaceAll(example, "\n", "\r\n"),
		"comments at end": example + "\n# keep me\n",
	} {
		t.Run(name, func(t *testing.T) {
			put(t, file, old)
			if err := os.Chmod(file, 0o600); err != nil {
				t.Fatal(err)
			}
			if err := Rewrite(file, Adding(more)); err != nil {
				t.Fatal(err)
			}
			b, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			if !strings.HasPrefix(string(b), old) {
				t.Errorf("the lines before were changed:\n%s", b)
			}
			if crlf := strings.Contains(old, "\r\n"); crlf && strings.Count(string(b), "\n") != strings.Count(string(b), "\r\n") {
				t.Error("line ends are mixed")
			}
			got, faults := Load(file)
			if faults != nil || len(got[0].Copies) != 3 || !reflect.DeepEqual(got[0].Copies[2], more) {
				t.Errorf("got %+v, %v", got, faults)
			}
			if info, err := os.Stat(file); err != nil || info.Mode().Perm() != 0o600 {
				t.Errorf("rights became %v (%v)", info.Mode(), err)
			}
			onlyFile(t, file)
			if err := Rewrite(file, Adding(more)); err == nil || !strings.Contains(err.Error(), "same id") {
				t.Errorf("added twice: %v", err)
			}
			if again, err := os.ReadFile(file); err != nil || string(again) != string(b) {
				t.Errorf("a refused copy changed the file (%v)", err)
			}
			onlyFile(t, file)
		})
	}
}

func TestAddingACopyThroughALink(t *testing.T) {
	dir := alone(t)
	file, link := filepath.Join(dir, "real", "a.toml"), filepath.Join(dir, "a.toml")
	put(t, file, example)
	if err := os.Symlink(file, link); err != nil {
		t.Fatal(err)
	}
	c := Copy{Name: "x", Kind: KindS3, URL: "https://other.example.net/x", ID: "00000000-0000-4000-8000-000000000001"}
	if err := Rewrite(link, Adding(c)); err != nil {
		t.Fatal(err)
	}
	if info, err := os.Lstat(link); err != nil || info.Mode()&fs.ModeSymlink == 0 {
		t.Errorf("the link was replaced (%v)", err)
	}
	if got, faults := Load(file); faults != nil || len(got[0].Copies) != 3 {
		t.Errorf("got %v, %v", got, faults)
	}
}
