//go:build unix

package service

import (
	"context"
	"net"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
)

// The messages are those of sd_notify(3): one datagram each, assignments on
// lines of their own.
func TestTellsTheServiceManager(t *testing.T) {
	dir, err := os.MkdirTemp("", "lc") // a socket's path must be short
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	socket := filepath.Join(dir, "notify")
	conn, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: socket, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	conn.SetReadDeadline(time.Now().Add(20 * time.Second))
	t.Setenv("NOTIFY_SOCKET", socket)
	t.Setenv("WATCHDOG_USEC", "100000")
	t.Setenv("WATCHDOG_PID", "")

	// await reads on to a message that has each of the wanted lines.
	await := func(want ...string) string {
		t.Helper()
		buf := make([]byte, 4096)
		for {
			n, err := conn.Read(buf)
			if err != nil {
				t.Fatalf("no message with %q: %v", want, err)
			}
			said := string(buf[:n])
			all := true
			for _, w := range want {
				all = all && regexp.MustCompile(`(?m)^`+w+`$`).MatchString(strings.TrimSpace(said))
			}
			if all {
				return said
			}
		}
	}

	s := newShelf(nightly("ranch", "30 2 * * *"))
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- s.serve(ctx) }()
	await("READY=1")
	await(`STATUS=ranch: next mirror round \w+ 02:30`)
	await("WATCHDOG=1")
	await("WATCHDOG=1")
	s.hup <- os.Interrupt
	await("RELOADING=1", `MONOTONIC_USEC=\d+`)
	await("READY=1")
	cancel()
	await("STOPPING=1")
	if err := <-done; err != nil {
		t.Error(err)
	}
}
