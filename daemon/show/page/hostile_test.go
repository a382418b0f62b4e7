package page

import (
	"bufio"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/net/html"
)

// outside is what lies beside the archives and must never be served; theirs is in
// the other archive.
const (
	outside = "SECRET-OUTSIDE-OF-EVERY-ARCHIVE"
	theirs  = "SECRET-OF-THE-OTHER-ARCHIVE"
)

func hostileWorld(t *testing.T) (*world, *strings.Replacer) {
	draw := stakes(2, 2019, 2025)
	other := archive{"South/Their Stake/2020-06-21/notes.txt": theirs, "South/Their Stake/2020-06-21/plot.jpg": "theirs"}
	w := newWorld(t, map[string]archive{"draw": draw, "other": other})
	if err := os.WriteFile(filepath.Join(w.dir, "secret.txt"), []byte(outside), 0o666); err != nil {
		t.Fatal(err)
	}
	g := w.server.gate
	u, _ := url.Parse(g.Home())
	ours, other2 := w.index("draw"), w.index("other")
	note := func(r *reading) string {
		for _, s := range r.sites {
			for _, f := range s.files {
				if isText(f.Path) {
					return f.key
				}
			}
		}
		t.Fatal("no note")
		return ""
	}
	key, err := url.Parse(g.Address())
	if err != nil {
		t.Fatal(err)
	}
	return w, strings.NewReplacer("{door}", g.Door(), "{key}", key.Query().Get("key"), "{token}", g.Token(), "{port}", u.Port(), "{host}", u.Host,
		"{file}", note(ours), "{theirs}", note(other2), "{site}", ours.sites[0].key, "{stake}", other2.sites[0].key)
}

// Each request of the list is refused, tells nothing that it must not, and changes
// nothing.
func TestHostileRequests(t *testing.T) {
	w, fill := hostileWorld(t)
	list, err := os.ReadFile("testdata/hostile.txt")
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, line := range strings.Split(string(list), "\n") {
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		n++
		r, body := w.raw(t, fill.Replace(line))
		if r.StatusCode < 400 {
			// A path with dots in it is led to the one without; that one must be refused.
			at := r.Header.Get("Location")
			if r.StatusCode/100 != 3 || !strings.HasPrefix(at, "/") {
				t.Errorf("%s: %s", line, r.Status)
				continue
			}
			if r, body = w.raw(t, "in GET "+at); r.StatusCode < 400 {
				t.Errorf("%s: led to %s: %s", line, at, r.Status)
			}
		}
		for _, secret := range []string{outside, theirs, "root:x:0", "package page", w.server.gate.Token(), "grass to the knee"} {
			if strings.Contains(body, secret) {
				t.Errorf("%s: the answer holds %q", line, secret)
			}
		}
		if r.Header.Get("X-Bad") != "" || strings.Contains(r.Header.Get("Set-Cookie"), "x=y") {
			t.Errorf("%s: it wrote a header: %v", line, r.Header)
		}
		if r.Header.Get("Access-Control-Allow-Origin") != "" {
			t.Errorf("%s: another site may read the answer", line)
		}
	}
	if n < 60 {
		t.Errorf("the list has only %d requests", n)
	}
	t.Logf("%d requests", n)
	for name, b := range w.server.named {
		if jobs := b.jobs.Rows(); len(jobs) != 0 {
			t.Errorf("%s: something was begun: %+v", name, jobs)
		}
		for _, s := range w.index(name).sites {
			if len(s.Decisions) != 0 {
				t.Errorf("%s: something was put on file: %+v", name, s.Decisions)
			}
		}
	}
}

// raw sends one line of the list as it is, past what Go's client would put right.
func (w *world) raw(t *testing.T, line string) (*http.Response, string) {
	t.Helper()
	parts := strings.Split(line, "; ")
	words := strings.SplitN(parts[0], " ", 3)
	who, method, target := words[0], words[1], words[2]
	home, _ := url.Parse(w.home)
	head := map[string]string{"Host": home.Host, "Connection": "close"}
	body := ""
	for _, p := range parts[1:] {
		if b, ok := strings.CutPrefix(p+" ", "body "); ok {
			body = strings.TrimSuffix(b, " ")
			head["Content-Length"] = fmt.Sprint(len(body))
			if head["Content-Type"] == "" {
				head["Content-Type"] = "application/x-www-form-urlencoded"
			}
			continue
		}
		name, value, _ := strings.Cut(p, ": ")
		head[name] = value
	}
	if who == "in" {
		for _, c := range w.in.Jar.Cookies(home.JoinPath("/")) {
			head["Cookie"] = c.Name + "=" + c.Value
		}
		if head["Cookie"] == "" {
			t.Fatal("the browser has no cookie")
		}
	}
	c, err := net.Dial("tcp", home.Host)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	fmt.Fprintf(c, "%s %s HTTP/1.1\r\n", method, target)
	for name, value := range head {
		fmt.Fprintf(c, "%s: %s\r\n", name, value)
	}
	fmt.Fprintf(c, "\r\n%s", body)
	r, err := http.ReadResponse(bufio.NewReader(c), nil)
	if err != nil {
		t.Fatalf("%s: %v", line, err)
	}
	defer r.Body.Close()
	text, _ := io.ReadAll(r.Body)
	return r, string(text)
}

// Names of folders and files, and what notes hold, are text on every view: they
// bring in no element, no script and no link of their own.
func TestHostileNames(t *testing.T) {
	names, err := os.ReadFile("testdata/names.txt")
	if err != nil {
		t.Fatal(err)
	}
	a := archive{}
	n := 0
	for _, line := range strings.Split(string(names), "\n") {
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		n++
		name := strings.NewReplacer(`\n`, "\n", `\r`, "\r", `\t`, "\t", `\e`, "\x1b", `\u202e`, "\u202e", `\xff`, "\xff").Replace(line)
		for year := 2022; year <= 2024; year++ {
			at := fmt.Sprintf("%s/%s/%d-06-21/", "P "+name, "S "+name, year)
			a[at+"plot "+name+".jpg"] = at
			a[at+name+".txt"] = "Note: " + name
			a[at+name+".html"] = "<script>stolen = 1</script>"
		}
	}
	w := newWorld(t, map[string]archive{"draw": a})
	if got := len(w.index("draw").sites); got < n/2 {
		t.Fatalf("only %d of %d names became sites", got, n)
	}
	b := w.server.named["draw"]
	if _, err := b.Explain(t.Context(), explainOf(w.index("draw").sites[0].Object, "<script>alert(1)</script>"), nil); err != nil {
		t.Fatal(err)
	}
	views := []string{"/a/draw/", "/a/draw/years", "/a/draw/years?pasture=%22%3E%3Cscript%3E&state=%3Cscript%3E", "/a/draw/work?site=%22%3E%3Cscript%3E&years=%22onfocus=%22x&lacks='%3E", "/a/draw/findings"}
	for _, s := range w.index("draw").sites {
		views = append(views, "/a/draw/site/"+s.key, "/a/draw/site/"+s.key+"?view=%22%3E%3Cscript%3E&left=%3Cb%3E&how=%22", "/a/draw/site/"+s.key+"/versions")
		for _, f := range s.files {
			if isText(f.Path) && strings.HasSuffix(f.Path, ".txt") {
				views = append(views, "/a/draw/note/"+f.key)
			}
			r, _ := w.get("/a/draw/file/" + f.key)
			if got := r.Header.Get("Content-Type"); got != "application/octet-stream" || !strings.HasPrefix(r.Header.Get("Content-Disposition"), "attachment") || r.Header.Get("X-Content-Type-Options") != "nosniff" {
				t.Errorf("%q is handed out as %q, %q", f.Path, got, r.Header.Get("Content-Disposition"))
			}
		}
	}
	for _, v := range views {
		r, body := w.get(v)
		if r.StatusCode != http.StatusOK {
			t.Errorf("%s: %s", v, r.Status)
		}
		checkHTML(t, v, body, w.server.gate.Door())
	}
	t.Logf("%d names, %d views", n, len(views))
}

// checkHTML holds a view to what the page itself writes.
func checkHTML(t *testing.T, view, body, door string) {
	t.Helper()
	root, err := html.Parse(strings.NewReader(body))
	if err != nil {
		t.Fatalf("%s: %v", view, err)
	}
	for n := range root.Descendants() {
		if n.Type != html.ElementNode {
			continue
		}
		switch n.Data {
		case "script":
			if n.FirstChild != nil || !strings.HasPrefix(attr(n, "src"), door+"/static/") {
				t.Errorf("%s: a script that is not the page's: %v", view, n.Attr)
			}
		case "iframe", "object", "embed", "base", "style", "svg", "math", "b2", "marquee":
			t.Errorf("%s: <%s>", view, n.Data)
		case "img":
			if !strings.HasPrefix(attr(n, "src"), door+"/a/draw/picture/") {
				t.Errorf("%s: a picture from %q", view, attr(n, "src"))
			}
			if attr(n, "alt") == "" {
				t.Errorf("%s: a picture without words: %v", view, n.Attr)
			}
		}
		for _, a := range n.Attr {
			if strings.HasPrefix(a.Key, "on") || a.Key == "style" || a.Key == "srcdoc" || a.Key == "formaction" {
				t.Errorf("%s: <%s %s=%q>", view, n.Data, a.Key, a.Val)
			}
			if (a.Key == "href" || a.Key == "src" || a.Key == "action") && strings.Contains(strings.SplitN(a.Val, "?", 2)[0], ":") {
				t.Errorf("%s: a link out of the page: %q", view, a.Val)
			}
		}
	}
}

func attr(n *html.Node, name string) string {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val
		}
	}
	return ""
}
