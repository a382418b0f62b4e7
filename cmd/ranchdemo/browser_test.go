package main

import (
	"bytes"
	"context"
	"image/jpeg"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// browser is a real Chromium, which LINECAMP_CHROMIUM names or the system has.
// What its console says of faults fails the test.
func browser(t *testing.T) context.Context {
	t.Helper()
	program := os.Getenv("LINECAMP_CHROMIUM")
	if program == "" {
		for _, name := range []string{"chromium", "chromium-browser"} {
			if p, err := exec.LookPath(name); err == nil {
				program = p
				break
			}
		}
	}
	if program == "" {
		t.Skip("there is no Chromium on this machine; LINECAMP_CHROMIUM names one")
	}
	o := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(program), chromedp.NoSandbox,
		chromedp.Flag("disable-gpu", true), chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true))
	start, stop := chromedp.NewExecAllocator(context.Background(), o...)
	t.Cleanup(stop)
	ctx, end := chromedp.NewContext(start)
	t.Cleanup(end)
	ctx, over := context.WithTimeout(ctx, 5*time.Minute)
	t.Cleanup(over)
	chromedp.ListenTarget(ctx, func(e any) {
		switch e := e.(type) {
		case *runtime.EventExceptionThrown:
			t.Errorf("a script failed: %s", e.ExceptionDetails.Error())
		case *log.EventEntryAdded:
			if e.Entry.Level == log.LevelError && !expected(e.Entry.URL) {
				t.Errorf("the console says: %s (%s)", e.Entry.Text, e.Entry.URL)
			}
		}
	})
	if err := chromedp.Run(ctx, log.Enable()); err != nil { // the first run starts it, for as long as ctx
		t.Fatal(err)
	}
	return ctx
}

// expected are the pictures that cannot be shown: the practice ranch has some.
func expected(url string) bool { return strings.Contains(url, "/picture/") }

func do(t *testing.T, ctx context.Context, actions ...chromedp.Action) {
	t.Helper()
	ctx, stop := context.WithTimeout(ctx, 40*time.Second)
	defer stop()
	if err := chromedp.Run(ctx, actions...); err != nil {
		t.Fatal(err)
	}
}

// eval runs a script in the page and returns what it comes to.
func eval[T any](t *testing.T, ctx context.Context, script string) (v T) {
	t.Helper()
	do(t, ctx, chromedp.Evaluate(script, &v, func(p *runtime.EvaluateParams) *runtime.EvaluateParams { return p.WithAwaitPromise(true) }))
	return v
}

// look is a window of some size, light or dark.
func look(t *testing.T, ctx context.Context, width, height int64, scheme string) {
	t.Helper()
	do(t, ctx, chromedp.EmulateViewport(width, height), emulation.SetEmulatedMedia().WithFeatures([]*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}))
}

// shot keeps a picture of the window where LINECAMP_SHOTS names a folder.
func shot(t *testing.T, ctx context.Context, name string) {
	t.Helper()
	dir := os.Getenv("LINECAMP_SHOTS")
	if dir == "" {
		return
	}
	var b []byte
	do(t, ctx, chromedp.CaptureScreenshot(&b))
	if err := os.MkdirAll(dir, 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, name+".png"), b, 0o666); err != nil {
		t.Fatal(err)
	}
	// A smaller one beside it, for README.md.
	m, err := png.Decode(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	if err := jpeg.Encode(&out, m, &jpeg.Options{Quality: 80}); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, name+".jpg"), out.Bytes(), 0o666); err != nil {
		t.Fatal(err)
	}
}

// pictures waits until every picture in sight is there, or is known not to come.
const pictures = `new Promise((done) => { const look = () => {
	const seen = [...document.images].filter((i) => { const b = i.getBoundingClientRect(); return b.bottom > 0 && b.right > 0 && b.top < innerHeight && b.left < innerWidth; });
	if (seen.every((i) => i.complete)) done(seen.length); else setTimeout(look, 20); }; look(); })`
