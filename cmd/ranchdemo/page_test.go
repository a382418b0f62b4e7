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

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"linecamp/cmd/ranchdemo/ranch"
	"linecamp/daemon"
	"linecamp/daemon/config"
	"linecamp/daemon/setup"
	"linecamp/daemon/show/page"
	"linecamp/manifest/words"
)

// shown is the practice ranch behind its page.
type shown struct {
	folder, drive, dir string
	archive            *daemon.Archive
	address, home      string
}

// practicePage is the practice ranch, of which a year was deleted by mistake.
func practicePage(t *testing.T) *shown {
	t.Helper()
	s := servedPage(t, func(folder string) error {
		_, err := ranch.New(1, time.Now()).Draw(t.Context(), folder)
		return err
	})
	if err := os.RemoveAll(visitOf(t, s.folder, "2012")); err != nil {
		t.Fatal(err)
	}
	return s
}

// servedPage draws a record, mirrors it, and serves the page.
func servedPage(t *testing.T, draw func(folder string) error) *shown {
	t.Helper()
	s := &shown{dir: t.TempDir()}
	s.folder, s.drive = filepath.Join(s.dir, "ranch"), filepath.Join(s.dir, "shelf-drive")
	if err := draw(s.folder); err != nil {
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
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	server, err := page.New(l.Addr(), page.Options{Archives: []page.Archive{{Archive: s.archive, Line: words.Line{}, Folder: filepath.Join(s.dir, "state")}}, Log: quiet})
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

func TestMain(m *testing.M) {
	if page.Child() {
		return
	}
	os.Exit(m.Run())
}

// The page in a real browser, on the practice ranch: one ranch for all of it, for
// drawing it takes long.
func TestPageInABrowser(t *testing.T) {
	s := practicePage(t)
	ctx := browser(t)
	do(t, ctx, chromedp.Navigate(s.address))
	t.Run("a camera card", func(t *testing.T) { cardInABrowser(t, ctx, s) })
	t.Run("every view", func(t *testing.T) { everyView(t, ctx, s) })
	t.Run("accessible", func(t *testing.T) { accessible(t, ctx, s) })
	t.Run("two pictures", func(t *testing.T) { twoPictures(t, ctx, s) })
	t.Run("without scripts", func(t *testing.T) { withoutScripts(t, ctx, s) })
	t.Run("work", func(t *testing.T) { workInABrowser(t, ctx, s) })
	t.Run("things go away", func(t *testing.T) { thingsGoAway(t, ctx, s) })
}

// views are all there are.
var views = []struct{ name, path string }{
	{"stand", ""}, {"years", "years"}, {"wanting", "years?state=wants"}, {"findings", "findings"}, {"site", windmill}, {"over", windmill + "?how=over"},
	{"versions", windmill + "/versions"}, {"work", "work"}, {"changes", "changes"}, {"card", "card"},
}

// cardInABrowser looks through a card, whose plan stays for the views to come.
func cardInABrowser(t *testing.T, ctx context.Context, s *shown) {
	card := filepath.Join(s.dir, "CAMERA", "DCIM")
	if err := os.MkdirAll(card, 0o777); err != nil {
		t.Fatal(err)
	}
	photos, err := filepath.Glob(filepath.Join(visitOf(t, s.folder, "2019"), "*.jpg"))
	if err != nil || len(photos) == 0 {
		t.Fatalf("%q, %v", photos, err)
	}
	for i, p := range photos {
		raw, err := os.ReadFile(p)
		if err == nil { // another picture of that day and place: what stands behind its end is passed over
			err = os.WriteFile(filepath.Join(card, fmt.Sprintf("IMG_%04d.jpg", 100+i)), append(raw, "another"...), 0o666)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	var text string
	look(t, ctx, 1280, 900, "light")
	do(t, ctx, chromedp.Navigate(s.home+"card"), chromedp.SetValue(".long [name=folder]", filepath.Dir(card)), chromedp.Click("form:has(.long [name=folder]) button"),
		chromedp.WaitVisible("pre.report"), chromedp.Click(`main a[href$="/card"]`), chromedp.WaitVisible("#plan"), chromedp.Text("main", &text))
	shown := eval[int](t, ctx, `Promise.all([...document.querySelectorAll(".strip img")].map((i) => i.decode())).then((all) => all.length)`)
	if shown != len(photos) || !strings.Contains(text, "Windmill Stake 1") || !strings.Contains(text, "would be filed") {
		t.Errorf("%d of %d pictures; it says\n%s", shown, len(photos), text)
	}
}

// torn are the years and their states that stand on more than one line.
const torn = `[...document.querySelectorAll("tr[id^=y] > th, tr[id^=y] > td:nth-child(2)")].flatMap((cell) => [...cell.childNodes]).filter((n) => {
	const r = document.createRange()
	r.selectNodeContents(n)
	return n.nodeType === Node.TEXT_NODE && n.data.trim() && new Set([...r.getClientRects()].filter((b) => b.width > 0).map((b) => b.top)).size > 1
}).map((n) => n.data.trim()).join(", ")`

// everyView fits its window, light and dark, from a telephone's width to a wide
// screen's, and says no fault in the console.
func everyView(t *testing.T, ctx context.Context, s *shown) {
	for _, v := range views {
		for _, size := range []struct{ width, height int64 }{{360, 780}, {1280, 900}, {2560, 1440}} {
			for _, scheme := range []string{"light", "dark"} {
				look(t, ctx, size.width, size.height, scheme)
				do(t, ctx, chromedp.Navigate(s.home+v.path))
				eval[int](t, ctx, pictures)
				if wide := eval[int64](t, ctx, "document.documentElement.scrollWidth"); wide > size.width {
					t.Errorf("%s is %d wide in a window of %d", v.name, wide, size.width)
				}
				if torn := eval[string](t, ctx, torn); torn != "" {
					t.Errorf("%s breaks words at %d: %s", v.name, size.width, torn)
				}
				shot(t, ctx, fmt.Sprintf("%s-%d-%s", v.name, size.width, scheme))
			}
		}
	}
}

// accessible: axe-core (Deque's, the reference for WCAG 2.2 AA by program) finds
// nothing on any view.
func accessible(t *testing.T, ctx context.Context, s *shown) {
	file := os.Getenv("LINECAMP_AXE")
	if file == "" {
		t.Skip("LINECAMP_AXE names no axe.min.js")
	}
	axe, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range views {
		for _, width := range []int64{360, 1280} {
			for _, scheme := range []string{"light", "dark"} {
				look(t, ctx, width, 900, scheme)
				do(t, ctx, chromedp.Navigate(s.home+v.path), chromedp.Evaluate(string(axe), nil))
				eval[int](t, ctx, pictures)
				for _, found := range eval[[]string](t, ctx, `axe.run(document, {resultTypes: ["violations"]}).then((r) => r.violations.flatMap((v) => v.nodes.map((n) => v.id + ": " + v.help + ": " + n.target + ": " + n.failureSummary)))`) {
					t.Errorf("%s, %d wide, %s: %s", v.name, width, scheme, found)
				}
			}
		}
	}
}

// twoPictures are chosen from the strip, zoomed and moved together, and cut by a
// divider that keys, two buttons and a finger move.
func twoPictures(t *testing.T, ctx context.Context, s *shown) {
	look(t, ctx, 1280, 900, "light")
	do(t, ctx, chromedp.Navigate(s.home+windmill+"?view=landscape"))
	eval[int](t, ctx, pictures)
	const state = `(() => { const i = [...document.querySelectorAll("#pair img")]; return i.map((x) => x.alt + " | " + x.style.transform); })()`
	settled := `new Promise((r) => requestAnimationFrame(() => requestAnimationFrame(r))).then(() => true)`
	key := eval[string](t, ctx, `document.querySelectorAll("#strip li")[3].dataset.key`)
	do(t, ctx, chromedp.Click(`#strip li:nth-child(4) [data-side=left]`))
	eval[int](t, ctx, `new Promise((done) => { const i = document.querySelector("#pair img"); const look = () => i.src.endsWith("`+key+`") && i.complete && i.naturalWidth > 0 ? done(1) : setTimeout(look, 20); look(); })`)
	visits := ranch.New(1, time.Now()).Visits
	newest := fmt.Sprint(visits[len(visits)-1].Year)
	if got := eval[[]string](t, ctx, state); !strings.Contains(got[0], "2013") && !strings.Contains(got[0], "2012") || !strings.Contains(got[1], newest) {
		t.Errorf("chosen: %q", got)
	}
	if at := eval[string](t, ctx, "location.search"); !strings.Contains(at, key) {
		t.Errorf("the address does not tell what is shown: %s", at)
	}
	do(t, ctx, chromedp.Click("#in"), chromedp.Click("#in"))
	eval[bool](t, ctx, settled)
	do(t, ctx, chromedp.Focus("#pair figure[data-side=left] .window"), chromedp.KeyEvent(kb.ArrowRight))
	eval[bool](t, ctx, settled)
	got := eval[[]string](t, ctx, state)
	left, right := got[0][strings.Index(got[0], "|"):], got[1][strings.Index(got[1], "|"):]
	if left != right || !strings.Contains(left, "scale(2.25)") {
		t.Errorf("not moved together: %q", got)
	}
	do(t, ctx, chromedp.Click("#whole"), chromedp.Click("[data-how=over]"))
	eval[bool](t, ctx, settled)
	const cut = `document.querySelector("#pair figure[data-side=right] .window").style.clipPath`
	for _, step := range []struct {
		by   chromedp.Action
		want string
	}{
		{chromedp.Click("#less"), "40%"},
		{chromedp.Click("#more"), "50%"},
		{chromedp.Tasks{chromedp.Focus("#part"), chromedp.KeyEvent(kb.ArrowRight)}, "51%"},
	} {
		do(t, ctx, step.by)
		eval[bool](t, ctx, settled)
		if got := eval[string](t, ctx, cut); !strings.Contains(got, step.want) {
			t.Errorf("the divider is at %q, not %s", got, step.want)
		}
	}
	shot(t, ctx, "divider-1280-light")
	at := eval[map[string]float64](t, ctx, `(() => { const c = document.querySelector(".cut").getBoundingClientRect(), w = document.querySelector("#pair .window").getBoundingClientRect(); return {x: c.x + 1, y: c.y + c.height / 2, to: w.x + w.width / 4}; })()`)
	do(t, ctx, chromedp.MouseEvent("mousePressed", at["x"], at["y"], chromedp.ButtonLeft), chromedp.MouseEvent("mouseMoved", at["to"], at["y"], chromedp.ButtonLeft), chromedp.MouseEvent("mouseReleased", at["to"], at["y"], chromedp.ButtonLeft))
	eval[bool](t, ctx, settled)
	if got := eval[string](t, ctx, cut); !strings.Contains(got, "25%") {
		t.Errorf("dragged, the divider is at %q", got)
	}
}

// withoutScripts the record can be read: every view, and two pictures beside each
// other by links alone.
func withoutScripts(t *testing.T, ctx context.Context, s *shown) {
	do(t, ctx, emulation.SetScriptExecutionDisabled(true))
	defer do(t, ctx, emulation.SetScriptExecutionDisabled(false))
	look(t, ctx, 1280, 900, "light")
	for _, v := range views {
		var text string
		do(t, ctx, chromedp.Navigate(s.home+v.path), chromedp.Text("main", &text))
		if len(text) < 80 {
			t.Errorf("%s says only %q", v.name, text)
		}
	}
	var before, after string
	do(t, ctx, chromedp.Navigate(s.home+windmill),
		chromedp.AttributeValue(`figure[data-side=right] img`, "src", &before, nil),
		chromedp.Click(`#strip li:nth-child(2) [data-side=right]`),
		chromedp.WaitVisible(`#strip li:nth-child(2)[data-right]`),
		chromedp.AttributeValue(`figure[data-side=right] img`, "src", &after, nil))
	if before == "" || before == after {
		t.Errorf("the right picture is %q before and %q after", before, after)
	}
}

// workInABrowser: a button begins the command, which is watched until it ends; and
// an explanation is put on file and shown.
func workInABrowser(t *testing.T, ctx context.Context, s *shown) {
	look(t, ctx, 1280, 900, "light")
	ended := func() string {
		var text string
		do(t, ctx, chromedp.WaitVisible("pre.report"), chromedp.Text("main", &text))
		return text
	}
	do(t, ctx, chromedp.Navigate(s.home+"work"), chromedp.Click(`form:has(input[value=verify]) button`))
	if text := ended(); !strings.Contains(text, "no damage") || !strings.Contains(text, "2012") {
		t.Errorf("verify says:\n%s", text)
	}
	shot(t, ctx, "job-1280-light")
	do(t, ctx, chromedp.Navigate(s.home+"years?state=skipped"), chromedp.Click(".years a.m.skipped"), chromedp.Click(`a[href*="#explain"]`),
		chromedp.SetValue("#explain [name=why]", "the road was washed out"), chromedp.SetValue("#explain [name=who]", "the office"), chromedp.Click("#explain button"))
	if text := ended(); !strings.Contains(text, "On file for") || !strings.Contains(text, "the road was washed out (the office)") {
		t.Errorf("explain says:\n%s", text)
	}
	do(t, ctx, chromedp.Navigate(s.home+"years?state=explained"))
	if n := eval[int](t, ctx, `document.querySelectorAll(".years a.m.explained").length`); n == 0 {
		t.Error("the year does not count as explained")
	}
}

// thingsGoAway: the drive is pulled and the folder changes while the page is open.
// The views go on, and say so.
func thingsGoAway(t *testing.T, ctx context.Context, s *shown) {
	if err := os.Rename(s.drive, s.drive+" elsewhere"); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(filepath.Join(s.folder, "Breaks Pasture"), filepath.Join(s.dir, "away")); err != nil {
		t.Fatal(err)
	}
	var text string
	do(t, ctx, chromedp.Navigate(s.home+"?fresh=1"), chromedp.Text("main", &text))
	if !strings.Contains(text, "shelf-drive") || strings.Contains(text, "All is well") {
		t.Errorf("with the drive pulled it says:\n%s", text)
	}
	for _, v := range views {
		do(t, ctx, chromedp.Navigate(s.home+v.path))
		eval[int](t, ctx, pictures)
		do(t, ctx, chromedp.Text("h1", &text))
		if text == "That did not work" {
			t.Errorf("%s cannot be shown", v.name)
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
