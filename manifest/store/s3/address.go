package s3

import (
	"fmt"
	"net"
	"net/url"
	"regexp"
	"strings"
	"unicode/utf8"

	"github.com/minio/minio-go/v7/pkg/s3utils"

	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
)

// A host's name as it is called over the network; one with other letters has a
// form in these (RFC 5890) too.
var hostForm = regexp.MustCompile(`^[A-Za-z0-9]([A-Za-z0-9.-]*[A-Za-z0-9])?$`)

// Address is where in which bucket a root is.
type Address struct {
	Endpoint string // host[:port]
	Secure   bool   // TLS
	Bucket   string
	Prefix   string // ends in "/", or is empty
	virtual  bool
}

// ParseAddress reads the URL of an S3 copy. By default the bucket is the first
// part of the path, https://host/bucket/prefix. A URL with the bucket in the
// host, https://bucket.host/prefix, looks just the same, so virtualHost says
// when that is meant. Plain http is accepted to this machine only.
func ParseAddress(raw string, virtualHost bool) (Address, error) {
	bad := func(why string) (Address, error) {
		return Address{}, fault.Say(store.ErrBadAddress, "%q: %s; write it as https://host/bucket or https://host/bucket/prefix", redact(raw), why)
	}
	u, err := url.Parse(raw)
	switch {
	case err != nil:
		return bad("it cannot be read as a URL")
	case u.Scheme != "https" && u.Scheme != "http":
		return bad("it does not begin with https://")
	case u.User != nil:
		return bad("a key does not belong into the address; give it as credentials")
	case u.RawQuery != "" || u.Fragment != "" || u.ForceQuery:
		return bad("what follows ? or # has no place in it")
	case u.Hostname() == "":
		return bad("it names no host")
	case u.Scheme == "http" && !loopback(u.Hostname()):
		return bad("plain http would send photos and keys readable over the network; use https")
	}
	a := Address{Endpoint: u.Host, Secure: u.Scheme == "https", virtual: virtualHost}
	rest := strings.Trim(u.Path, "/")
	if virtualHost {
		var ok bool
		if a.Bucket, a.Endpoint, ok = strings.Cut(u.Host, "."); !ok || net.ParseIP(u.Hostname()) != nil {
			return bad("the host does not begin with the name of a bucket")
		}
	} else {
		a.Bucket, rest, _ = strings.Cut(rest, "/")
	}
	if host := (&url.URL{Host: a.Endpoint}).Hostname(); strings.HasSuffix(a.Endpoint, ":") || net.ParseIP(host) == nil && !hostForm.MatchString(host) {
		return bad("it names no host that could be called")
	}
	if err := s3utils.CheckValidBucketNameStrict(a.Bucket); err != nil {
		return bad(fmt.Sprintf("%q cannot be the name of a bucket", store.Clip(a.Bucket)))
	}
	if rest != "" {
		if err := store.CheckKey(rest); err != nil || !utf8.ValidString(rest) || len(rest) > 512 {
			return bad("what follows the bucket cannot be a prefix")
		}
		a.Prefix = rest + "/"
	}
	return a, nil
}

// String is the address as a person writes it.
func (a Address) String() string {
	u := url.URL{Scheme: "https", Host: a.Endpoint, Path: "/" + a.Bucket + "/" + a.Prefix}
	if a.virtual {
		u.Host, u.Path = a.Bucket+"."+a.Endpoint, "/"+a.Prefix
	}
	if !a.Secure {
		u.Scheme = "http"
	}
	return strings.TrimSuffix(u.String(), "/")
}

func loopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || (ip != nil && ip.IsLoopback())
}

// redact drops what may be a secret from an address that a person got wrong.
func redact(raw string) string {
	if i := strings.LastIndexByte(raw, '@'); i >= 0 {
		raw = "…" + raw[i:]
	}
	raw, _, _ = strings.Cut(raw, "?")
	return store.Clip(raw)
}
