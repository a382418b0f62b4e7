package daemon_test

import (
	"bytes"
	"fmt"
	"io/fs"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"

	"linecamp/daemon"
	"linecamp/verify"
)

// before stands before the bucket, and answers instead of it whenever answer
// says that it did.
func (r *ranch) before(answer func(http.ResponseWriter, *http.Request) bool) {
	r.t.Helper()
	to, err := url.Parse(r.server.URL)
	if err != nil {
		r.t.Fatal(err)
	}
	proxy := &httputil.ReverseProxy{Rewrite: func(p *httputil.ProxyRequest) { p.SetURL(to) }}
	front := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, q *http.Request) {
		if !answer(w, q) {
			proxy.ServeHTTP(w, q)
		}
	}))
	r.t.Cleanup(front.Close)
	r.set.S3s[0].URL = strings.Replace(r.set.S3s[0].URL, r.server.URL, front.URL, 1)
}

func refuse(w http.ResponseWriter, status int, code string) bool {
	w.Header().Set("Content-Type", "application/xml")
	w.WriteHeader(status)
	fmt.Fprintf(w, "<Error><Code>%s</Code><Message>no</Message></Error>", code)
	return true
}

// unreadable puts a link of the same length in the place of all content below a
// folder: what is no ordinary file is never read.
func unreadable(t *testing.T, dir string) (n int) {
	t.Helper()
	err := filepath.WalkDir(dir, func(p string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() || !strings.Contains(p, "/content/") {
			return err
		}
		st, err := e.Info()
		if err != nil || st.Size() > 4000 { // longer than a link can be
			return err
		}
		n++
		return replace(p, int(st.Size()))
	})
	if err != nil {
		t.Fatal(err)
	}
	return n
}

func replace(path string, size int) error {
	if err := os.Remove(path); err != nil {
		return err
	}
	return os.Symlink(string(bytes.Repeat([]byte("x"), size)), path)
}

// Whatever befalls one copy ends the check of that copy alone: what was found on
// it until then is said, the other copy is judged, and so are the years.
func TestOneCopysTroubleEndsItsOwnCheckOnly(t *testing.T) {
	content := func(q *http.Request) bool {
		return q.Method == http.MethodGet && strings.Contains(q.URL.Path, "/content/")
	}
	manifests := func(q *http.Request) bool { return strings.HasSuffix(q.URL.Path, "/v1/inventory.json") }
	for name, c := range map[string]struct {
		from    func(q *http.Request) bool // the request that the trouble begins with; it lasts
		trouble func(w http.ResponseWriter, q *http.Request) bool
		says    string // why the check stopped; "" for one that came to its end
		found   int    // findings
		back    int    // files read back
	}{
		"keys revoked midway": {content, func(w http.ResponseWriter, q *http.Request) bool {
			return refuse(w, http.StatusForbidden, "InvalidAccessKeyId")
		}, "does not know this access key", 0, 0},
		"keys revoked at the manifests": {manifests, func(w http.ResponseWriter, q *http.Request) bool {
			return refuse(w, http.StatusForbidden, "AccessDenied")
		}, "not allowed to do this", 0, 0},
		"a foreign key in the listing": {
			func(q *http.Request) bool {
				return q.URL.Query().Get("list-type") != "" && strings.HasSuffix(q.URL.Query().Get("prefix"), "saltbush-draw/")
			},
			func(w http.ResponseWriter, q *http.Request) bool {
				w.Header().Set("Content-Type", "application/xml")
				fmt.Fprint(w, `<ListBucketResult><Contents><Key>elsewhere/evil</Key><Size>1</Size><LastModified>2026-01-01T00:00:00Z</LastModified></Contents></ListBucketResult>`)
				return true
			}, "keys that were not asked for", 0, 0},
		"one photo of each site that is never handed out": {content, func(w http.ResponseWriter, q *http.Request) bool {
			return strings.HasSuffix(q.URL.Path, "2024-06-21/plot.jpg") && refuse(w, http.StatusForbidden, "AccessDenied")
		}, "", 2, 16},
		"one photo of each site that the service has trouble with": {content, func(w http.ResponseWriter, q *http.Request) bool {
			return strings.HasSuffix(q.URL.Path, "2024-06-21/plot.jpg") && refuse(w, http.StatusInternalServerError, "InternalError")
		}, "", 2, 16},
	} {
		t.Run(name, func(t *testing.T) {
			r := newRanch(t, "shelf").bucket()
			var on, begun atomic.Bool
			r.before(func(w http.ResponseWriter, q *http.Request) bool {
				if on.Load() && c.from(q) {
					begun.Store(true)
				}
				return begun.Load() && c.trouble(w, q)
			})
			r.setup()
			a := r.open()
			r.mirror(a)
			on.Store(true)
			v, err := a.Verify(t.Context(), daemon.VerifyOptions{}, nil)
			if err != nil {
				t.Fatalf("the whole check failed: %v", err)
			}
			if v.Copies[0].ReadBack.Files != 18 || v.Copies[0].Error != "" || !v.Judged || len(v.Years) == 0 || !v.Wants() {
				t.Errorf("the other copy and the years: %s", printed(v))
			}
			b := v.Copies[1]
			if !strings.Contains(b.Error, c.says) || (b.Error == "") != (c.says == "") || len(b.Damage) != c.found || b.ReadBack.Files < c.back {
				t.Errorf("the bucket: %s", printed(v))
			}
			for _, d := range b.Damage {
				if d.Kind != verify.Unreadable {
					t.Errorf("found %+v", d)
				}
			}
		})
	}
}

// Fifty files in a row that cannot be read end the check of a drive that still
// says which copy it is: they are findings, and are mended from the other one.
func TestManyUnreadableFilesAreFoundAndMended(t *testing.T) {
	r := newRanch(t, "shelf", "barn")
	for i := range 150 {
		r.photo(fmt.Sprintf("Windmill/Stake 3/2022-06-21/plot %d.jpg", i))
	}
	r.setup()
	a := r.open()
	r.mirror(a)
	if n := unreadable(t, filepath.Join(r.drive("shelf"), "windmill--stake-3")); n < 150 {
		t.Fatalf("only %d files", n)
	}
	v, err := a.Verify(t.Context(), daemon.VerifyOptions{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	shelf, barn := v.Copies[0], v.Copies[1]
	if !strings.Contains(shelf.Error, "50 files one after the other") || len(shelf.Damage) < 50 {
		t.Errorf("the broken drive: %q, %d findings", shelf.Error, len(shelf.Damage))
	}
	if barn.ReadBack.Files != 168 || barn.Error != "" || len(v.Years) == 0 || !v.Wants() {
		t.Errorf("the rest: %s", printed(v))
	}
	for range 4 { // what one check did not get to is found by the next
		if _, err := a.Mend(t.Context(), daemon.MendOptions{}, nil); err != nil {
			t.Fatal(err)
		}
		if v, err = a.Verify(t.Context(), daemon.VerifyOptions{Only: daemon.OnlyRot}, nil); err != nil {
			t.Fatal(err)
		}
	}
	for _, d := range v.Copies[0].Damage {
		if d.Kind != verify.Stray {
			t.Errorf("not mended: %+v", d)
		}
	}
}

// A working folder that is not there keeps nothing from being said of the copies.
func TestCopiesAreJudgedWithoutTheWorkingFolder(t *testing.T) {
	r := newRanch(t, "shelf").setup()
	a := r.open()
	r.mirror(a)
	if err := os.Rename(r.folder, r.folder+" elsewhere"); err != nil {
		t.Fatal(err)
	}
	v, err := a.Verify(t.Context(), daemon.VerifyOptions{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if v.Copies[0].ReadBack.Files != 18 || !v.Wants() || !strings.Contains(printed(v), "the years cannot be judged") {
		t.Errorf("said %s", printed(v))
	}
}
