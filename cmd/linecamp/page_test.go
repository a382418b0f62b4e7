package main

import (
	"bufio"
	"bytes"
	"context"
	"io"
	"net/http"
	"net/http/cookiejar"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// The first line that page --no-browser prints is the address that opens the page;
// it is served until the program is stopped.
func TestPageNoBrowser(t *testing.T) {
	dir := t.TempDir()
	folder, conf := filepath.Join(dir, "ranch"), filepath.Join(dir, "draw.toml")
	visit := filepath.Join(folder, "North Flat", "Stake 3", "2024-06-21")
	if err := os.MkdirAll(visit, 0o777); err != nil {
		t.Fatal(err)
	}
	then := time.Now().Add(-time.Hour)
	for _, name := range []string{"plot.jpg", "notes.txt"} {
		f := filepath.Join(visit, name)
		if err := os.WriteFile(f, []byte(name), 0o666); err != nil {
			t.Fatal(err)
		}
		if err := os.Chtimes(f, then, then); err != nil {
			t.Fatal(err)
		}
	}
	t.Setenv("XDG_STATE_HOME", filepath.Join(dir, "state"))
	var said bytes.Buffer
	if got := run(t.Context(), []string{"setup", "--yes", "--archive", "draw", "--folder", folder, "--drive", "shelf=" + filepath.Join(dir, "drive"), "--config", conf}, strings.NewReader(""), &said, &said); got != exitWell {
		t.Fatalf("setup: %d\n%s", got, &said)
	}
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	out, in := io.Pipe()
	ended := make(chan int, 1)
	go func() {
		ended <- run(ctx, []string{"page", "--no-browser", "--config", conf}, strings.NewReader(""), in, io.Discard)
		in.Close()
	}()
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		t.Fatal(err)
	}
	jar, _ := cookiejar.New(nil)
	c := &http.Client{Jar: jar}
	r, err := c.Get(strings.TrimSpace(line))
	if err != nil {
		t.Fatal(err)
	}
	home := r.Request.URL
	r.Body.Close()
	if r, err = c.Get(home.JoinPath("years").String()); err != nil {
		t.Fatal(err)
	}
	body, _ := io.ReadAll(r.Body)
	r.Body.Close()
	for _, want := range []string{"<table", `<th scope="row">`, `<th scope="col">2024</th>`, "Stake 3", `>whole</a>`} {
		if !strings.Contains(string(body), want) {
			t.Errorf("the years have no %q:\n%s", want, body)
		}
	}
	bare := &http.Client{}
	if r, err = bare.Get(home.String()); err != nil || r.StatusCode != http.StatusForbidden {
		t.Errorf("somebody without the key: %v, %v", r, err)
	}
	stop()
	if got := <-ended; got != exitWell {
		t.Errorf("it ended with %d", got)
	}
}
