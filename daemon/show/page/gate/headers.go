package gate

import "net/http"

// headers say what a browser may do with an answer. A handler may set others for
// its own.
var headers = []struct{ name, value string }{
	// Nothing but the page's own files: no script or style within a document, which
	// a file name or a note could bring in; no request to anywhere else; no form sent
	// elsewhere; nobody's frame around the page, in which clicks could be stolen.
	{"Content-Security-Policy", "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"},
	// A note that looks like a script stays what it was declared to be.
	{"X-Content-Type-Options", "nosniff"},
	// For browsers that do not know frame-ancestors.
	{"X-Frame-Options", "DENY"},
	// No other site is told where somebody came from: the path is a part of the lock.
	// The stricter no-referrer would make browsers send "null" as the Origin of the
	// page's own forms.
	{"Referrer-Policy", "same-origin"},
	// Pictures cannot be put into another site's page, by which it could learn whether
	// they exist.
	{"Cross-Origin-Resource-Policy", "same-origin"},
	// A site that opened this page, or was opened from it, has no hand on its window.
	{"Cross-Origin-Opener-Policy", "same-origin"},
	// The page needs none of these.
	{"Permissions-Policy", "camera=(), microphone=(), geolocation=(), usb=()"},
	// The record stays out of the browser's files on disk, which others may read.
	{"Cache-Control", "no-store"},
}

// Headers puts them on every answer.
func Headers(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		for _, x := range headers {
			w.Header().Set(x.name, x.value)
		}
		h.ServeHTTP(w, r)
	})
}
