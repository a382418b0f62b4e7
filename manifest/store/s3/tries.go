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

// ask sends a request, again if its trouble may be over by then. It is for
// requests that can be sent twice; writes have a loop of their own.
func (s *Bucket) ask(ctx context.Context, send func() error) error {
	for try := 1; ; try++ {
		err := send()
		if err == nil || try == maxTries || !worthRetrying(err) && !s.learned(err) {
			return err
		}
		if err := pause(ctx, try); err != nil {
			return err
		}
	}
}

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
	if errors.As(err, &from) {
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
