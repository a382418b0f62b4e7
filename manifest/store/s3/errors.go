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
		return fmt.Errorf("%s: %s: %w", name, doing, fs.ErrNotExist)
	case "NoSuchBucket":
		return fmt.Errorf("%s: there is no bucket called %q. Make it first, or correct the address: %w", name, s.at.Bucket, store.ErrNoBucket)
	case "InvalidAccessKeyId", "XAdminUserNotFound": // the second is what versitygw says
		return fmt.Errorf("%s: the service does not know this access key. Check the credentials: %w", name, store.ErrDenied)
	case "SignatureDoesNotMatch":
		return fmt.Errorf("%s: the secret does not belong to this access key. Check the credentials: %w", name, store.ErrDenied)
	case "ExpiredToken", "InvalidToken", "TokenRefreshRequired":
		return fmt.Errorf("%s: the session of these credentials is over. Get new ones: %w", name, store.ErrDenied)
	case "RequestTimeTooSkewed", "RequestExpired":
		return fmt.Errorf("%s: the clock of this machine and that of the service differ too much. Set the clock right: %w", name, store.ErrClock)
	case notS3Code:
		return fmt.Errorf("%s: what answers there is not an S3 service. Check the address: %w", name, store.ErrNotS3)
	case "PreconditionFailed", "ConditionalRequestConflict":
		return fmt.Errorf("%s: %s: something else is there meanwhile: %w", name, doing, store.ErrConflict)
	case "PermanentRedirect", "AuthorizationHeaderMalformed", "InvalidRegion", "IllegalLocationConstraintException":
		return fmt.Errorf("%s: the bucket is in another region than the settings say (%s). Correct the region: %w", name, e.Code, store.ErrNoBucket)
	case "BadDigest", "XAmzContentSHA256Mismatch", "InvalidDigest", "XAmzContentChecksumMismatch":
		return fmt.Errorf("%s: %s: the bytes that arrived were not the ones sent (%s): %w", name, doing, e.Code, errChanged)
	case "QuotaExceeded", "XMinioStorageFull", "InsufficientStorage":
		return fmt.Errorf("%s: no space left (%s). What was stored so far stays: %w", name, doing, store.ErrFull)
	}
	switch {
	case e.StatusCode == http.StatusForbidden || e.StatusCode == http.StatusUnauthorized:
		return fmt.Errorf("%s: these credentials are not allowed to do this (%s). Reading, writing and listing below this address are needed, deleting is not: %w", name, doing, store.ErrDenied)
	case e.StatusCode >= 500 || e.StatusCode == http.StatusTooManyRequests:
		return fmt.Errorf("%s: the service is in trouble and did not finish (%s: %s, status %d). The next round tries again: %w", name, doing, store.Clip(e.Code), e.StatusCode, store.ErrUnreachable)
	}
	return fmt.Errorf("%s: %s: the service refused (%s, status %d)", name, doing, store.Clip(e.Code), e.StatusCode)
}

func (s *Bucket) networkError(doing string, err error) error {
	name := s.Name()
	var unknown x509.UnknownAuthorityError
	var cert *tls.CertificateVerificationError
	var host x509.HostnameError
	var record tls.RecordHeaderError
	var dns *net.DNSError
	var op *net.OpError
	switch text := err.Error(); {
	case errors.As(err, &cert), errors.As(err, &unknown), errors.As(err, &host):
		return fmt.Errorf("%s: the certificate of the service is not trusted (%v). If it is your own service, name its certificate authority as ca: %w", name, cause(err), store.ErrCertificate)
	case errors.As(err, &record), strings.Contains(text, "server gave HTTP response to HTTPS client"):
		return fmt.Errorf("%s: the service does not answer with TLS. Is the port right? %w", name, store.ErrNotS3)
	case strings.Contains(text, "malformed HTTP"):
		return fmt.Errorf("%s: what answers there is not an S3 service. Check the address and the port: %w", name, store.ErrNotS3)
	case errors.Is(err, store.ErrNotS3):
		return fmt.Errorf("%s: %w", name, err)
	case errors.As(err, &dns):
		return fmt.Errorf("%s: the name %s is not known. Check the address, and whether this machine is online: %w", name, dns.Name, store.ErrUnreachable)
	case errors.As(err, &op):
		return fmt.Errorf("%s: the service cannot be reached (%s: %v): %w", name, doing, op.Err, store.ErrUnreachable)
	case errors.Is(err, context.DeadlineExceeded):
		return fmt.Errorf("%s: the service did not answer in time (%s): %w", name, doing, fault.Because(store.ErrUnreachable, context.DeadlineExceeded))
	}
	why := cause(err).Error()
	if strings.Contains(why, "://") {
		why = "it was closed without an answer" // the library's words, around the whole address
	}
	return fmt.Errorf("%s: the connection broke off (%s: %s): %w", name, doing, why, store.ErrUnreachable)
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
