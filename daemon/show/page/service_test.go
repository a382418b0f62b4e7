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
	"time"

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
	all[0].Page.Listen = free(t)
	file := filepath.Join(w.dir, "draw", "state", addressFile)
	if err := os.WriteFile(file, []byte("of a crash"), 0o666); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	pages := NewPages(ctx, slog.New(slog.NewTextHandler(io.Discard, nil)))
	pages.Set(all)
	told := func(other string) string { return addressIn(t, file, other) }
	address := told("")
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
	// The settings are read again: nothing changed, another address, none.
	pages.Set(all)
	if again := told(""); again != address {
		t.Errorf("nothing changed, and %q became %q", address, again)
	}
	all[0].Page.Listen = free(t)
	pages.Set(all)
	if moved := told(address); !strings.HasPrefix(moved, "http://"+all[0].Page.Listen+"/?key=") {
		t.Errorf("the settings say %s, and it is served at %s", all[0].Page.Listen, moved)
	}
	if _, err := net.Dial("tcp", strings.TrimPrefix(strings.SplitN(address, "/?", 2)[0], "http://")); err == nil {
		t.Error("the page is still served at its old address")
	}
	all[0].Page.Listen = ""
	pages.Set(all)
	if _, err := os.Stat(file); err == nil {
		t.Error("no page is asked for, and the address is still there")
	}
	all[0].Page.Listen = free(t)
	pages.Set(all)
	told("")
	stop()
	pages.Wait()
	if _, err := os.Stat(file); err == nil {
		t.Error("the address is still there")
	}
}

// free is an address with a port that is free.
func free(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

// addressIn waits for the address of a page in a file, another one than other.
func addressIn(t testing.TB, file, other string) string {
	t.Helper()
	ctx, stop := context.WithTimeout(t.Context(), time.Minute)
	defer stop()
	for ctx.Err() == nil {
		if b, _ := os.ReadFile(file); strings.HasSuffix(string(b), "\n") && string(b) != other {
			return string(b)
		}
		runtime.Gosched()
	}
	t.Fatalf("no address is in %s", file)
	return ""
}
