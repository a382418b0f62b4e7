package page

import (
	"io"
	"log/slog"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"linecamp/daemon/config"
)

// TestNothingOfAnotherClientIsOnAPage follows every link of one archive's pages that the
// service serves at an address of its own, beside another's. Archives whose settings name
// one address are on one page.
func TestNothingOfAnotherClientIsOnAPage(t *testing.T) {
	w := newWorld(t, map[string]archive{"amber": stakes(2, 2023, 2025), "zebra-flat": {
		"Zebra Pasture/Zebra Stake/2024-06-15/plot.jpg": "zebra", "Zebra Pasture/Zebra Stake/2024-06-15/zebra notes.txt": "zebra\n"}})
	var served *Pages
	open := func(listen map[string]string) map[string]string {
		var all []config.Archive
		for name, at := range listen {
			cfg, faults := config.Load(filepath.Join(w.dir, name, name+".toml"))
			if len(faults) > 0 {
				t.Fatal(faults)
			}
			cfg[0].Page.Listen = at
			all = append(all, cfg[0])
		}
		pages := NewPages(t.Context(), slog.New(slog.NewTextHandler(io.Discard, nil)))
		pages.Set(all)
		t.Cleanup(func() { pages.Set(nil); pages.Wait() })
		served = pages
		address := map[string]string{}
		for name := range listen {
			address[name] = strings.TrimSpace(addressIn(t, filepath.Join(w.dir, name, "state", addressFile), ""))
		}
		return address
	}
	if body := w.page("/a/amber/"); !strings.Contains(body, "kept at: the amber bank") {
		t.Error("the page does not say where a drive is kept")
	}
	apart := open(map[string]string{"amber": free(t), "zebra-flat": free(t)})
	read := func(address string) (pages int, zebra []string) {
		link := regexp.MustCompile(`(?:href|src)="([^"#?]+)`)
		host, _, _ := strings.Cut(strings.TrimPrefix(address, "http://"), "/")
		seen, todo := map[string]bool{}, []string{address}
		for len(todo) > 0 {
			at := todo[0]
			todo = todo[1:]
			r, err := w.in.Get(at)
			if err != nil {
				t.Fatal(err)
			}
			b, err := io.ReadAll(r.Body)
			r.Body.Close()
			if err != nil {
				t.Fatal(err)
			}
			pages++
			if strings.Contains(strings.ToLower(string(b)+at), "zebra") {
				zebra = append(zebra, at)
			}
			if !strings.HasPrefix(r.Header.Get("Content-Type"), "text/html") {
				continue
			}
			for _, m := range link.FindAllStringSubmatch(string(b), -1) {
				next, err := r.Request.URL.Parse(m[1])
				if err == nil && next.Host == host && !seen[next.String()] && !strings.Contains(next.Path, "/events") {
					seen[next.String()] = true
					todo = append(todo, next.String())
				}
			}
		}
		return pages, zebra
	}
	if pages, zebra := read(apart["amber"]); pages < 20 || len(zebra) > 0 {
		t.Errorf("of %d pages of amber's these have zebra: %q", pages, zebra)
	}
	if _, zebra := read(apart["zebra-flat"]); len(zebra) < 5 {
		t.Errorf("zebra is on %q only", zebra)
	}
	// The other way about: whoever runs the machine may want both on one page.
	served.Set(nil)
	one := free(t)
	together := open(map[string]string{"amber": one, "zebra-flat": one})
	if _, zebra := read(together["amber"]); together["amber"] != together["zebra-flat"] || len(zebra) < 5 {
		t.Errorf("one address: amber's page is at %s and has zebra at %q, the other's at %s", together["amber"], zebra, together["zebra-flat"])
	}
}
