package main

import (
	"context"
	"fmt"
	"os"
	"slices"
	"strconv"
	"testing"
	"time"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

// watch runs in each view before anything else: it notes when both large pictures
// are shown, and how long each frame took.
const watch = `(() => {
	let last = 0;
	window.frames_ = [];
	const look = (now) => {
		if (last) window.frames_.push(now - last);
		last = now;
		const two = [...document.querySelectorAll("#pair img")];
		if (!window.both_ && two.length === 2 && two.every((i) => i.complete && i.naturalWidth > 0)) window.both_ = performance.timeOrigin + performance.now();
		requestAnimationFrame(look);
	};
	requestAnimationFrame(look);
	addEventListener("click", () => { sessionStorage.clicked = performance.timeOrigin + performance.now(); }, true);
})()`

// tillBoth waits for both large pictures, and gives the milliseconds since the click.
const tillBoth = `new Promise((done) => { const look = () => window.both_ ? done(window.both_ - Number(sessionStorage.clicked)) : setTimeout(look, 10); look(); })`

// TestPageSpeedInABrowser prints how quick the page is in a real browser, warm. It
// holds no time against a limit, since that depends on the machine and on what else
// it does; DEVELOPERS.md has the targets.
func TestPageSpeedInABrowser(t *testing.T) {
	if testing.Short() {
		t.Skip("draws a large record")
	}
	sites := 40
	if n, err := strconv.Atoi(os.Getenv("LINECAMP_SITES")); err == nil {
		sites = n
	}
	last := time.Now().Year() - 1
	s, many := practicePage(t), servedPage(t, func(folder string) error { return drawRegular(folder, sites, last-39, last) })
	ctx := browser(t)
	look(t, ctx, 1280, 900, "light")
	do(t, ctx, chromedp.Navigate(s.address), chromedp.ActionFunc(func(ctx context.Context) error {
		_, err := page.AddScriptToEvaluateOnNewDocument(watch).Do(ctx)
		return err
	}))
	var till []float64
	for range 6 { // the first makes the small pictures
		do(t, ctx, chromedp.Navigate(s.home+"years"), chromedp.WaitVisible(".years a.m"), chromedp.Click(".years tbody tr:last-child a.m"), chromedp.WaitVisible("#pair"))
		till = append(till, eval[float64](t, ctx, tillBoth))
	}
	t.Logf("from the click on a year to both large pictures shown: %.0f ms the first time, then %.0f ms", till[0], till[1:])

	do(t, ctx, chromedp.Navigate(s.home+windmill+"?view=landscape"))
	eval[int](t, ctx, pictures)
	till = till[:0]
	for i := range 6 {
		till = append(till, eval[float64](t, ctx, fmt.Sprintf(`new Promise((done) => {
			const a = document.querySelector("#strip li:nth-child(%d) [data-side=left]"), at = performance.now();
			a.click();
			const img = document.querySelector("#pair figure[data-side=left] img");
			const look = () => img.src.endsWith(a.dataset.key) && img.complete && img.naturalWidth > 0 ? done(performance.now() - at) : requestAnimationFrame(look);
			look();
		})`, 3+i%3)))
	}
	t.Logf("from the click on a picture of the strip to it shown large: %.0f ms, three for the first time, then the same again", till)

	do(t, ctx, chromedp.Click("#in"), chromedp.Click("#in"))
	eval[int](t, ctx, pictures)
	still := eval[[]float64](t, ctx, `new Promise((done) => { window.frames_ = []; setTimeout(() => done(window.frames_.slice(2)), 2000); })`)
	panned := eval[[]float64](t, ctx, `new Promise((done) => {
		const w = document.querySelector("#pair .window"), box = w.getBoundingClientRect();
		const send = (kind, x, y) => w.dispatchEvent(new PointerEvent(kind, {pointerId: 1, clientX: x, clientY: y, bubbles: true}));
		w.setPointerCapture = () => {};
		const midX = box.x + box.width / 2, midY = box.y + box.height / 2;
		send("pointerdown", midX, midY);
		window.frames_ = [];
		let n = 0;
		const step = () => {
			send("pointermove", midX + 80 * Math.sin(n / 9), midY + 60 * Math.cos(n / 7));
			if (++n < 180) requestAnimationFrame(step); else { send("pointerup", midX, midY); done(window.frames_.slice(2)); }
		};
		requestAnimationFrame(step);
	})`)
	if len(panned) < 100 {
		t.Errorf("only %d frames while panning", len(panned))
	}
	t.Logf("frames while panning: %s; with nothing moved: %s", frameTimes(panned), frameTimes(still))
	manyYears(t, ctx, many, sites)
}

// frameTimes are the times from one frame to the next in words.
func frameTimes(all []float64) string {
	slices.Sort(all)
	if len(all) == 0 {
		return "none"
	}
	return fmt.Sprintf("%d, half of them within %.0f ms, the longest %.0f ms", len(all), all[len(all)/2], all[len(all)-1])
}

// manyYears shows the years of so many sites (LINECAMP_SITES says how many), and 40
// years of each.
func manyYears(t *testing.T, ctx context.Context, s *shown, sites int) {
	do(t, ctx, chromedp.Navigate(s.address), chromedp.Navigate(s.home+"years"))
	const timing = `(() => { const n = performance.getEntriesByType("navigation")[0], p = performance.getEntriesByName("first-contentful-paint")[0];
		return [n.responseStart, p ? p.startTime : 0, n.domContentLoadedEventEnd, n.loadEventEnd, n.decodedBodySize]; })()`
	told := func(what string) {
		v := eval[[]float64](t, ctx, `new Promise((r) => requestAnimationFrame(() => requestAnimationFrame(r))).then(() => `+timing+`)`)
		rows := eval[int](t, ctx, `document.querySelectorAll(".years tbody tr").length`)
		t.Logf("%d sites and 40 years, %s: %d rows, first byte after %.0f ms, first shown after %.0f ms, all there after %.0f ms (%.1f MB)", sites, what, rows, v[0], v[1], v[2], v[4]/1e6)
	}
	do(t, ctx, chromedp.Navigate(s.home+"years"))
	told("all")
	if n := eval[int](t, ctx, `document.querySelectorAll(".years a.m").length`); n < sites*40 {
		t.Errorf("%d years are shown, of %d", n, sites*40)
	}
	do(t, ctx, chromedp.SetValue("select[name=pasture]", "Pasture 2"), chromedp.Click("form.filter button"), chromedp.WaitVisible(".years"))
	told("one pasture")
	if n := eval[int](t, ctx, `document.querySelectorAll(".years tbody tr").length`); n > 12 {
		t.Errorf("%d rows for one pasture", n)
	}
	shot(t, ctx, "many-years")
}
