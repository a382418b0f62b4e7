package page

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"testing"
	"time"

	"linecamp/daemon"
	"linecamp/daemon/show/page/gate"
	"linecamp/daemon/show/page/small"
	"linecamp/manifest"
	"linecamp/manifest/tally"
	"linecamp/verify"
	"linecamp/verify/gather"
)

// bigRecord is a page over a record of so many sites and years that was never on disk.
func bigRecord(tb testing.TB, sites, from, to int) (*Server, *book) {
	tb.Helper()
	rec := &daemon.Record{}
	states := []string{verify.Whole, verify.Whole, verify.Whole, verify.Short, verify.Skipped, verify.Explained, verify.Due}
	for i := range sites {
		s := gather.SiteItems{Site: fmt.Sprintf("Stake %d", i), Pasture: fmt.Sprintf("Pasture %d", i/25), Object: fmt.Sprintf("pasture-%d--stake-%d", i/25, i)}
		for y := from; y <= to; y++ {
			rec.Years = append(rec.Years, verify.Year{Site: s.Site, Pasture: s.Pasture, Object: s.Object, Year: y, State: states[(i+y)%len(states)], Lacks: []string{}})
		}
		rec.Sites = append(rec.Sites, s)
	}
	b := &book{now: time.Now, open: &reading{at: time.Now().Add(time.Hour), record: rec, index: newIndex(rec)}}
	s := &Server{named: map[string]*book{"draw": b}, books: []*book{b}, gate: gate.New(benchAddr{})}
	b.Archive.Archive = &daemon.Archive{}
	return s, b
}

type benchAddr struct{}

func (benchAddr) Network() string { return "tcp" }
func (benchAddr) String() string  { return "127.0.0.1:8710" }

// first notes when the first bytes of an answer were written.
type first struct {
	http.ResponseWriter
	at time.Time
}

func (f *first) Write(b []byte) (int, error) {
	if f.at.IsZero() {
		f.at = time.Now()
	}
	return f.ResponseWriter.Write(b)
}

// BenchmarkYears: the first bytes of the years of 500 sites and 40 years, and all of
// them, against encoding the same years as JSON alone.
func BenchmarkYears(b *testing.B) {
	s, bk := bigRecord(b, 500, 1986, 2025)
	var limit, begun, whole time.Duration
	for b.Loop() {
		began := time.Now()
		if err := json.NewEncoder(io.Discard).Encode(bk.open.record.Years); err != nil {
			b.Fatal(err)
		}
		limit += time.Since(began)
		w := &first{ResponseWriter: httptest.NewRecorder()}
		began = time.Now()
		if err := s.years(w, httptest.NewRequest("GET", "/a/draw/years", nil), bk); err != nil {
			b.Fatal(err)
		}
		whole += time.Since(began)
		begun += w.at.Sub(began)
	}
	b.ReportMetric(float64(begun)/float64(limit), "first-bytes-x-encoding")
	b.ReportMetric(float64(whole)/float64(limit), "all-x-encoding")
}

// BenchmarkStrip: a strip of 80 small pictures that are there, against the same files
// by http.FileServer, both over loopback.
func BenchmarkStrip(b *testing.B) {
	s, bk := bigRecord(b, 0, 0, 0)
	dir := b.TempDir()
	shelf, err := small.Open(filepath.Join(dir, "pictures"), 1<<30)
	if err != nil {
		b.Fatal(err)
	}
	bk.shelf = shelf
	plain := filepath.Join(dir, "plain")
	if err := os.Mkdir(plain, 0o777); err != nil {
		b.Fatal(err)
	}
	var keys []string
	for i := range 80 {
		raw := jpegOf(b, 640, 480, fmt.Sprint(i))
		sum := manifest.Sum(raw)
		f := &file{Item: gather.Item{Path: fmt.Sprintf("%d.jpg", i), Kind: manifest.KindPhoto, File: &tally.File{SHA256: sum}}, key: key(fmt.Sprint(i))}
		bk.open.files[f.key] = f
		keys = append(keys, f.key)
		p, err := shelf.Get(context.Background(), small.Photo{Digest: sum, Open: func(context.Context) (small.Source, error) { return memorySource(raw), nil }}, small.Strip)
		if err != nil {
			b.Fatal(err)
		}
		made, err := io.ReadAll(p)
		p.Close()
		if err != nil {
			b.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(plain, f.key), made, 0o666); err != nil {
			b.Fatal(err)
		}
	}
	ours := httptest.NewServer(gate.Headers(s.pictureOnly()))
	defer ours.Close()
	theirs := httptest.NewServer(http.FileServer(http.Dir(plain)))
	defer theirs.Close()
	get := func(address string) time.Duration {
		began := time.Now()
		for _, k := range keys {
			r, err := http.Get(address + k)
			if err != nil || r.StatusCode != http.StatusOK {
				b.Fatal(r, err)
			}
			io.Copy(io.Discard, r.Body)
			r.Body.Close()
		}
		return time.Since(began)
	}
	var limit, took time.Duration
	for b.Loop() {
		limit += get(theirs.URL + "/")
		took += get(ours.URL + "/a/draw/picture/strip/")
	}
	b.ReportMetric(float64(took)/float64(limit), "x-FileServer")
}

// pictureOnly is the one view that the strip asks for.
func (s *Server) pictureOnly() http.Handler {
	m := http.NewServeMux()
	m.HandleFunc("GET /a/{archive}/picture/{size}/{file}", s.in(s.picture))
	return m
}
