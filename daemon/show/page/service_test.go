package page

import (
	"context"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/cookiejar"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"linecamp/daemon/config"
)

// The service serves the page where the settings say so, and leaves its address,
// with the key, for the owner of the state folder only; until it is stopped.
func TestService(t *testing.T) {
	w := newWorld(t, map[string]archive{"draw": stakes(1, 2020, 2025)})
	all, faults := config.Load(filepath.Join(w.dir, "draw", "draw.toml"))
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0") // a port that is free
	if err != nil {
		t.Fatal(err)
	}
	all[0].Page.Listen = l.Addr().String()
	l.Close()
	file := filepath.Join(w.dir, "draw", "state", addressFile)
	if err := os.WriteFile(file, []byte("of a crash"), 0o666); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	ended := make(chan bool)
	go func() {
		Service(ctx, all, slog.New(slog.NewTextHandler(io.Discard, nil)))
		close(ended)
	}()
	var address string
	for !strings.HasSuffix(address, "\n") {
		if t.Context().Err() != nil {
			t.Fatal("no address")
		}
		b, _ := os.ReadFile(file)
		address = string(b)
		runtime.Gosched()
	}
	if info, err := os.Stat(file); err != nil || info.Mode().Perm() != 0o600 && runtime.GOOS != "windows" {
		t.Errorf("%v, %v", info.Mode(), err)
	}
	jar, _ := cookiejar.New(nil)
	r, err := (&http.Client{Jar: jar}).Get(strings.TrimSpace(address))
	if err != nil || r.StatusCode != http.StatusOK || !strings.HasPrefix(address, "http://"+all[0].Page.Listen+"/?key=") {
		t.Errorf("%s: %v, %v", address, r, err)
	} else {
		r.Body.Close()
	}
	stop()
	<-ended
	if _, err := os.Stat(file); err == nil {
		t.Error("the address is still there")
	}
}
