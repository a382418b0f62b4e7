package store

import (
	"context"
	"errors"
	"net/http"

	"linecamp/manifest"
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

// Drive is a root in a folder on a drive.
type Drive struct{ Root }

// S3 is a root in a bucket.
type S3 struct{ Root }

func OpenDrive(path, copyID string) (*Drive, error)        { return nil, errSoon }
func NewDrive(path string) (*Drive, error)                 { return nil, errSoon }
func FindDrive(copyID, hint string) (string, error)        { return "", errSoon }
func OpenS3(ctx context.Context, o S3Options) (*S3, error) { return nil, errSoon }
func Credentials(spec string) (access, secret, session string, err error) {
	return "", "", "", errSoon
}
func (s *S3) Probe(ctx context.Context) (Abilities, error) { return Abilities{}, errSoon }

// Head returns the inventory of the highest committed version of an object.
func Head(ctx context.Context, r Root, object string) (*manifest.Inventory, error) {
	return nil, errSoon
}

// Settle writes an object's root pair again where it differs from the highest committed version.
func Settle(ctx context.Context, r Root, object string) (changed bool, err error) {
	return false, errSoon
}
func Objects(ctx context.Context, r Root) ([]string, error)              { return nil, errSoon }
func ReadSeal(ctx context.Context, r Root) (*manifest.Seal, error)       { return nil, errSoon }
func WriteSeal(ctx context.Context, r Root, s *manifest.Seal) error      { return errSoon }
func ReadAuthor(ctx context.Context, r Root) (Author, Info, error)       { return Author{}, Info{}, errSoon }
func WriteAuthor(ctx context.Context, r Root, a Author, was *Info) error { return errSoon }
func ReadSmall(ctx context.Context, r Root, key string, limit int64) ([]byte, Info, error) {
	return nil, Info{}, errSoon
}
