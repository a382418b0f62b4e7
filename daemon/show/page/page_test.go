package page

import (
	"fmt"
	"image/jpeg"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"

	"linecamp/daemon"
	"linecamp/daemon/event"
)

func explainOf(site, why string) daemon.ExplainOptions {
	return daemon.ExplainOptions{Site: site, Years: "2023", Why: why, Who: "<b>who</b>"}
}

// How things stand says in words how each round ended, and whether a service runs them.
func TestStandSaysWhoRunsTheRounds(t *testing.T) {
	got := newWorld(t, map[string]archive{"draw": stakes(3, 2018, 2025)}).page("/a/draw/")
	if want := "No service has ever run here. A service would run next: "; !strings.Contains(got, want) {
		t.Errorf("it does not say %q", want)
	}
	if never := "while the service runs"; strings.Contains(got, never) {
		t.Errorf("it says %q", never)
	}
	if row := roundRowOf(daemon.PastRound{Outcome: event.Wants, Ended: new(time.Time)}, &book{}); row.Outcome != "something needs you" {
		t.Errorf("a round that wants a person: %q", row.Outcome)
	}
}

// The years are one table with headers, whose cells say their state in words and
// lead to that year of the site; and each year of each site is in it.
func TestYearsTable(t *testing.T) {
	a := stakes(3, 2018, 2025)
	for p := range a {
		if strings.HasPrefix(p, "North Flat/Stake 2/2021") {
			delete(a, p)
		}
	}
	w := newWorld(t, map[string]archive{"draw": a})
	root, err := html.Parse(strings.NewReader(w.page("/a/draw/years")))
	if err != nil {
		t.Fatal(err)
	}
	tables, cells := 0, map[string]string{}
	for n := range root.Descendants() {
		switch {
		case n.Data == "table":
			tables++
		case n.Data == "th" && attr(n, "scope") == "":
			t.Errorf("a header without a scope: %q", textOf(n))
		case n.Data == "td":
			for a := range n.Descendants() {
				if a.Data == "a" {
					cells[attr(a, "href")] = textOf(n)
				}
			}
		}
	}
	if tables != 1 {
		t.Errorf("%d tables", tables)
	}
	want := 0
	for _, s := range w.index("draw").sites {
		for _, y := range s.years {
			want++
			if got := cells[fmt.Sprintf("site/%s#y%d", s.key, y.Year)]; got != y.State {
				t.Errorf("%s %d says %q, not %q", s.label(), y.Year, got, y.State)
			}
		}
	}
	if len(cells) != want || want < 23 {
		t.Errorf("%d cells for %d years", len(cells), want)
	}
	// Only the sites that were asked for.
	for query, rows := range map[string]int{"state=skipped": 1, "state=lost": 0, "state=wants": 1, "pasture=North+Flat": 3, "pasture=South": 0} {
		if got := strings.Count(w.page("/a/draw/years?"+query), `<th scope="row">`); got != rows {
			t.Errorf("%s shows %d sites, not %d", query, got, rows)
		}
	}
}

// A finding that a reason on file ends says on the page too how to put it there.
func TestFindingsSayHowToPutAReasonOnFile(t *testing.T) {
	a := stakes(2, 2018, 2025)
	a["North Flat/Stake 2/2021-06-22/plot.jpg"] = a["North Flat/Stake 1/2020-06-21/plot.jpg"]
	got := newWorld(t, map[string]archive{"draw": a}).page("/a/draw/findings")
	for _, path := range []string{"North Flat/Stake 1/2020-06-21/plot.jpg", "North Flat/Stake 2/2021-06-22/plot.jpg"} {
		if want := "linecamp explain &#39;" + path + "&#39; &#39;the reason&#39;"; !strings.Contains(got, want) {
			t.Errorf("it does not say %s", want)
		}
	}
}

func textOf(n *html.Node) string {
	var b strings.Builder
	for c := range n.Descendants() {
		if c.Type == html.TextNode {
			b.WriteString(c.Data)
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

var pictureIn = regexp.MustCompile(`src="([^"]*/picture/[^"]*)" [^>]*alt="([^"]*)"`)

// A site's view has every picture of one view, in the order of the years, with
// words for each; the two large ones are the first and the newest, or those asked
// for; and a picture that is gone from the folder comes from a copy.
func TestSite(t *testing.T) {
	w := newWorld(t, map[string]archive{"draw": stakes(1, 2018, 2025)})
	if err := os.Remove(filepath.Join(w.dir, "draw", "folder", "North Flat", "Stake 1", "2020-06-21", "plot.jpg")); err != nil {
		t.Fatal(err)
	}
	s := w.index("draw").sites[0]
	for _, view := range []string{"plot", "landscape"} {
		body := w.page("/a/draw/site/" + s.key + "?view=" + view)
		found := pictureIn.FindAllStringSubmatch(body, -1)
		if len(found) != 10 {
			t.Fatalf("%s: %d pictures, not two large ones and eight along the years", view, len(found))
		}
		for i, f := range found {
			year := []int{2018, 2025, 2018, 2019, 2020, 2021, 2022, 2023, 2024, 2025}[i]
			if want := fmt.Sprintf("North Flat / Stake 1, %s, June 21, %d", view, year); f[2] != want {
				t.Errorf("picture %d says %q, not %q", i, f[2], want)
			}
			r, got := w.get(strings.TrimPrefix(f[1], w.server.gate.Door()))
			if r.StatusCode != http.StatusOK || r.Header.Get("Content-Type") != "image/jpeg" || !strings.HasPrefix(got, "\xff\xd8") {
				t.Errorf("%s %d: %s, %q", view, year, r.Status, r.Header.Get("Content-Type"))
			}
		}
	}
	body := w.page("/a/draw/site/" + s.key + "?view=plot")
	link := regexp.MustCompile(`href="(\?[^"]*)" data-side="right" data-key="[^"]*" aria-label="June 21, 2019 to the right"`).FindStringSubmatch(body)
	if link == nil {
		t.Fatal("no link puts 2019 to the right")
	}
	body = w.page("/a/draw/site/" + s.key + strings.ReplaceAll(link[1], "&amp;", "&"))
	if found := pictureIn.FindAllStringSubmatch(body, 2); len(found) < 2 || !strings.Contains(found[1][2], "2019") || !strings.Contains(found[0][2], "2018") {
		t.Errorf("2019 is not to the right: %q", found)
	}
	if strings.Count(body, "from a copy") != 1 {
		t.Error("the view does not say that one picture is from a copy")
	}
	if !strings.Contains(body, "<td>North Flat/Stake 1/2020-06-21/plot.jpg\n") {
		t.Error("the year of that picture does not name the file, and no more")
	}
}

// post sends a form of the page.
func (w *world) post(path string, form url.Values) (*http.Response, string) {
	w.t.Helper()
	form.Set("token", w.server.gate.Token())
	r, err := http.NewRequestWithContext(w.t.Context(), http.MethodPost, w.home+path, strings.NewReader(form.Encode()))
	if err != nil {
		w.t.Fatal(err)
	}
	u, _ := url.Parse(w.home)
	r.Header.Set("Origin", "http://"+u.Host)
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	got, err := w.in.Do(r)
	if err != nil {
		w.t.Fatal(err)
	}
	defer got.Body.Close()
	w.server.named["draw"].jobs.Wait()
	return got, w.page(strings.TrimPrefix(got.Request.URL.Path, w.server.gate.Door()))
}

// What is begun from the page is the command's own doing, shown with its report and
// its command line.
func TestWork(t *testing.T) {
	w := newWorld(t, map[string]archive{"draw": stakes(2, 2018, 2025)})
	folder := filepath.Join(w.dir, "draw", "folder")
	w.write(filepath.Join(folder, "North Flat/Stake 1/2025-10-21/plot.jpg"), "new")
	key := w.index("draw").sites[0].key
	into := filepath.Join(w.dir, "back")
	for _, tt := range []struct {
		form url.Values
		says []string
	}{
		{url.Values{"do": {"mirror"}}, []string{"current", "linecamp mirror --archive draw"}},
		{url.Values{"do": {"verify"}, "copy": {"shelf"}}, []string{"no damage", "linecamp verify --copy shelf --archive draw"}},
		{url.Values{"do": {"mend"}}, []string{"linecamp mend --archive draw"}},
		{url.Values{"do": {"drill"}, "copy": {"shelf"}}, []string{"every byte as recorded", "linecamp drill --copy shelf --archive draw"}},
		{url.Values{"do": {"explain"}, "site": {key}, "years": {"2019"}, "why": {"road washed out"}, "who": {"Pat"}}, []string{"On file for North Flat / Stake 1, 2019: road washed out (Pat)", "linecamp explain"}},
		{url.Values{"do": {"explain"}, "site": {key}, "years": {"soon"}, "why": {"x"}}, []string{"Not done", "is no year"}},
		{url.Values{"do": {"restore"}, "site": {key}, "year": {"2020"}, "into": {into}}, []string{"Restored 3 files"}},
	} {
		r, body := w.post("/a/draw/work", tt.form)
		for _, want := range tt.says {
			if r.StatusCode != http.StatusOK || !strings.Contains(html.UnescapeString(body), want) {
				t.Errorf("%v: %s, no %q in\n%s", tt.form, r.Status, want, body)
			}
		}
	}
	if _, err := os.Stat(filepath.Join(into, "North Flat", "Stake 1", "2020-06-21", "plot.jpg")); err != nil {
		t.Error(err)
	}
}

// Several archives are rolled up, worst first, and a view of one has no way into
// another's.
func TestSeveralArchives(t *testing.T) {
	short := stakes(2, 2018, 2025)
	for p := range short {
		if strings.Contains(p, "/2021-") {
			delete(short, p)
		}
	}
	w := newWorld(t, map[string]archive{"alder": stakes(1, 2018, 2025), "birch": short, "cedar": stakes(3, 2018, 2025)})
	body := w.page("/")
	at := func(name string) int { return strings.Index(body, ">"+name+"</a>") }
	if at("birch") < 0 || at("birch") > at("alder") || at("alder") > at("cedar") {
		t.Errorf("birch lacks years, and the order is %d, %d, %d", at("alder"), at("birch"), at("cedar"))
	}
	for _, view := range []string{"/a/birch/", "/a/birch/years", "/a/birch/work", "/a/birch/findings", "/a/birch/site/" + w.index("birch").sites[0].key} {
		body := w.page(view)
		for _, other := range []string{"/a/alder", "/a/cedar", ">alder<", ">cedar<"} {
			if strings.Contains(body, other) {
				t.Errorf("%s has %q", view, other)
			}
		}
	}
}

// A change that may be an accident is looked at, with the picture on record beside
// the one there is now; it is recorded by a person's word, and only if it still is
// what was looked at.
func TestChanges(t *testing.T) {
	w := newWorld(t, map[string]archive{"draw": stakes(2, 2020, 2025)})
	folder := filepath.Join(w.dir, "draw", "folder")
	change := func(years ...int) {
		for _, y := range years {
			w.write(filepath.Join(folder, fmt.Sprintf("North Flat/Stake 1/%d-06-21/plot.jpg", y)), fmt.Sprint("other ", y))
			w.write(filepath.Join(folder, fmt.Sprintf("North Flat/Stake 2/%d-06-22/plot.jpg", y)), fmt.Sprint("other ", y))
			w.write(filepath.Join(folder, fmt.Sprintf("North Flat/Stake 2/%d-06-22/landscape.jpg", y)), fmt.Sprint("another ", y))
		}
	}
	change(2020, 2021, 2022, 2023)
	w.post("/a/draw/work", url.Values{"do": {"mirror"}})
	body := w.page("/a/draw/changes")
	found := pictureIn.FindAllStringSubmatch(body, -1)
	if strings.Count(body, "<li><code>") != 12 || len(found) != 24 {
		t.Fatalf("%d changes, %d pictures:\n%s", strings.Count(body, "<li><code>"), len(found), body)
	}
	_, was := w.get(strings.TrimPrefix(found[0][1], w.server.gate.Door()))
	_, now := w.get(strings.TrimPrefix(found[1][1], w.server.gate.Door()))
	if was == now || !strings.HasPrefix(was, "\xff\xd8") || !strings.HasPrefix(now, "\xff\xd8") {
		t.Error("the picture on record and the one there is now are not two")
	}
	seen := regexp.MustCompile(`name="seen" value="([^"]+)"`).FindStringSubmatch(body)[1]
	accept := func(seen string) string {
		_, body := w.post("/a/draw/work", url.Values{"do": {"accept"}, "seen": {seen}, "looked": {"1"}, "why": {"cropped the scans"}, "who": {"the office"}})
		return html.UnescapeString(body)
	}
	change(2024)
	if body := accept(seen); !strings.Contains(body, "is not what you looked at") {
		t.Errorf("something else was accepted:\n%s", body)
	}
	w.post("/a/draw/work", url.Values{"do": {"mirror"}})
	seen = regexp.MustCompile(`name="seen" value="([^"]+)"`).FindStringSubmatch(w.page("/a/draw/changes"))[1]
	if body := accept(seen); !strings.Contains(body, "current") || !strings.Contains(body, "--accept-changes") {
		t.Errorf("it was not accepted:\n%s", body)
	}
	if body := w.page("/a/draw/changes"); !strings.Contains(body, "Nothing waits") {
		t.Error(body)
	}
}

// A picture that was taken upright and is now on a copy only stands upright all the
// same: its camera wrote how it is to be turned.
func TestUprightFromACopy(t *testing.T) {
	w := newWorld(t, map[string]archive{"draw": stakes(1, 2020, 2025)})
	name := filepath.Join(w.dir, "draw", "folder", "North Flat", "Stake 1", "2019-06-21", "plot.jpg")
	w.write(name, "upright")
	raw, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	// APP1 with one entry, Orientation = 6 (CIPA DC-008, 4.5.2, 4.6.5).
	exif := "\xff\xe1\x00\x22Exif\x00\x00MM\x00*\x00\x00\x00\x08\x00\x01\x01\x12\x00\x03\x00\x00\x00\x01\x00\x06\x00\x00\x00\x00\x00\x00"
	if err := os.WriteFile(name, []byte("\xff\xd8"+exif+string(raw[2:])), 0o666); err != nil {
		t.Fatal(err)
	}
	then := clockOf().AddDate(0, 0, -7)
	if err := os.Chtimes(name, then, then); err != nil {
		t.Fatal(err)
	}
	size := func() string {
		t.Helper()
		w.index("draw")
		body := w.page("/a/draw/site/north-flat--stake-1?view=plot")
		src := pictureIn.FindStringSubmatch(body)
		if !strings.Contains(src[2], "2019") {
			t.Fatalf("the first picture is %q", src[2])
		}
		_, got := w.get(strings.TrimPrefix(src[1], w.server.gate.Door()))
		c, err := jpeg.DecodeConfig(strings.NewReader(got))
		if err != nil {
			t.Fatal(err)
		}
		return fmt.Sprint(c.Width, "x", c.Height)
	}
	w.post("/a/draw/work", url.Values{"do": {"mirror"}})
	if got := size(); got != "300x400" {
		t.Errorf("in the folder it is %s", got)
	}
	if err := os.RemoveAll(filepath.Dir(name)); err != nil {
		t.Fatal(err)
	}
	if got := size(); got != "300x400" {
		t.Errorf("from the copy it is %s", got)
	}
}
