package gate

import (
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"testing"
)

func knock(h http.Handler, method, target, body string, head ...string) *http.Response {
	r := httptest.NewRequest(method, target, strings.NewReader(body))
	r.Host = "127.0.0.1:8710"
	for i := 0; i+1 < len(head); i += 2 {
		r.Header.Set(head[i], head[i+1])
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w.Result()
}

func page() (*Gate, http.Handler) {
	g := New(&net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: 8710})
	return g, g.Guard(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { io.WriteString(w, "inside "+r.URL.Path) }))
}

// The private file takes a browser in as a browser does it: it posts the key
// without an origin, and is led on by a page, not by a redirect that counts as
// another site's. The cookie it is given is for this page and no script.
func TestTheKeysFile(t *testing.T) {
	g, h := page()
	file := string(g.KeyFile())
	action := regexp.MustCompile(`action="([^"]+)"`).FindStringSubmatch(file)[1]
	key := regexp.MustCompile(`name="key" value="([^"]+)"`).FindStringSubmatch(file)[1]
	u, err := url.Parse(action)
	if err != nil || u.Host != "127.0.0.1:8710" {
		t.Fatalf("it posts to %q", action)
	}
	form := []string{"Content-Type", "application/x-www-form-urlencoded", "Origin", "null", "Sec-Fetch-Site", "cross-site"}
	r := knock(h, "POST", u.Path, "key="+key, form...)
	body, _ := io.ReadAll(r.Body)
	if r.StatusCode != http.StatusOK || !strings.Contains(string(body), `content="0; url=`+g.Door()+`/"`) {
		t.Fatalf("%s: %s", r.Status, body)
	}
	c := r.Cookies()[0]
	if !c.HttpOnly || c.SameSite != http.SameSiteStrictMode || !strings.Contains(c.Name, "8710") || c.Path != g.Door()+"/" || c.Domain != "" {
		t.Errorf("the cookie is %v", c)
	}
	if strings.Contains(c.Value, key) || len(c.Value) < 26 {
		t.Errorf("the cookie holds %q", c.Value)
	}
	r = knock(h, "GET", g.Door()+"/a", "", "Cookie", c.Name+"="+c.Value)
	if body, _ := io.ReadAll(r.Body); string(body) != "inside /a" {
		t.Errorf("with the cookie: %s %s", r.Status, body)
	}
	for _, wrong := range []string{"", "key=", "key=" + key[1:], "key=" + strings.ToLower(key), "other=" + key} {
		if r := knock(h, "POST", "/enter", wrong, form...); r.StatusCode != http.StatusForbidden || len(r.Cookies()) != 0 {
			t.Errorf("%q: %s", wrong, r.Status)
		}
	}
}

// Every answer, also a refusal, carries every header.
func TestHeaders(t *testing.T) {
	_, h := page()
	for _, r := range []*http.Response{knock(h, "GET", "/", ""), knock(h, "POST", "/enter", ""), knock(h, "DELETE", "/x", "")} {
		for _, x := range headers {
			if r.Header.Get(x.name) != x.value {
				t.Errorf("%s is %q", x.name, r.Header.Get(x.name))
			}
		}
	}
	if csp := headers[0].value; strings.Contains(csp, "unsafe") || strings.Contains(csp, "*") || strings.Contains(csp, "data:") {
		t.Errorf("the policy is open: %s", csp)
	}
}

// Two pages have nothing in common that one could use on the other.
func TestTwoPages(t *testing.T) {
	a, _ := page()
	b, h := page()
	if a.key == b.key || a.cookie == b.cookie || a.door == b.door || a.token == b.token || a.key == a.cookie || a.key == a.token {
		t.Error("a secret is used twice")
	}
	if r := knock(h, "GET", b.door+"/", "", "Cookie", a.name()+"="+a.cookie); r.StatusCode != http.StatusForbidden {
		t.Error(r.Status)
	}
}

func TestListen(t *testing.T) {
	for address, fine := range map[string]bool{
		"127.0.0.1:0": true, "localhost:0": true, "127.9.8.7:0": true,
		"0.0.0.0:0": false, ":0": false, "[::]:0": false, "192.0.2.1:0": false, "example.com:80": false, "127.0.0.1": false, "": false, "[::ffff:192.0.2.1]:0": false,
	} {
		l, err := Listen(address)
		if (err == nil) != fine {
			t.Errorf("%q: %v", address, err)
		}
		if l != nil {
			l.Close()
		}
	}
}
