package daemon_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"log/slog"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"linecamp/daemon"
	"linecamp/daemon/event"
	"linecamp/daemon/service"
	"linecamp/manifest/store/mounttest"
)

// A scheduled verification mends the copies and leaves the working folder to
// people.
func TestScheduledVerifyMendsCopiesOnly(t *testing.T) {
	r := newRanch(t, "shelf", "barn").setup()
	var log bytes.Buffer
	text := slog.New(slog.NewTextHandler(&log, nil))
	a, err := daemon.Open(r.load(), daemon.Options{Log: text, Now: r.clock, Sinks: []event.Sink{event.Log(text)}})
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	if err := a.Round(t.Context(), "mirror"); err != nil {
		t.Fatal(err)
	}
	onShelf := filepath.Join(r.drive("shelf"), filepath.FromSlash(plot2024))
	good, err := os.ReadFile(onShelf)
	if err != nil {
		t.Fatal(err)
	}
	r.spoil(onShelf)
	working := filepath.Join(r.folder, "Windmill", "Stake 3", "2025-06-21", "plot.jpg")
	r.spoil(working)
	bad, err := os.ReadFile(working)
	if err != nil {
		t.Fatal(err)
	}
	if err := a.Round(t.Context(), "verify"); err != nil {
		t.Fatal(err)
	}
	if now, err := os.ReadFile(onShelf); err != nil || !bytes.Equal(now, good) {
		t.Errorf("the copy was not mended (%v)", err)
	}
	if now, err := os.ReadFile(working); err != nil || !bytes.Equal(now, bad) {
		t.Errorf("the working folder was written to (%v)", err)
	}
	if s := r.status(a); s.Damage != 1 || len(s.Last) != 2 {
		t.Errorf("status: %s", printed(s))
	}
	// By a person's command the working file is put right too.
	if m, err := a.Mend(t.Context(), daemon.MendOptions{}, nil); err != nil || len(m.Mended) != 1 || m.Mended[0].Copy != "working" {
		t.Errorf("mend: %v %+v", err, m)
	}
	if s := r.status(a); s.Damage != 0 {
		t.Errorf("afterwards %d damaged files are on record", s.Damage)
	}
	if err := a.Close(); err != nil {
		t.Error(err)
	}
	if !strings.Contains(log.String(), "level=WARN") || !strings.Contains(log.String(), "plot.jpg") {
		t.Errorf("the log does not tell of it:\n%s", log.String())
	}
}

func TestReturned(t *testing.T) {
	r := newRanch(t, "shelf", "barn").setup()
	a := r.open()
	r.mirror(a)
	if a.Returned(t.Context()) {
		t.Error("nothing was away")
	}
	gone := filepath.Join(r.dir, "in the truck")
	if err := os.Rename(r.drive("barn"), gone); err != nil {
		t.Fatal(err)
	}
	r.now = r.now.Add(time.Hour)
	r.mirror(a)
	if a.Returned(t.Context()) {
		t.Error("it is still away")
	}
	if err := os.Rename(gone, r.drive("barn")); err != nil {
		t.Fatal(err)
	}
	if !a.Returned(t.Context()) {
		t.Error("it is back")
	}
	// Who looks at it in between brings it nothing: the service goes on to it.
	if s := r.status(a); s.Copies[1].State != "behind" && s.Copies[1].State != "current" {
		t.Errorf("it is %s", s.Copies[1].State)
	}
	r.verify(a, daemon.VerifyOptions{Only: daemon.OnlyRot})
	if _, err := a.Mend(t.Context(), daemon.MendOptions{}, nil); err != nil {
		t.Fatal(err)
	}
	if !a.Returned(t.Context()) {
		t.Error("it is back, and somebody looked at it")
	}
	r.mirror(a)
	if a.Returned(t.Context()) {
		t.Error("it has caught up")
	}
}

// A drive whose mount hangs holds up nobody, and is found when it answers again.
func TestReturnedFromHanging(t *testing.T) {
	if runtime.GOOS != "linux" || os.Geteuid() != 0 {
		t.Skip("only root on Linux can mount a file system")
	}
	r := newRanch(t, "shelf").setup()
	a := r.open()
	r.mirror(a)
	gone := filepath.Join(r.dir, "in the truck")
	if err := errors.Join(os.Rename(r.drive("shelf"), gone), os.Mkdir(r.drive("shelf"), 0o777)); err != nil {
		t.Fatal(err)
	}
	r.now = r.now.Add(time.Hour)
	r.mirror(a)
	end, err := mounttest.Hang(r.drive("shelf"))
	if err != nil {
		t.Skip("no file system can be made to hang here:", err)
	}
	end = sync.OnceValue(end)
	defer end()
	ctx, cancel := context.WithTimeout(t.Context(), 100*time.Millisecond)
	defer cancel()
	for range 3 {
		if a.Returned(ctx) {
			t.Error("it came back")
		}
	}
	if err := errors.Join(end(), os.Remove(r.drive("shelf")), os.Rename(gone, r.drive("shelf"))); err != nil {
		t.Fatal(err)
	}
	for !a.Returned(t.Context()) && t.Context().Err() == nil { // until the first look came to its end
		runtime.Gosched()
	}
}

// Keys never get into logs or errors.
func TestNoSecretsInLogs(t *testing.T) {
	r := newRanch(t, "shelf").bucket()
	to, err := url.Parse(r.server.URL)
	if err != nil {
		t.Fatal(err)
	}
	front := httptest.NewServer(&httputil.ReverseProxy{Rewrite: func(p *httputil.ProxyRequest) { p.SetURL(to) }})
	r.set.S3s[0].URL = strings.Replace(r.set.S3s[0].URL, r.server.URL, front.URL, 1)
	r.setup()
	const secret = "hush-hush-secret-key"
	t.Setenv("AWS_SECRET_ACCESS_KEY", secret)
	var log bytes.Buffer
	text := slog.New(slog.NewTextHandler(&log, &slog.HandlerOptions{Level: slog.LevelDebug}))
	a, err := daemon.Open(r.load(), daemon.Options{Log: text, Now: r.clock, Sinks: []event.Sink{event.Log(text)}})
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	front.Close() // every request fails
	m, err := a.Mirror(t.Context(), daemon.MirrorOptions{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if m.Copies[0].State != "current" || m.Copies[1].State != "unreachable" {
		t.Errorf("with the service down: %s", printed(m))
	}
	s := r.status(a)
	if err := a.Close(); err != nil {
		t.Error(err)
	}
	for _, text := range []string{log.String(), printed(m), printed(s)} {
		if strings.Contains(text, secret) {
			t.Errorf("the secret key is in %s", text)
		}
	}
	if !strings.Contains(printed(s), "never within reach") && !strings.Contains(printed(s), "last within reach") {
		t.Errorf("status says nothing of its age: %s", printed(s))
	}
}

// A bad schedule in one archive stops that archive alone; covered with real
// files here, with plain values in the scheduler's own tests.
func TestServeRefusesWhereNothingCanBeServed(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "a.toml"), []byte("archive = \"a\"\ncolour = \"red\"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	err := daemon.Serve(t.Context(), daemon.ServeOptions{Config: dir, Options: daemon.Options{Log: slog.New(slog.NewTextHandler(io.Discard, nil))}})
	if !errors.Is(err, service.ErrNothingToDo) || !strings.Contains(err.Error(), "a.toml:2") {
		t.Errorf("Serve returned %v", err)
	}
}
