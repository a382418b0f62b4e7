package mirror

import (
	"context"
	"errors"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"linecamp/daemon/config"
	"linecamp/daemon/link"
	"linecamp/daemon/mirror/report"
	"linecamp/daemon/reach"
	"linecamp/manifest/store"
	"linecamp/manifest/store/s3"
	"linecamp/manifest/store/s3test"
)

// An upload in parts whose file went, while nothing else changes at its site: the round that
// finds no version to make there ends it. While a round may still go on with it, or a mend
// may, it stays.
func TestPartsOfAVersionThatIsNeverMadeGo(t *testing.T) {
	const part = 5 << 20 // the least that S3 takes
	servers(t, func(t *testing.T, srv *s3test.Server) {
		r := newRanch(t)
		url, err := srv.Bucket(t.Context(), "bucket")
		must(t, err)
		stopped := errors.New("the process is stopped")
		sent, most := 0, 1
		ends := "" // what becomes of a request that is to end an upload, where it is not done
		o := s3.Options{URL: url + "/" + archiveName, Region: srv.Region, Access: srv.Access, Secret: srv.Secret, Fence: true,
			Part: part, Memory: link.Of(config.Copy{ID: t.Name(), Kind: config.KindS3}, r.led, time.Now),
			Transport: transport(func(q *http.Request) (*http.Response, error) {
				if q.Method == http.MethodDelete && ends != "" {
					if ends == "busy" {
						return &http.Response{StatusCode: http.StatusServiceUnavailable, Header: http.Header{}, Body: http.NoBody, Request: q}, nil
					}
					return nil, errLink
				}
				return http.DefaultTransport.RoundTrip(q)
			}),
			Pause: func() error {
				if sent++; sent > most {
					return stopped
				}
				return nil
			}}
		root, err := s3.Open(t.Context(), o)
		must(t, err)
		r.addRoot("bucket", "s3", url, root)
		raw, err := srv.Client()
		must(t, err)
		name := strings.Split(root.Name(), "/")[3]
		open := func() (keys []string) {
			t.Helper()
			there, err := raw.ListMultipartUploads(context.Background(), name, "", "", "", "", 10)
			must(t, err)
			for _, u := range there.Uploads {
				keys = append(keys, strings.TrimPrefix(u.Key, archiveName+"/"))
			}
			return keys
		}
		holds := func(when string, want ...string) {
			t.Helper()
			if is := open(); !slices.Equal(is, want) {
				t.Errorf("%s: uploads are open for %q, want %q", when, is, want)
			}
			if known, err := o.Memory.Uploads(); err != nil || !slices.Equal(known, want) {
				t.Errorf("%s: uploads are known for %q, %v, want %q", when, known, err, want)
			}
		}
		r.visit("North/Windmill", "2019-06-21")
		r.visit("South/Draw", "2019-06-21")
		r.wantCurrent(r.mirror())

		const large, key = "North/Windmill/2020-06-21/pano.tif", "north--windmill/v2/content/2020-06-21/pano.tif"
		panorama := strings.Repeat("much sky. ", part/4)
		r.write(large, panorama)
		r.mirror()
		holds("the round was stopped", key)
		sent = 0
		r.mirror() // once more: what it sends is the second part
		holds("the next one was stopped as well", key)

		// A person is to look at something else first: nothing is said of it yet.
		most = 0
		r.remove(large)
		r.writeAt("South/Draw/2020-06-21/notes.txt", "still being written", r.now.Add(time.Hour))
		if rep := r.mirror(); !slices.ContainsFunc(rep.Waiting, func(w report.Waiting) bool { return strings.HasSuffix(w.Path, "notes.txt") }) {
			t.Fatalf("nothing waits: %+v", rep)
		}
		holds("another file is still being written", key)

		r.now = r.now.Add(48 * time.Hour)
		r.wantCurrent(r.mirror())
		holds("the file is gone")

		r.write(large, panorama)
		sent, most = 0, 1
		r.mirror()
		r.remove(large)
		for _, ends = range []string{"the link breaks", "busy"} {
			r.wantCurrent(r.mirror())
			holds(ends, key)
		}
		ends = ""
		r.wantCurrent(r.mirror())
		holds("the service ends it")

		// A copy that failed may have left a version unmade.
		shelf := r.addDrive("shelf")
		r.wantCurrent(r.mirror())
		shelf.away, most = true, 99
		r.visit("South/Draw", "2021-06-21")
		r.mirror()
		r.write(large, panorama)
		sent, most = 0, 1
		r.mirror()
		r.remove(large)
		whole := shelf.root
		shelf.away, shelf.root = false, &failing{Root: whole}
		if rep := r.mirror(); !strings.Contains(rep.Copies[1].Error, errCut.Error()) || rep.Copies[0].State != reach.Current || len(rep.Waiting) > 0 {
			t.Errorf("%+v", rep)
		}
		holds("another copy failed", key)
		shelf.root = whole
		r.wantCurrent(r.mirror())
		holds("all copies are well")

		// What a mend sends is of a version that is there.
		const mended = "south--draw/v1/content/2019-06-21/other.jpg"
		if _, err := root.Create(t.Context(), mended, store.Bytes([]byte(panorama))); !errors.Is(err, stopped) {
			t.Fatal(err)
		}
		r.wantCurrent(r.mirror())
		holds("a mend was stopped", mended)
	})
}
