package store

import (
	"context"
	"errors"
	"net/http"

)

// S3Options says where a bucket is and how to get in.
type S3Options struct {
	URL         string // https://host/bucket[/prefix]; http only to this machine
	VirtualHost bool   // the bucket is the first label of the host: https://bucket.host[/prefix]
	Region      string // "" asks the service
	Access      string
	Secret      string
	Session     string
	CAFile      string // PEM file of a certificate authority to trust besides the system's
	Fence       bool   // the service obeys conditional writes; false: a person vouches for one writer
	ReadBack    bool   // the service does not check our SHA-256: read every upload back
	// Transport replaces the network, for tests; nil is the real one.
	Transport http.RoundTripper
}

// Abilities is what a probe found out about a service.
type Abilities struct {
	CreateOnly      bool // obeys If-None-Match: *
	IfMatch         bool // obeys If-Match
	Checksum        bool // refuses a body that does not match its SHA-256
	Reports         bool // reports the SHA-256 it checked
	Versioning      bool // keeps overwritten versions
	VersioningKnown bool // false: these keys may not ask
}

var errSoon = errors.New("not built yet")

// S3 is a root in a bucket.
type S3 struct{ Root }

func OpenS3(ctx context.Context, o S3Options) (*S3, error)  { return nil, errSoon }
func (s *S3) Probe(ctx context.Context) (Abilities, error) { return Abilities{}, errSoon }
func Credentials(spec string) (access, secret, session string, err error) {
	return "", "", "", errSoon
}
