package setup_test

import (
	"errors"
	"io"
	"io/fs"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"github.com/minio/minio-go/v7"

	"linecamp/daemon"
	"linecamp/daemon/config"
	"linecamp/daemon/setup"
	"linecamp/daemon/show/text"
	"linecamp/manifest/store"
	"linecamp/manifest/store/drive"
	"linecamp/manifest/store/s3"
	"linecamp/manifest/store/s3test"
)

type desk struct {
	*testing.T
	dir string
	o   setup.Options
}

// newDesk is a person's answers: a folder with a photo in it, one drive.
func newDesk(t *testing.T) *desk {
	dir := t.TempDir()
	d := &desk{T: t, dir: dir}
	d.write("monitoring/Windmill/Stake 3/2024-06-21/plot.jpg", "a picture")
	d.o = setup.Options{
		Archive: "saltbush-draw", Folder: d.path("monitoring"), Config: d.path("settings"), State: d.path("state"),
		Drives: []setup.NamedDir{{Name: "shelf", Dir: d.path("shelf")}},
		Log:    slog.New(slog.NewTextHandler(io.Discard, nil)),
	}
	return d
}

func (d *desk) path(p string) string { return filepath.Join(d.dir, filepath.FromSlash(p)) }

func (d *desk) write(p, text string) {
	d.Helper()
	if err := os.MkdirAll(filepath.Dir(d.path(p)), 0o755); err != nil {
		d.Fatal(err)
	}
	if err := os.WriteFile(d.path(p), []byte(text), 0o644); err != nil {
		d.Fatal(err)
	}
}

func (d *desk) run() setup.Report {
	d.Helper()
	r, err := setup.Run(d.Context(), d.o)
	if err != nil {
		d.Fatal(err)
	}
	return r
}

func (d *desk) missing(paths ...string) {
	d.Helper()
	for _, p := range paths {
		if _, err := os.Lstat(d.path(p)); !errors.Is(err, fs.ErrNotExist) {
			d.Errorf("%s was made", p)
		}
	}
}

func (d *desk) load() config.Archive {
	d.Helper()
	all, errs := config.Load(d.path("settings"))
	if len(errs) > 0 || len(all) != 1 {
		d.Fatalf("%d configs, %v", len(all), errs)
	}
	return all[0]
}

func (d *desk) bucket() *s3test.Server {
	d.Helper()
	s := s3test.Fake(d)
	address, err := s.Bucket(d.Context(), "monitoring")
	if err != nil {
		d.Fatal(err)
	}
	d.Setenv("AWS_ACCESS_KEY_ID", s.Access)
	d.Setenv("AWS_SECRET_ACCESS_KEY", s.Secret)
	d.o.S3s = []setup.NamedURL{{Name: "bucket", URL: address + "/saltbush-draw"}}
	d.o.Region = s.Region
	return s
}

func TestSetup(t *testing.T) {
	d := newDesk(t)
	d.bucket()
	r := d.run()
	if len(r.Copies) != 2 || r.Wants() {
		t.Fatalf("the report is %+v", r)
	}
	cfg := d.load()
	if cfg.Name != "saltbush-draw" || cfg.Folder != d.o.Folder || len(cfg.Copies) != 2 {
		t.Fatalf("the config is %+v", cfg)
	}
	root, err := drive.Open(d.path("shelf"), cfg.Copies[0].ID)
	if err != nil {
		t.Fatal(err)
	}
	defer root.Close()
	drive, err := root.Identity(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	bucket, err := cfg.Copies[1].Open(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer bucket.Close()
	there, err := bucket.Identity(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if drive.ArchiveID != there.ArchiveID || drive.CopyID == there.CopyID || there.CopyID != cfg.Copies[1].ID || drive.Archive != "saltbush-draw" {
		t.Errorf("the roots are %+v and %+v", drive, there)
	}
	// It says so where overwritten versions are not kept.
	var b strings.Builder
	text.Print(&b, r)
	if !strings.Contains(b.String(), "bucket versioning") {
		t.Errorf("nothing is said of versions: %s", b.String())
	}
	// No litter.
	if left, _ := filepath.Glob(d.path("shelf/.linecamp*")); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}

func TestRefusals(t *testing.T) {
	for _, c := range []struct {
		name    string
		prepare func(d *desk)
		is      error
		says    string
		missing []string
	}{
		{"no copy", func(d *desk) { d.o.Drives = nil }, setup.ErrAnswers, "no copy", []string{"settings"}},
		{"no name", func(d *desk) { d.o.Archive = "" }, setup.ErrAnswers, "name", []string{"settings", "shelf"}},
		{"a name with a slash", func(d *desk) { d.o.Archive = "a/b" }, setup.ErrAnswers, "name", []string{"settings", "shelf"}},
		{"no folder", func(d *desk) { d.o.Folder = d.path("nowhere") }, setup.ErrAnswers, "nowhere", []string{"settings", "shelf"}},
		{"the folder is a file", func(d *desk) { d.o.Folder = d.path("monitoring/Windmill/Stake 3/2024-06-21/plot.jpg") }, setup.ErrAnswers, "is a file", []string{"settings", "shelf"}},
		{"a copy inside the folder", func(d *desk) { d.o.Drives[0].Dir = d.path("monitoring/copy") }, setup.ErrAnswers, "inside", []string{"settings", "monitoring/copy"}},
		{"the folder inside a copy", func(d *desk) { d.o.Drives[0].Dir = d.dir }, setup.ErrAnswers, "inside", []string{"settings", "extensions"}},
		{"two copies of one name", func(d *desk) {
			d.o.Drives = append(d.o.Drives, setup.NamedDir{Name: "Shelf", Dir: d.path("barn")})
		}, setup.ErrAnswers, "name", []string{"settings", "shelf", "barn"}},
		{"the drive is a file", func(d *desk) { d.write("shelf", "") }, store.ErrNotAFolder, "shelf", []string{"settings"}},
		{"the drive holds something else", func(d *desk) { d.write("shelf/holidays.jpg", "") }, store.ErrNotEmpty, "holidays.jpg", []string{"settings", "shelf/extensions"}},
		{"the drive is not mounted", func(d *desk) { d.o.Drives[0].Dir = d.path("media/office/line-camp") }, store.ErrNotHere, "line-camp", []string{"settings", "media"}},
		{"a config is there", func(d *desk) { d.write("settings/saltbush-draw.toml", "archive = \"mine\"\n") }, setup.ErrConfigExists, "left as it is", []string{"shelf"}},
		{"another config has the archive", func(d *desk) {
			d.run()
			if err := os.Rename(d.path("settings/saltbush-draw.toml"), d.path("settings/other.toml")); err != nil {
				d.Fatal(err)
			}
			d.o.Drives[0].Dir = d.path("barn")
		}, setup.ErrConfigExists, "other.toml", []string{"settings/saltbush-draw.toml", "barn"}},
		{"another archive's drive", func(d *desk) {
			o := d.o
			o.Archive, o.Config = "north-fork", d.path("other.toml")
			if _, err := setup.Run(d.Context(), o); err != nil {
				d.Fatal(err)
			}
		}, setup.ErrOtherArchive, "north-fork", []string{"settings"}},
		{"one of two drives fails", func(d *desk) {
			d.o.Drives = append(d.o.Drives, setup.NamedDir{Name: "barn", Dir: d.path("barn")})
			d.write("barn", "a file")
		}, store.ErrNotAFolder, "barn", []string{"settings", "shelf/0=ocfl_1.1"}},
		{"no such bucket", func(d *desk) {
			d.bucket()
			d.o.S3s[0].URL = strings.Replace(d.o.S3s[0].URL, "/monitoring/", "/nowhere/", 1)
		}, store.ErrNoBucket, "nowhere", []string{"settings", "shelf/0=ocfl_1.1"}},
		{"keys not set", func(d *desk) {
			d.bucket()
			d.Setenv("AWS_ACCESS_KEY_ID", "")
		}, store.ErrCredentials, "AWS_ACCESS_KEY_ID", []string{"settings", "shelf/0=ocfl_1.1"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := newDesk(t)
			c.prepare(d)
			_, err := setup.Run(t.Context(), d.o)
			if !errors.Is(err, c.is) || !strings.Contains(err.Error(), c.says) {
				t.Fatalf("setup said %v, want %q with %q in it", err, c.is, c.says)
			}
			if c.name != "a config is there" && c.name != "another config has the archive" {
				d.missing("settings/saltbush-draw.toml")
			}
			for _, m := range c.missing {
				if m != "settings" {
					d.missing(m)
				}
			}
		})
	}
}

func TestDriveNotWritable(t *testing.T) {
	if runtime.GOOS == "windows" || os.Geteuid() == 0 {
		t.Skip("NOT CHECKED: this user may write anywhere")
	}
	d := newDesk(t)
	if err := os.Mkdir(d.path("shelf"), 0o555); err != nil {
		t.Fatal(err)
	}
	if _, err := setup.Run(t.Context(), d.o); err == nil || !strings.Contains(err.Error(), "written") {
		t.Errorf("setup said %v", err)
	}
	d.missing("settings/saltbush-draw.toml")
}

// A root that this archive already has is used as it is: after a setup that
// broke off, and on the computer that replaces a lost one.
func TestAdoption(t *testing.T) {
	d := newDesk(t)
	first := d.run()
	before := d.load()
	if err := os.RemoveAll(d.path("settings")); err != nil {
		t.Fatal(err)
	}
	d.o.State = d.path("state of the new computer")
	d.o.Drives = append(d.o.Drives, setup.NamedDir{Name: "barn", Dir: d.path("barn")})
	second := d.run()
	after := d.load()
	if !second.Copies[0].Adopted || second.Copies[1].Adopted || after.Copies[0].ID != before.Copies[0].ID {
		t.Errorf("first %+v, then %+v", first, second)
	}
	barn, err := drive.Open(d.path("barn"), "")
	if err != nil {
		t.Fatal(err)
	}
	defer barn.Close()
	shelf, err := drive.Open(d.path("shelf"), "")
	if err != nil {
		t.Fatal(err)
	}
	defer shelf.Close()
	a, err := barn.Identity(t.Context())
	b, err2 := shelf.Identity(t.Context())
	if err != nil || err2 != nil || a.ArchiveID != b.ArchiveID {
		t.Errorf("the new copy is of %q, the old of %q (%v, %v)", a.ArchiveID, b.ArchiveID, err, err2)
	}
}

// deaf stands before an S3 server and drops headers, like a service that does
// not know them.
func (d *desk) deaf(s *s3test.Server, headers ...string) {
	d.Helper()
	to, err := url.Parse(s.URL)
	if err != nil {
		d.Fatal(err)
	}
	proxy := &httputil.ReverseProxy{Rewrite: func(r *httputil.ProxyRequest) {
		r.SetURL(to)
		for _, h := range headers {
			r.Out.Header.Del(h)
		}
	}}
	front := httptest.NewServer(http.HandlerFunc(proxy.ServeHTTP))
	d.Cleanup(front.Close)
	d.o.S3s[0].URL = strings.Replace(d.o.S3s[0].URL, s.URL, front.URL, 1)
}

func TestServiceWithoutConditions(t *testing.T) {
	d := newDesk(t)
	s := d.bucket()
	d.deaf(s, "If-None-Match", "If-Match")
	if _, err := setup.Run(t.Context(), d.o); !errors.Is(err, config.ErrNoFence) || !strings.Contains(err.Error(), "--one-writer") {
		t.Fatalf("setup said %v", err)
	}
	d.missing("settings/saltbush-draw.toml", "shelf/0=ocfl_1.1")
	d.o.OneWriter = true
	d.run()
	cfg := d.load()
	if cfg.Copies[1].Fence != "none" {
		t.Errorf("the config says fence = %q", cfg.Copies[1].Fence)
	}
	a, err := daemon.Open(cfg, daemon.Options{Log: d.o.Log})
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	status, err := a.Status(t.Context())
	if err != nil || status.Copies[1].Fence != "none" {
		t.Errorf("status says %+v, %v", status.Copies, err)
	}
}

func TestServiceWithoutChecksum(t *testing.T) {
	d := newDesk(t)
	s := d.bucket()
	d.deaf(s, "X-Amz-Checksum-Sha256", "X-Amz-Sdk-Checksum-Algorithm")
	r := d.run()
	if cfg := d.load(); !cfg.Copies[1].ReadBack {
		t.Error("the config does not ask for reading back")
	}
	if notes := strings.Join(r.Copies[1].Notes, " "); !strings.Contains(notes, "reads every upload back") {
		t.Errorf("the notes are %q", notes)
	}
}

// The trial leaves nothing in the bucket but the root's own files.
func TestNoLitterInBucket(t *testing.T) {
	d := newDesk(t)
	s := d.bucket()
	d.run()
	c, err := s.Client()
	if err != nil {
		t.Fatal(err)
	}
	for o := range c.Client.ListObjects(t.Context(), "monitoring", minio.ListObjectsOptions{Recursive: true}) {
		if o.Err != nil {
			t.Fatal(o.Err)
		}
		switch key := strings.TrimPrefix(o.Key, "saltbush-draw/"); {
		case key == "0=ocfl_1.1", key == "ocfl_layout.json", key == "README.txt", key == "linecamp.md":
		case strings.HasSuffix(key, "/config.json"):
		default:
			t.Errorf("left in the bucket: %s", o.Key)
		}
	}
}

func TestTypedKeys(t *testing.T) {
	d := newDesk(t)
	s := d.bucket()
	t.Setenv("AWS_ACCESS_KEY_ID", "")
	t.Setenv("AWS_SECRET_ACCESS_KEY", "")
	d.o.Access, d.o.Secret = s.Access, `s3"cr\et`
	d.run()
	keys := d.path("settings/saltbush-draw.keys")
	info, err := os.Stat(keys)
	if err != nil {
		t.Fatal(err)
	}
	if runtime.GOOS != "windows" && info.Mode().Perm() != 0o600 {
		t.Errorf("the keys have mode %v", info.Mode().Perm())
	}
	access, secret, _, err := s3.Credentials(keys)
	if err != nil || access != s.Access || secret != `s3"cr\et` {
		t.Errorf("read back: %q, %q, %v", access, secret, err)
	}
	text, err := os.ReadFile(d.path("settings/saltbush-draw.toml"))
	if err != nil || strings.Contains(string(text), `cr\et`) || !strings.Contains(string(text), "saltbush-draw.keys") {
		t.Errorf("the config is %s (%v)", text, err)
	}

	// A setup that fails leaves no keys behind.
	f := newDesk(t)
	f.bucket()
	f.o.Access, f.o.Secret = "key", "secret"
	f.o.S3s[0].URL = strings.Replace(f.o.S3s[0].URL, "/monitoring/", "/nowhere/", 1)
	if _, err := setup.Run(t.Context(), f.o); err == nil {
		t.Fatal("setup found a bucket that is not there")
	}
	f.missing("settings/saltbush-draw.keys")
}
