package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"linecamp/cmd/ranchdemo/ranch"
	"linecamp/daemon"
	"linecamp/daemon/config"
	"linecamp/daemon/setup"
	"linecamp/daemon/show/page"
	"linecamp/verify/say"
)

// shown is the practice ranch behind its page.
type shown struct {
	folder, drive, dir string
	archive            *daemon.Archive
	address, home      string
}

// practicePage draws the practice ranch, mirrors it, and serves the page.
func practicePage(t *testing.T) *shown {
	t.Helper()
	s := &shown{dir: t.TempDir()}
	s.folder, s.drive = filepath.Join(s.dir, "ranch"), filepath.Join(s.dir, "shelf-drive")
	if _, err := ranch.New(1, time.Now()).Draw(t.Context(), s.folder); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(s.drive, 0o777); err != nil {
		t.Fatal(err)
	}
	quiet := slog.New(slog.NewTextHandler(io.Discard, nil))
	conf := filepath.Join(s.dir, archiveName+".toml")
	if _, err := setup.Run(t.Context(), setup.Options{Archive: archiveName, Folder: s.folder, Config: conf, State: filepath.Join(s.dir, "state"), Log: quiet, Now: time.Now,
		Drives: []setup.NamedDir{{Name: "shelf-drive", Dir: s.drive}}}); err != nil {
		t.Fatal(err)
	}
	all, faults := config.Load(conf)
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	var err error
	if s.archive, err = daemon.Open(all[0], daemon.Options{Log: quiet}); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.archive.Close() })
	if _, err := s.archive.Mirror(t.Context(), daemon.MirrorOptions{}, nil); err != nil {
		t.Fatal(err)
	}
	// A year is deleted by mistake.
	if err := os.RemoveAll(visitOf(t, s.folder, "2012")); err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	server, err := page.New(l.Addr(), page.Options{Archives: []page.Archive{{Archive: s.archive, Line: say.Line{}, Folder: filepath.Join(s.dir, "state")}}, Log: quiet})
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(ctx, l) }()
	t.Cleanup(func() {
		stop()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	s.address = server.Gate().Address()
	s.home = strings.TrimSuffix(server.Gate().Home(), "/") + server.Gate().Door() + "/a/" + archiveName + "/"
	return s
}

const windmill = "site/north-flat--windmill-stake-1"

// Every view fits its window, light and dark, from a telephone's width to a wide
// screen's, and says no fault in the console.
func TestEveryViewInABrowser(t *testing.T) {
	s := practicePage(t)
	ctx := browser(t)
	do(t, ctx, chromedp.Navigate(s.address))
	for _, v := range []struct{ name, path string }{
		{"stand", ""}, {"years", "years"}, {"wanting", "years?state=wants"}, {"findings", "findings"}, {"site", windmill}, {"over", windmill + "?how=over"},
		{"versions", windmill + "/versions"}, {"work", "work"},
	} {
		for _, size := range []struct{ width, height int64 }{{360, 780}, {1280, 900}, {2560, 1440}} {
			for _, scheme := range []string{"light", "dark"} {
				look(t, ctx, size.width, size.height, scheme)
				do(t, ctx, chromedp.Navigate(s.home+v.path))
				eval[int](t, ctx, pictures)
				if wide := eval[int64](t, ctx, "document.documentElement.scrollWidth"); wide > size.width {
					t.Errorf("%s is %d wide in a window of %d", v.name, wide, size.width)
				}
				shot(t, ctx, fmt.Sprintf("%s-%d-%s", v.name, size.width, scheme))
			}
		}
	}
}

// visitOf is the folder of a year's visit to the windmill.
func visitOf(t *testing.T, folder, year string) string {
	t.Helper()
	found, err := filepath.Glob(filepath.Join(folder, "North Flat", "Windmill Stake 1", year+"-*"))
	if err != nil || len(found) != 1 {
		t.Fatalf("%q, %v", found, err)
	}
	return found[0]
}
