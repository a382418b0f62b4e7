package store_test

import (
	"context"
	"errors"
	"io"
	"net/http"
)

var errSource = errors.New("the source cannot be read")

func failingOpen(context.Context) (io.ReadCloser, error) { return nil, errSource }

type request struct{ *http.Request }

// roundTripper is a network that is a function.
type roundTripper func(*http.Request) (*http.Response, error)

func (f roundTripper) RoundTrip(r *http.Request) (*http.Response, error) { return f(r) }

// changeRequest alters each request on its way to the service.
func changeRequest(change func(request)) http.RoundTripper {
	return roundTripper(func(r *http.Request) (*http.Response, error) {
		r = r.Clone(r.Context())
		change(request{r})
		return http.DefaultTransport.RoundTrip(r)
	})
}
