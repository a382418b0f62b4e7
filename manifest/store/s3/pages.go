package s3

import (
	"context"
	"fmt"
	"net/http"

	"linecamp/manifest/store"
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
		return fmt.Errorf("it lists more than %d keys: %w", mostKeys, store.ErrNotS3)
	}
	return nil
}

// next is asked before each page.
func (p *pages) next(token string) error {
	p.empty++
	switch {
	case token != "" && p.asked[token]:
		return fmt.Errorf("its listing begins again and again with the same page: %w", store.ErrNotS3)
	case len(p.asked) >= mostPages:
		return fmt.Errorf("its listing has more than %d pages: %w", mostPages, store.ErrNotS3)
	case p.empty > mostEmpty:
		return fmt.Errorf("its listing goes on without a new key: %w", store.ErrNotS3)
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
