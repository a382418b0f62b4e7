package s3

import (
	"context"
	"net/http"

	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
)

// Limits of one listing, beyond any archive there is. A service that is broken or
// means harm could send pages for ever.
const (
	mostKeys  = 10_000_000 // keys in a listing
	mostPages = 50_000     // pages in a listing
	mostEmpty = 100        // pages without a new key, one after the other
)

// pages watches the pages of one listing as they are asked for. The library asks
// for them one by one, in the goroutine that reads the listing.
type pages struct {
	asked  map[string]bool // continuation tokens
	last   string          // key
	empty  int             // pages since it came
	keys   int
	failed error
}

type pagesKey struct{}

func withPages(ctx context.Context) (context.Context, *pages) {
	p := &pages{asked: map[string]bool{}}
	return context.WithValue(ctx, pagesKey{}, p), p
}

// got counts a key. One that is not beyond all others is nothing new.
func (p *pages) got(key string) error {
	if key > p.last {
		p.last, p.empty = key, 0
	}
	if p.keys++; p.keys > mostKeys {
		return fault.Say(store.ErrNotS3, "it lists more than %d keys", mostKeys)
	}
	return nil
}

// next is asked before each page.
func (p *pages) next(token string) error {
	p.empty++
	switch {
	case token != "" && p.asked[token]:
		return fault.Say(store.ErrNotS3, "its listing begins again and again with the same page")
	case len(p.asked) >= mostPages:
		return fault.Say(store.ErrNotS3, "its listing has more than %d pages", mostPages)
	case p.empty > mostEmpty:
		return fault.Say(store.ErrNotS3, "its listing goes on without a new key")
	}
	p.asked[token] = true
	return nil
}

// paged ends a listing that would not end by itself.
type paged struct{ next http.RoundTripper }

func (t paged) RoundTrip(req *http.Request) (*http.Response, error) {
	if p, ok := req.Context().Value(pagesKey{}).(*pages); ok && req.URL.Query().Has("list-type") {
		if p.failed = p.next(req.URL.Query().Get("continuation-token")); p.failed != nil {
			if req.Body != nil {
				req.Body.Close()
			}
			return nil, p.failed
		}
	}
	return t.next.RoundTrip(req)
}
