package s3

import (
	"bytes"
	"context"
	"errors"
	"io"
	"net/http"

	"github.com/minio/minio-go/v7"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
)

// Tried is what a probe found out about a service.
type Tried struct {
	CreateOnly      bool // obeys If-None-Match: *
	IfMatch         bool // obeys If-Match
	Checksum        bool // refuses a body that does not match its SHA-256
	Reports         bool // reports the SHA-256 it checked
	Versioning      bool // keeps overwritten versions
	VersioningKnown bool // false: these credentials may not ask
	Deletes         bool // these credentials may delete for good, also what was overwritten
	DeletesKnown    bool // false: what the service answered does not tell
}

// probeText is what the probe stores; always the same, so that a key that could
// not be deleted again is the only one there will ever be.
var probeText = []byte("linecamp tried here whether this bucket keeps its promises. This file may be deleted.\n")

// Probe tries what a copy relies on, with one tiny key that it deletes again.
// Deleting is the only time linecamp would use that right; where it is not
// given, the key stays, and the next probe uses the same one. Whether it is given
// is part of what is tried: somebody who has the credentials could use it too.
func (s *Bucket) Probe(ctx context.Context) (a Tried, err error) {
	// Listing needs a right of its own, and tells early if nothing is there.
	for _, err := range s.List(ctx, "extensions/linecamp-root") {
		if err != nil {
			return a, err
		}
	}
	if err := s.probePut(ctx, condition{absent: true}, manifest.Sum(probeText)); err != nil && !refused(err) {
		return a, s.fail("trying to store", store.ProbeKey, err)
	} else if err != nil {
		// A key left by an earlier probe, or a service that refuses conditions.
		if err := s.probePut(ctx, condition{}, manifest.Sum(probeText)); err != nil {
			return a, s.fail("trying to store", store.ProbeKey, err)
		}
	}
	defer func() {
		if rerr := s.core.RemoveObject(ctx, s.at.Bucket, s.full(store.ProbeKey), minio.RemoveObjectOptions{}); rerr != nil && ctx.Err() != nil && err == nil {
			err = ctx.Err()
		}
	}()

	err = s.probePut(ctx, condition{absent: true}, manifest.Sum(probeText))
	a.CreateOnly = preconditionFailed(err)
	if err != nil && !refused(err) {
		return a, s.fail("trying to store", store.ProbeKey, err)
	}
	err = s.probePut(ctx, condition{etag: "00000000000000000000000000000000"}, manifest.Sum(probeText))
	a.IfMatch = preconditionFailed(err)
	if err != nil && !refused(err) {
		return a, s.fail("trying to store", store.ProbeKey, err)
	}
	// The signed digest of the body is right here, and only the checksum wrong:
	// it is the checksum that a service may not know.
	err = s.probePut(ctx, condition{}, manifest.Sum([]byte("something else")))
	a.Checksum = refused(err)
	if err != nil && !refused(err) {
		return a, s.fail("trying to store", store.ProbeKey, err)
	}
	overwritten := ""
	if was, err := s.core.StatObject(ctx, s.at.Bucket, s.full(store.ProbeKey), minio.StatObjectOptions{}); err == nil {
		overwritten = was.VersionID
	}
	if err := s.probePut(ctx, condition{}, manifest.Sum(probeText)); err != nil {
		return a, s.fail("trying to store", store.ProbeKey, err)
	}
	b, info, err := store.ReadSmall(ctx, s, store.ProbeKey, store.MaxSmall)
	if err != nil {
		return a, err
	}
	if !bytes.Equal(b, probeText) {
		return a, fault.Say(store.ErrDigest, "%s: a file stored there reads back with other bytes", s.Name())
	}
	stat, err := s.Stat(ctx, info.Key)
	if err != nil {
		return a, err
	}
	a.Reports = stat.SHA256 == manifest.Sum(probeText)
	if a.Versioning, a.VersioningKnown, err = s.versioning(ctx); err != nil {
		return a, err
	}
	if overwritten != "" || !a.Versioning { // else deleting would only hide it
		a.Deletes, a.DeletesKnown = s.deletes(ctx, overwritten)
	}
	return a, ctx.Err()
}

// deletes tries to delete the probe's key so that nothing is left of it. Where the
// bucket keeps versions, that would only hide it: there a version of it that was
// overwritten is deleted by name.
func (s *Bucket) deletes(ctx context.Context, overwritten string) (may, known bool) {
	err := s.core.RemoveObject(ctx, s.at.Bucket, s.full(store.ProbeKey), minio.RemoveObjectOptions{VersionID: overwritten})
	var e minio.ErrorResponse
	switch {
	case errors.As(err, &e) && e.StatusCode == http.StatusForbidden:
		return false, true
	case err != nil:
		return false, false
	case overwritten != "":
		return true, true
	}
	_, err = s.core.StatObject(ctx, s.at.Bucket, s.full(store.ProbeKey), minio.StatObjectOptions{})
	gone := errors.As(err, &e) && e.StatusCode == http.StatusNotFound
	return gone, gone
}

// probePut stores the probe's text once, with a checksum that may be false.
func (s *Bucket) probePut(ctx context.Context, cond condition, checksum manifest.Digest) error {
	c := store.Bytes(probeText)
	return s.ask(ctx, func() error {
		o := putOptions(c)
		o.UserMetadata["x-amz-checksum-sha256"] = b64(checksum)
		cond.apply(&o)
		body := struct{ io.Reader }{bytes.NewReader(probeText)}
		_, err := s.core.PutObject(ctx, s.at.Bucket, s.full(store.ProbeKey), body, c.Size, "", c.SHA256.String(), o)
		if refused(err) {
			return final{err} // an answer to what was asked
		}
		return err
	})
}

// refused reports that the service understood a request and said no to its
// condition or checksum, or said that it does not know such things.
func refused(err error) bool {
	return preconditionFailed(err) || isCode(err,
		"BadDigest", "InvalidDigest", "XAmzContentSHA256Mismatch", "XAmzContentChecksumMismatch", "InvalidRequest",
		"InvalidArgument", "NotImplemented", "501 Not Implemented", "400 Bad Request")
}

func (s *Bucket) versioning(ctx context.Context) (enabled, known bool, err error) {
	var v minio.BucketVersioningConfiguration
	err = s.ask(ctx, func() (err error) {
		v, err = s.core.GetBucketVersioning(ctx, s.at.Bucket)
		return err
	})
	if err == nil {
		return v.Enabled(), true, nil
	}
	var e minio.ErrorResponse
	if errors.As(err, &e) && e.StatusCode < 500 {
		return false, false, nil
	}
	return false, false, s.fail("asking whether overwritten versions are kept", "", err)
}
