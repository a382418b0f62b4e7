package s3

import (
	"context"
	"crypto/tls"
	"errors"
	"math/rand/v2"
	"net/http"
	"slices"
	"time"

	"github.com/minio/minio-go/v7"

	"linecamp/manifest/store"
)

// maxTries bounds how often one request is tried; with the waits between them
// that is a few seconds. Longer troubles are for the next round.
const maxTries = 4

// ask sends a request, again if its trouble may be over by then. Every request
// goes through here, and a download that broke through again.
func (s *Bucket) ask(ctx context.Context, send func() error) error {
	for tried := 0; ; {
		err := send()
		if err == nil {
			return nil
		}
		if err := s.again(ctx, &tried, err); err != nil {
			return err
		}
	}
}

// again counts a try that ended in an error and waits for the next. It returns
// the error where there is no next one.
func (s *Bucket) again(ctx context.Context, tried *int, err error) error {
	if f, ok := err.(final); ok {
		return f.error
	}
	if *tried++; *tried >= maxTries || !worthRetrying(err) && !s.learned(err) {
		return err
	}
	return pause(ctx, *tried)
}

// final is an error after which its request is not sent again, whatever it is:
// whoever sent it has judged it already.
type final struct{ error }

// paused is the error with which Options.Pause ended an upload. It is passed on as it
// is, and the upload not begun again.
type paused struct{ error }

func (p paused) Unwrap() error { return p.error }

// learned reports a refusal that told the region, when nobody else did. The
// next request goes there.
func (s *Bucket) learned(err error) bool {
	var e minio.ErrorResponse
	return s.anyRegion && errors.As(err, &e) && e.Region != "" &&
		isCode(err, "AuthorizationHeaderMalformed", "InvalidRegion")
}

// pause waits between tries, longer each time, with jitter so that several
// uploads do not come back all at once.
func pause(ctx context.Context, try int) error {
	wait := 200 * time.Millisecond << (try - 1)
	t := time.NewTimer(wait/2 + rand.N(wait/2))
	defer t.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-t.C:
		return nil
	}
}

// passing are troubles that may be over at the next try. A body that arrived
// otherwise than it was sent is one: a link that lies.
var passing = []string{
	"RequestTimeout", "Throttling", "ThrottlingException", "SlowDown", "SlowDownWrite", "InternalError", "ServiceUnavailable",
	"BadDigest", "XAmzContentSHA256Mismatch", "XAmzContentChecksumMismatch", "IncompleteBody",
}

func worthRetrying(err error) bool {
	for _, final := range []error{context.Canceled, context.DeadlineExceeded, store.ErrDigest, store.ErrNotS3} {
		if errors.Is(err, final) {
			return false
		}
	}
	var from store.ReadError
	var ended paused
	if errors.As(err, &from) || errors.As(err, &ended) {
		return false
	}
	var e minio.ErrorResponse
	if errors.As(err, &e) {
		return e.StatusCode >= 500 && e.StatusCode != http.StatusNotImplemented && e.StatusCode != http.StatusInsufficientStorage ||
			e.StatusCode == http.StatusTooManyRequests || slices.Contains(passing, e.Code)
	}
	var cert *tls.CertificateVerificationError
	return !errors.As(err, &cert)
}
