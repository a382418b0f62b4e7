package mirror

import (
	"bytes"
	"fmt"
	"io"
	"maps"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"linecamp/daemon/config"
	"linecamp/daemon/link"
	"linecamp/daemon/mirror/report"
	"linecamp/daemon/reach"
	"linecamp/manifest/store/s3"
	"linecamp/manifest/store/s3test"
	badlink "linecamp/manifest/store/s3test/link"
)

// limited is a ranch with a drive, and a bucket whose link may take 1 MB a month.
type limited struct {
	*ranch
	bad *badlink.Link
	way *link.Link
}

// newLimited has so much of the allowance used. The bytes of its connections are counted.
func newLimited(t *testing.T, used int64) *limited {
	r := &limited{ranch: newRanch(t, "shelf"), bad: badlink.New(t, s3test.Fake(t))}
	srv := r.bad.Server()
	at, err := srv.Bucket(t.Context(), "bucket")
	must(t, err)
	allowance, err := config.ParseAllowance("1 MB/month")
	must(t, err)
	const id = "33333333-3333-4333-8333-000000000002"
	r.way = link.Of(config.Copy{ID: id, Kind: config.KindS3, Link: config.Link{Allowance: allowance}}, r.led, func() time.Time { return r.now })
	root, err := s3.Open(t.Context(), s3.Options{URL: at + "/" + archiveName, Region: srv.Region, Access: srv.Access, Secret: srv.Secret, Fence: true, Conn: r.way.Conn, Page: link.Page})
	must(t, err)
	if c := r.addRoot("bucket", "s3", at, root); c.id != id {
		t.Fatalf("the bucket is %s", c.id)
	}
	must(t, r.way.Born(r.now))
	r.spend(used)
	return r
}

func (r *limited) spend(bytes int64) { must(r.t, r.led.Spend("link of "+r.copies[1].id, bytes, r.now)) }

func (r *limited) round() report.Report {
	rep := r.mirror(func(in *In) { in.Copies[1].Link = r.way })
	must(r.t, r.way.Flush())
	return rep
}

// TestNewestVisitsGoFirst: of what the allowance does not have room for, the newest visits
// are there.
func TestNewestVisitsGoFirst(t *testing.T) {
	r := newLimited(t, 0)
	for i, year := range []int{2019, 2025, 2022, 2016} {
		r.write(fmt.Sprintf("North/Stake %d/%d-06-21/plot.jpg", i, year), strings.Repeat(fmt.Sprint(year), 100_000))
	}
	rep := r.round()
	has, err := r.led.Committed(r.copies[1].id)
	must(t, err)
	if want := map[string]int{"north--stake-1": 1, "north--stake-2": 1}; !maps.Equal(has, want) || rep.Copies[1].Kept == "" || rep.Wants() {
		t.Errorf("it has %v, want %v: %+v", has, want, rep.Copies[1])
	}
}

// TestVersionLargerThanAMonth is begun all the same, with nothing else waiting for it, and
// goes on the month after with what is not there yet.
func TestVersionLargerThanAMonth(t *testing.T) {
	r := newLimited(t, 0)
	for i := range 12 {
		r.write(fmt.Sprintf("North/Stake 1/2025-06-21/plot %d.jpg", i), strings.Repeat(fmt.Sprintf("%5d", i), 30_000))
	}
	// Photos under way when nothing more may be begun go on to their end.
	var photos, cut atomic.Int64
	var sent sync.Map // the paths of photos that were put
	count := func(req *http.Request) {
		if req.Method != http.MethodPut || !strings.HasSuffix(req.URL.Path, ".jpg") {
			return
		}
		if _, twice := sent.LoadOrStore(req.URL.Path, true); twice {
			t.Errorf("%s was sent twice", req.URL.Path)
		}
	}
	r.bad.Answer(func(w http.ResponseWriter, req *http.Request, next http.Handler) {
		count(req)
		if strings.HasSuffix(req.URL.Path, ".jpg") && photos.Add(1) > 5 {
			body, _ := io.ReadAll(req.Body) // only then is it seen that a client has gone
			req.Body = io.NopCloser(bytes.NewReader(body))
			select {
			case <-req.Context().Done():
				cut.Add(1)
			case <-time.After(300 * time.Millisecond):
			}
		}
		next.ServeHTTP(w, req)
	})
	rep := r.round()
	if rep.Copies[0].State != reach.Current || rep.Copies[1].State != reach.Behind || rep.Copies[1].Kept == "" || rep.Wants() {
		t.Fatalf("%+v", rep.Copies)
	}
	if photos.Load() <= 5 || cut.Load() > 0 {
		t.Errorf("%d of %d photos were cut off", cut.Load(), photos.Load())
	}
	r.bad.Answer(func(w http.ResponseWriter, req *http.Request, next http.Handler) {
		count(req)
		next.ServeHTTP(w, req)
	})
	first, err := r.led.SpentIn("link of "+r.copies[1].id, time.Time{}, time.Time{})
	must(t, err)
	if first < 900_000 || first > 900_000+4*170_000 { // those under way are not cut off
		t.Errorf("in the first month %d bytes went", first)
	}
	r.now = r.now.AddDate(0, 1, 0)
	rep = r.round()
	all, err := r.led.SpentIn("link of "+r.copies[1].id, time.Time{}, time.Time{})
	must(t, err)
	// One byte in twenty is counted for packets' headers, and what goes beside the photos is
	// less than one of them.
	if all > 1_800_000*21/20+150_000 {
		t.Errorf("%d bytes went in both months for photos of 1,800,000", all)
	}
	r.wantCurrent(rep)
}

// TestVersionThatWasBegunGoesOn after its link was cut, although the whole of it would no
// longer fit into what is left.
func TestVersionThatWasBegunGoesOn(t *testing.T) {
	r := newLimited(t, 0)
	for i := range 8 {
		r.write(fmt.Sprintf("North/Stake 1/2025-06-21/plot %d.jpg", i), strings.Repeat(fmt.Sprintf("%5d", i), 12_000))
	}
	var photos atomic.Int64
	r.bad.Answer(func(w http.ResponseWriter, req *http.Request, next http.Handler) {
		if strings.HasSuffix(req.URL.Path, ".jpg") && photos.Add(1) > 4 {
			go r.bad.Cut() // it waits for connections that wait for this answer
			badlink.Drop()
		}
		next.ServeHTTP(w, req)
	})
	if rep := r.round(); rep.Copies[1].State != reach.Unreachable {
		t.Fatalf("%+v", rep.Copies)
	}
	r.bad.Answer(nil)
	r.bad.Mend()
	left, err := r.way.Left()
	must(t, err)
	r.spend(left - 300_000) // four of the eight fit
	r.wantCurrent(r.round())
}

// TestSiteThatALinkHoldsUpIsNoAlarm: where only the bucket is in reach, a site of which an
// allowance keeps back an earlier version waits for that, and asks for nobody.
func TestSiteThatALinkHoldsUpIsNoAlarm(t *testing.T) {
	r := newLimited(t, 400_000)
	r.write("North/Stake 1/2019-06-21/plot.jpg", strings.Repeat("large", 120_000))
	r.visit("North/Stake 2", "2019-06-21")
	rep := r.round()
	if rep.Copies[0].State != reach.Current || rep.Copies[1].Kept == "" || rep.Copies[1].Versions != 1 || rep.Wants() {
		t.Fatalf("%+v", rep)
	}
	r.copies[0].away = true
	r.visit("North/Stake 1", "2020-06-21")
	r.visit("North/Stake 2", "2020-06-21")
	rep = r.round()
	if rep.Made != 1 || rep.Wants() {
		t.Errorf("%+v", rep)
	}
	for reason := range reasons(rep) {
		if !strings.HasPrefix(reason, report.ReasonLink) {
			t.Errorf("it waits because %s", reason)
		}
	}
	r.copies[0].away = false
	r.now = r.now.AddDate(0, 1, 0)
	r.wantCurrent(r.round())
}
