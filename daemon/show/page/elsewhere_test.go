package page

import (
	"bufio"
	"net/http"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"linecamp/daemon/service"
)

// A round that another process runs is shown with how far it is, until it ends.
func TestARoundBegunElsewhereIsShown(t *testing.T) {
	w := newWorld(t, map[string]archive{"draw": stakes(1, 2020, 2025)})
	if body := w.page("/a/draw/"); strings.Contains(body, "begun elsewhere") {
		t.Errorf("nothing is under way:\n%s", body)
	}
	if r, _ := w.get("/a/draw/events?round=mirror"); r.StatusCode != http.StatusNotFound {
		t.Errorf("events of no round: %s", r.Status)
	}
	later := time.Date(2025, 8, 15, 2, 30, 0, 0, time.UTC)
	tell, end := service.Under(filepath.Join(w.dir, "draw", "state"), service.Mirror, func() time.Time { later = later.Add(time.Minute); return later })
	defer end()
	tell("shelf <b>", 1000, 4000)
	body := w.page("/a/draw/")
	for _, want := range []string{"Under way, begun elsewhere", "Mirror, begun Fri Aug 15, 2025", "shelf &lt;b&gt;: 1.0 kB of 4.0 kB", "events?round=mirror"} {
		if !strings.Contains(body, want) {
			t.Errorf("no %q in\n%s", want, body)
		}
	}
	r, err := w.in.Get(w.home + "/a/draw/events?round=mirror")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	lines := bufio.NewScanner(r.Body)
	var told []string
	for lines.Scan() {
		if lines.Text() == "" {
			continue
		}
		if told = append(told, lines.Text()); len(told) == 1 {
			end()
		}
	}
	if len(told) < 2 || !strings.Contains(told[0], `"under_way":true`) || !strings.Contains(told[0], `"done":1000`) || !strings.Contains(told[len(told)-1], `"under_way":false`) {
		t.Errorf("told: %q", told)
	}
}
