// Package gate decides who may look at the page, and what a browser may do with what
// it is given. Begin with [Listen] and [New]; [Headers] is around every answer.
// Nothing behind it is reached by a request that it refuses.
//
// The page is served on loopback, where every program and every user of the
// machine can knock, and where a web site that the same browser has open can
// make it knock. So there are these rules, each with its reason:
//
//   - Only a loopback address is listened on ([Listen]): the record is not for
//     the network.
//   - The Host header must be the address listened on. A web site can give its
//     own name this machine's address (DNS rebinding), but the browser then
//     sends that name.
//   - A random key opens the page, once for each browser. It is never on a
//     command line, where other users could read it: it lies in a private file
//     that the browser opens and posts ([Gate.KeyFile]), or is printed for the
//     person who started the page ([Gate.Address]).
//   - From then on a cookie does: HttpOnly, so that no script reads it, and
//     SameSite=Strict, so that no other site's link or form carries it. Cookies
//     do not keep ports apart, so its name has the port in it, against mixing
//     two pages up, and its path is random: another user's server on another
//     port of this address would be sent a cookie for "/", and is not sent one
//     for a path it does not know.
//   - What changes something is a POST whose Origin is this page and whose form
//     has the page's token.
package gate

import (
	"crypto/rand"
	"crypto/subtle"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"strings"
)

// TokenField is the name of the form field that holds Gate.Token.
const TokenField = "token"

// mostForm bounds what a form may send, in bytes.
const mostForm = 64 << 10

// Gate lets in those who have its key.
type Gate struct {
	hosts  []string // what the Host header may be
	port   string
	key    string
	cookie string
	door   string // the path below which everything lies: "/" and a random word
	token  string
}

// ErrAddress marks an address that the page is not served at.
var ErrAddress = errors.New("the page cannot be served there")

// Listen opens a socket on a loopback address, "127.0.0.1:8710"; port 0 takes any
// that is free.
func Listen(address string) (net.Listener, error) {
	host, port, err := net.SplitHostPort(address)
	if err != nil {
		return nil, fmt.Errorf("%w: %q is no address; write for instance 127.0.0.1:8710", ErrAddress, address)
	}
	if host == "localhost" {
		host = "127.0.0.1"
	}
	if ip := net.ParseIP(host); ip == nil || !ip.IsLoopback() {
		return nil, fmt.Errorf("%w: it is for this computer only, and %q is not; write 127.0.0.1:%s", ErrAddress, address, port)
	}
	return net.Listen("tcp", net.JoinHostPort(host, port))
}

// New makes a gate for a page that is served at the address.
func New(at net.Addr) *Gate {
	host, port, _ := net.SplitHostPort(at.String())
	return &Gate{
		hosts: []string{net.JoinHostPort(host, port), "localhost:" + port},
		port:  port, key: rand.Text(), cookie: rand.Text(), door: "/" + strings.ToLower(rand.Text()[:12]), token: rand.Text(),
	}
}

// Door is the path below which everything lies; it has no slash at its end.
func (g *Gate) Door() string { return g.door }

// Token is what the form of a change must carry.
func (g *Gate) Token() string { return g.token }

// Home is the page's address without its key.
func (g *Gate) Home() string { return "http://" + g.hosts[0] + "/" }

// Address is the page's address with its key.
func (g *Gate) Address() string { return g.Home() + "?key=" + g.key }

// KeyFile is a file that takes a browser through the gate when it is opened: it
// posts the key, so that the key is in no address and in no history.
func (g *Gate) KeyFile() []byte {
	return fmt.Appendf(nil, `<!doctype html>
<html lang="en"><meta charset="utf-8"><title>linecamp</title>
<form method="post" action="%senter"><input type="hidden" name="key" value="%s">
<p><button>Open the record</button></p></form>
<script>document.forms[0].submit()</script>
`, g.Home(), g.key)
}

func (g *Gate) name() string { return "linecamp-" + g.port }

// Guard puts the gate before a handler, which is asked for what lies below the
// door, with paths that begin behind it.
func (g *Gate) Guard(behind http.Handler) http.Handler {
	inside := http.StripPrefix(g.door, behind)
	return Headers(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !g.hosted(r) {
			refuse(w, http.StatusMisdirectedRequest, "This address is not the page's own.")
			return
		}
		switch {
		case r.Method == http.MethodPost && r.URL.Path == "/enter":
			g.enter(w, r)
		case r.Method != http.MethodGet && r.Method != http.MethodHead && r.Method != http.MethodPost:
			w.Header().Set("Allow", "GET, HEAD, POST")
			refuse(w, http.StatusMethodNotAllowed, "The page does not do that.")
		case r.Method != http.MethodPost && r.URL.Query().Has("key"):
			g.byAddress(w, r)
		case !strings.HasPrefix(r.URL.Path, g.door+"/") || !g.known(r):
			refuse(w, http.StatusForbidden, closed)
		case r.Method == http.MethodPost && !g.own(w, r):
			refuse(w, http.StatusForbidden, "This change did not come from the page itself, so nothing was done. Go back, load the page again, and try once more.")
		default:
			inside.ServeHTTP(w, r)
		}
	}))
}

const closed = "This page opens with its key only. Start it again with linecamp page, or use the whole address that linecamp page --no-browser printed."

func (g *Gate) hosted(r *http.Request) bool {
	for _, h := range g.hosts {
		if r.Host == h {
			return true
		}
	}
	return false
}

func (g *Gate) known(r *http.Request) bool {
	for _, c := range r.CookiesNamed(g.name()) {
		if same(c.Value, g.cookie) {
			return true
		}
	}
	return false
}

// own reports whether a change comes from the page itself.
func (g *Gate) own(w http.ResponseWriter, r *http.Request) bool {
	// Browsers send the Origin of every POST.
	if o, err := url.Parse(r.Header.Get("Origin")); err != nil || o.Scheme != "http" || o.Host != r.Host {
		return false
	}
	if site := r.Header.Get("Sec-Fetch-Site"); site != "" && site != "same-origin" {
		return false
	}
	r.Body = http.MaxBytesReader(w, r.Body, mostForm)
	if err := r.ParseForm(); err != nil {
		return false
	}
	return same(r.PostForm.Get(TokenField), g.token)
}

// enter is where the key's file posts to. That file has no origin, so that a
// browser counts a redirect from here as another site's and keeps the cookie
// back; the page that is answered instead leads on by itself.
func (g *Gate) enter(w http.ResponseWriter, r *http.Request) {
	r.Body = http.MaxBytesReader(w, r.Body, mostForm)
	if err := r.ParseForm(); err != nil || !same(r.PostForm.Get("key"), g.key) {
		refuse(w, http.StatusForbidden, closed)
		return
	}
	g.giveCookie(w)
	g.leadOn(w)
}

// byAddress takes the key from the address, and out of it.
func (g *Gate) byAddress(w http.ResponseWriter, r *http.Request) {
	if !same(r.URL.Query().Get("key"), g.key) {
		refuse(w, http.StatusForbidden, closed)
		return
	}
	g.giveCookie(w)
	if r.Header.Get("Sec-Fetch-Site") == "cross-site" {
		g.leadOn(w) // as in enter
		return
	}
	http.Redirect(w, r, g.door+"/", http.StatusSeeOther)
}

func (g *Gate) giveCookie(w http.ResponseWriter) {
	http.SetCookie(w, &http.Cookie{Name: g.name(), Value: g.cookie, Path: g.door + "/", HttpOnly: true, SameSite: http.SameSiteStrictMode})
}

func (g *Gate) leadOn(w http.ResponseWriter) {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	fmt.Fprintf(w, `<!doctype html>
<html lang="en"><meta charset="utf-8"><title>linecamp</title><meta http-equiv="refresh" content="0; url=%[1]s/">
<p><a href="%[1]s/">Open the record</a></p>
`, g.door)
}

func same(a, b string) bool { return subtle.ConstantTimeCompare([]byte(a), []byte(b)) == 1 }

func refuse(w http.ResponseWriter, status int, why string) {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	fmt.Fprintf(w, "<!doctype html>\n<html lang=\"en\"><meta charset=\"utf-8\"><title>linecamp</title><link rel=\"icon\" href=\"data:,\">\n<h1>Closed</h1>\n<p>%s</p>\n", why)
}
