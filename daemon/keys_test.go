package daemon_test

import (
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"strings"
	"sync"
	"testing"

	"linecamp/daemon/keys"
	"linecamp/daemon/setup"
)

// A key that may not delete, and may not ask about versions, is called so; and
// whatever a trial deletes or tries to is the trial's own object.
func TestWhatAKeyMayDoIsTriedOnAnObjectOfItsOwn(t *testing.T) {
	for name, tt := range map[string]struct {
		refused func(*http.Request) bool
		want    keys.Known
	}{
		"may all":        {func(*http.Request) bool { return false }, keys.Known{MayDelete: keys.Yes, KeepsVersions: keys.No}},
		"may not delete": {func(r *http.Request) bool { return r.Method == http.MethodDelete }, keys.Known{MayDelete: keys.No, KeepsVersions: keys.No}},
		"may not ask":    {func(r *http.Request) bool { return r.URL.Query().Has("versioning") }, keys.Known{MayDelete: keys.Yes, KeepsVersions: keys.Unknown}},
	} {
		t.Run(name, func(t *testing.T) {
			r := newRanch(t, "shelf").bucket()
			behind, err := url.Parse(r.server.URL)
			if err != nil {
				t.Fatal(err)
			}
			var mu sync.Mutex
			deleted := map[string]bool{}
			pass := httputil.NewSingleHostReverseProxy(behind)
			front := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, req *http.Request) {
				if req.Method == http.MethodDelete || req.URL.Query().Has("delete") {
					mu.Lock()
					deleted[req.URL.Path] = true
					mu.Unlock()
				}
				if tt.refused(req) {
					w.Header().Set("Content-Type", "application/xml")
					w.WriteHeader(http.StatusForbidden)
					w.Write([]byte("<Error><Code>AccessDenied</Code></Error>"))
					return
				}
				pass.ServeHTTP(w, req)
			}))
			t.Cleanup(front.Close)
			r.set.S3s[0].URL = strings.Replace(r.set.S3s[0].URL, r.server.URL, front.URL, 1)
			r.setup()
			a := r.open()
			r.mirror(a)
			k := r.status(a).Copies[1].Key
			if k == nil || k.MayDelete != tt.want.MayDelete || k.KeepsVersions != tt.want.KeepsVersions || k.Tried == nil {
				t.Errorf("status says %+v", k)
			}
			o := r.set
			o.Drives, o.S3s, o.Credentials = nil, nil, "env"
			report, err := setup.NewKeys(t.Context(), o, "bucket")
			if err != nil || report.Changed.Key.MayDelete != tt.want.MayDelete || report.Changed.Key.KeepsVersions != tt.want.KeepsVersions {
				t.Errorf("the new keys: %+v, %v", report.Changed, err)
			}
			for path := range deleted {
				if !strings.HasSuffix(path, "/saltbush-draw/extensions/linecamp-root/probe") {
					t.Errorf("it deleted %s", path)
				}
			}
			if len(deleted) != 1 {
				t.Errorf("it deleted %v", deleted)
			}
		})
	}
}
