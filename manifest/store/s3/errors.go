package s3

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"encoding/base64"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/http"
	"slices"
	"strings"

	"github.com/minio/minio-go/v7"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
)

// fail says in a sentence what went wrong at this bucket. Nothing the service
// or the library says about keys is passed on.
func (s *Bucket) fail(doing, key string, err error) error {
	if err == nil || errors.Is(err, context.Canceled) || errors.Is(err, store.ErrDigest) || errors.Is(err, store.ErrConflict) {
		return err
	}
	var from store.ReadError
	if errors.As(err, &from) {
		return from.Err
	}
	var ended paused
	if errors.As(err, &ended) {
		return ended.error
	}
	if key != "" {
		doing += " " + store.Clip(key)
	}
	var resp minio.ErrorResponse
	if errors.As(err, &resp) {
		return s.serviceError(doing, resp)
	}
	return s.networkError(doing, err)
}

// errChanged is about the link, not about the bytes at hand: those were right.
var errChanged = fault.Because(store.ErrDigest, store.ErrUnreachable)

func (s *Bucket) serviceError(doing string, e minio.ErrorResponse) error {
	name := s.Name()
	switch e.Code {
	case "NoSuchKey", "NotFound":
		return fault.Say(fs.ErrNotExist, "%s: %s: it is not there", name, doing)
	case "NoSuchBucket":
		return fault.Say(store.ErrNoBucket, "%s: there is no bucket called %q. Make it first, or correct the address", name, s.at.Bucket)
	case "InvalidAccessKeyId", "XAdminUserNotFound": // the second is what versitygw says
		return fault.Say(store.ErrDenied, "%s: the service does not know this access key. Check the credentials", name)
	case "SignatureDoesNotMatch":
		return fault.Say(store.ErrDenied, "%s: the secret does not belong to this access key. Check the credentials", name)
	case "ExpiredToken", "InvalidToken", "TokenRefreshRequired":
		return fault.Say(store.ErrDenied, "%s: the session of these credentials is over. Get new ones", name)
	case "RequestTimeTooSkewed", "RequestExpired":
		return fault.Say(store.ErrClock, "%s: the clock of this computer and that of the service differ too much. Set the clock right", name)
	case notS3Code:
		return fault.Say(store.ErrNotS3, "%s: what answers there is not an S3 service. Check the address", name)
	case "PreconditionFailed", "ConditionalRequestConflict":
		return fault.Say(store.ErrConflict, "%s: %s: something else is there meanwhile", name, doing)
	case "PermanentRedirect", "AuthorizationHeaderMalformed", "InvalidRegion", "IllegalLocationConstraintException":
		return fault.Say(store.ErrNoBucket, "%s: the bucket is in another region than the settings say (%s). Correct the region", name, e.Code)
	case "BadDigest", "XAmzContentSHA256Mismatch", "InvalidDigest", "XAmzContentChecksumMismatch":
		return fault.Say(errChanged, "%s: %s: the bytes that arrived were not the ones sent (%s)", name, doing, e.Code)
	case "QuotaExceeded", "XMinioStorageFull", "InsufficientStorage":
		return fault.Say(store.ErrFull, "%s: no space left (%s). What was stored so far stays", name, doing)
	}
	switch {
	case e.StatusCode == http.StatusForbidden || e.StatusCode == http.StatusUnauthorized:
		return fault.Say(store.ErrDenied, "%s: these credentials are not allowed to do this (%s). Reading, writing and listing below this address are needed, deleting is not", name, doing)
	case e.StatusCode >= 500 || e.StatusCode == http.StatusTooManyRequests:
		return fault.Say(store.ErrUnreachable, "%s: the service is in trouble and did not finish (%s: %s, status %d). The next round tries again", name, doing, store.Clip(e.Code), e.StatusCode)
	}
	return fmt.Errorf("%s: %s: the service refused (%s, status %d)", name, doing, store.Clip(e.Code), e.StatusCode)
}

func (s *Bucket) networkError(doing string, err error) error {
	name := s.Name()
	var unknown x509.UnknownAuthorityError
	var cert *tls.CertificateVerificationError
	var host x509.HostnameError
	var invalid x509.CertificateInvalidError
	var record tls.RecordHeaderError
	var dns *net.DNSError
	var op *net.OpError
	switch text := err.Error(); {
	case errors.As(err, &invalid) && invalid.Reason == x509.Expired:
		return fault.Say(store.ErrCertificate, "%s: the certificate of the service is past its time, or this computer's clock is wrong (%v). See whether the clock is right; if it is, whoever runs the service has to renew the certificate. Rounds go on by themselves then", name, cause(err))
	case errors.As(err, &cert), errors.As(err, &unknown), errors.As(err, &host):
		return fault.Say(store.ErrCertificate, "%s: the certificate of the service is not trusted (%v). If it is your own service, name its certificate authority as ca_file", name, cause(err))
	case errors.As(err, &record), strings.Contains(text, "server gave HTTP response to HTTPS client"):
		return fault.Say(store.ErrNotS3, "%s: the service does not answer with TLS. Is the port right?", name)
	case strings.Contains(text, "malformed HTTP"):
		return fault.Say(store.ErrNotS3, "%s: what answers there is not an S3 service. Check the address and the port", name)
	case errors.Is(err, store.ErrNotS3):
		return fmt.Errorf("%s: %w", name, err)
	case errors.As(err, &dns):
		return fault.Say(store.ErrUnreachable, "%s: the name %s is not known. Check the address, and whether this computer is online", name, dns.Name)
	case errors.As(err, &op):
		return fault.Say(store.ErrUnreachable, "%s: the service cannot be reached (%s: %v)", name, doing, op.Err)
	case errors.Is(err, context.DeadlineExceeded):
		return fault.Say(fault.Because(store.ErrUnreachable, context.DeadlineExceeded), "%s: the service did not answer in time (%s)", name, doing)
	}
	why := cause(err).Error()
	if strings.Contains(why, "://") {
		why = "it was closed without an answer" // the library's words, around the whole address
	}
	return fault.Say(store.ErrUnreachable, "%s: the connection broke off (%s: %s)", name, doing, why)
}

// cause is the innermost error, without the URL of the request, which would
// repeat the whole key and could hold more.
func cause(err error) error {
	for {
		next := errors.Unwrap(err)
		if next == nil {
			return err
		}
		err = next
	}
}

// preconditionFailed reports that a conditional write did not apply, or raced
// with another one.
func preconditionFailed(err error) bool {
	var e minio.ErrorResponse
	return errors.As(err, &e) && (e.StatusCode == http.StatusPreconditionFailed || e.StatusCode == http.StatusConflict)
}

// refusedForGood reports that the service would answer the same request so again. What
// the keys, the clock, the space or a condition stand in the way of may go another time,
// and a 404 is not about what was sent.
func (s *Bucket) refusedForGood(err error) bool {
	var e minio.ErrorResponse
	if !errors.As(err, &e) || e.StatusCode >= 500 || e.StatusCode == http.StatusNotFound || e.StatusCode == http.StatusRequestTimeout || preconditionFailed(err) {
		return false
	}
	says := s.serviceError("storing", e)
	if errors.Is(says, errChanged) {
		return true
	}
	return fault.Of(says) == fault.OfFile && !errors.Is(says, fs.ErrNotExist) && !errors.Is(says, store.ErrConflict) && !slices.Contains(passing, e.Code)
}

// reported reads the SHA-256 of a whole object from what the service reports;
// the checksum of a multipart upload is over its parts' checksums and tells
// nothing about the whole.
func reported(sum, mode string) manifest.Digest {
	var d manifest.Digest
	if strings.EqualFold(mode, "COMPOSITE") {
		return d
	}
	b, err := base64.StdEncoding.DecodeString(sum)
	if err != nil || len(b) != len(d) {
		return d
	}
	copy(d[:], b)
	return d
}
