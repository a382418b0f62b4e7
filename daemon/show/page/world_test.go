package page

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/cookiejar"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"linecamp/daemon"
	"linecamp/daemon/config"
	"linecamp/daemon/setup"
	"linecamp/manifest/words"
)

// world is a page over some small archives, and a browser that got in.
type world struct {
	t      *testing.T
	dir    string
	server *Server
	home   string // the page's address, with its door and without a slash at its end
	in     *http.Client
}

// began is when the world's clock is set to its first day: after every visit of
// 2025, and before any of 2026.
var began = time.Now()

func clockOf() time.Time {
	return time.Date(2025, 12, 1, 9, 0, 0, 0, time.Local).Add(time.Since(began))
}

// archive is what an archive of the world holds: path in the working folder → text;
// for pictures, the text becomes a color.
type archive map[string]string

func newWorld(t *testing.T, archives map[string]archive) *world {
	t.Helper()
	w := &world{t: t, dir: t.TempDir()}
	quiet := slog.New(slog.NewTextHandler(io.Discard, nil))
	var o Options
	o.Log, o.Now = quiet, clockOf
	for name, files := range archives {
		at := filepath.Join(w.dir, name)
		for p, text := range files {
			w.write(filepath.Join(at, "folder", filepath.FromSlash(p)), text)
		}
		drive := filepath.Join(at, "drive")
		if err := os.MkdirAll(drive, 0o777); err != nil {
			t.Fatal(err)
		}
		conf := filepath.Join(at, name+".toml")
		_, err := setup.Run(t.Context(), setup.Options{Archive: name, Folder: filepath.Join(at, "folder"), Config: conf, State: filepath.Join(at, "state"), Log: quiet, Now: clockOf,
			Drives: []setup.NamedDir{{Name: "shelf", Dir: drive}}})
		if err != nil {
			t.Fatal(err)
		}
		all, faults := config.Load(conf)
		if len(faults) > 0 {
			t.Fatal(faults)
		}
		all[0].Copies[0].Where = "the " + name + " bank"
		line := words.Line{Archive: name}
		a, err := daemon.Open(all[0], daemon.Options{Log: quiet, Line: line, Now: clockOf})
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { a.Close() })
		if _, err := a.Mirror(t.Context(), daemon.MirrorOptions{}, nil); err != nil {
			t.Fatal(err)
		}
		o.Archives = append(o.Archives, Archive{Archive: a, Line: line, Folder: filepath.Join(at, "state")})
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	if w.server, err = New(l.Addr(), o); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- w.server.Serve(ctx, l) }()
	t.Cleanup(func() {
		stop()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	jar, _ := cookiejar.New(nil)
	w.in = &http.Client{Jar: jar}
	w.home = strings.TrimSuffix(w.server.gate.Home(), "/") + w.server.gate.Door()
	r, err := w.in.Get(w.server.gate.Address())
	if err != nil || r.StatusCode != http.StatusOK {
		t.Fatalf("the address with its key does not open the page: %v, %v", r, err)
	}
	r.Body.Close()
	return w
}

// write writes a file of last week, so that nothing waits for it to be finished.
func (w *world) write(name, text string) {
	w.t.Helper()
	b := []byte(text)
	if ext := strings.ToLower(filepath.Ext(name)); ext == ".jpg" {
		b = jpegOf(w.t, 400, 300, text)
	}
	if err := os.MkdirAll(filepath.Dir(name), 0o777); err != nil {
		w.t.Fatal(err)
	}
	if err := os.WriteFile(name, b, 0o666); err != nil {
		w.t.Fatal(err)
	}
	then := clockOf().Add(-7 * 24 * time.Hour)
	if err := os.Chtimes(name, then, then); err != nil {
		w.t.Fatal(err)
	}
}

// jpegOf draws a picture that is another one for each text.
func jpegOf(t testing.TB, width, height int, text string) []byte {
	m := image.NewRGBA(image.Rect(0, 0, width, height))
	sum := uint32(2166136261)
	for _, c := range []byte(text) {
		sum = (sum ^ uint32(c)) * 16777619
	}
	for y := range height {
		for x := range width {
			m.SetRGBA(x, y, color.RGBA{uint8(sum + uint32(x)), uint8(sum>>8 + uint32(y)), uint8(sum >> 16), 255})
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, nil); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// get asks for something below the door.
func (w *world) get(path string) (*http.Response, string) {
	w.t.Helper()
	r, err := w.in.Get(w.home + path)
	if err != nil {
		w.t.Fatal(err)
	}
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	if err != nil {
		w.t.Fatal(err)
	}
	return r, string(b)
}

// page is get of what must be there.
func (w *world) page(path string) string {
	w.t.Helper()
	r, body := w.get(path)
	if r.StatusCode != http.StatusOK {
		w.t.Fatalf("%s: %s\n%s", path, r.Status, body)
	}
	return body
}

// stakes is an archive of so many sites with both views in each year of a span.
func stakes(sites, from, to int) archive {
	a := archive{}
	for s := 1; s <= sites; s++ {
		for y := from; y <= to; y++ {
			at := fmt.Sprintf("North Flat/Stake %d/%d-06-2%d/", s, y, s%10)
			a[at+"plot.jpg"] = at + "p"
			a[at+"landscape.jpg"] = at + "l"
			a[at+"notes.txt"] = fmt.Sprintf("Stake %d in %d: grass to the knee, two cows, light wind.\n", s, y)
		}
	}
	return a
}

// index is the book of an archive as it stands.
func (w *world) index(name string) *reading {
	w.t.Helper()
	r, err := w.server.named[name].read(w.t.Context(), true)
	if err != nil {
		w.t.Fatal(err)
	}
	return r
}

func memorySource(b []byte) source { return source{bytes.NewReader(b)} }
