package s3

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"strings"
	"sync"
	"time"

	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
)

// dialTimeout is how long making a connection may take. What comes after it is
// watched by patience.
const dialTimeout = 15 * time.Second

// sessions are what services gave to open further connections with, by the file of
// certificate authorities that they were trusted by: the certificates come once.
var sessions sync.Map

func sessionsOf(caFile string) tls.ClientSessionCache {
	c, _ := sessions.LoadOrStore(caFile, tls.NewLRUClientSessionCache(64))
	return c.(tls.ClientSessionCache)
}

func newTransport(caFile string, use func(net.Conn) net.Conn) (*http.Transport, error) {
	config := &tls.Config{MinVersion: tls.VersionTLS12, ClientSessionCache: sessionsOf(caFile)}
	if caFile != "" {
		pem, err := os.ReadFile(caFile)
		if err != nil {
			return nil, fmt.Errorf("the file of certificate authorities: %w", err)
		}
		pool, err := x509.SystemCertPool()
		if err != nil {
			pool = x509.NewCertPool()
		}
		if !pool.AppendCertsFromPEM(pem) {
			return nil, fault.Say(store.ErrCertificate, "the file of certificate authorities %s holds no certificate in PEM form", caFile)
		}
		config.RootCAs = pool
	}
	dialer := &net.Dialer{Timeout: dialTimeout, KeepAlive: 30 * time.Second}
	dial := dialer.DialContext
	if use != nil {
		dial = func(ctx context.Context, network, address string) (net.Conn, error) {
			c, err := dialer.DialContext(ctx, network, address)
			if err != nil {
				return nil, err
			}
			return use(c), nil
		}
	}
	return &http.Transport{
		Proxy:                 http.ProxyFromEnvironment,
		DialContext:           dial,
		TLSClientConfig:       config,
		TLSHandshakeTimeout:   dialTimeout,
		ExpectContinueTimeout: 10 * time.Second,
		IdleConnTimeout:       50 * time.Second,
		MaxIdleConns:          64,
		MaxIdleConnsPerHost:   16,
		DisableCompression:    true, // bytes as they are stored
	}, nil
}

// s3Only turns the answers of something that is not an S3 service (a web site,
// a router's login page) into one S3 error. Taken at face value, a web site's
// "404 not found" would read as "no such key", that is, as an empty copy.
type s3Only struct{ next http.RoundTripper }

const notS3Code = "LinecampNotS3"

func (t s3Only) RoundTrip(req *http.Request) (*http.Response, error) {
	resp, err := t.next.RoundTrip(req)
	if err != nil {
		return nil, err
	}
	if speaksS3(req, resp) {
		if req.URL.RawQuery != "" { // a listing or the like, which the library reads whole
			resp.Body = &limitedBody{resp.Body, mostXML}
		}
		return resp, nil
	}
	resp.Body.Close()
	body := "<Error><Code>" + notS3Code + "</Code></Error>"
	return &http.Response{
		Status: "400 Bad Request", StatusCode: http.StatusBadRequest,
		Proto: resp.Proto, ProtoMajor: resp.ProtoMajor, ProtoMinor: resp.ProtoMinor,
		Header:        http.Header{"Content-Type": {"application/xml"}},
		Body:          io.NopCloser(strings.NewReader(body)),
		ContentLength: int64(len(body)),
		Request:       req,
	}, nil
}

// mostXML is more than a page of 1,000 keys, the longest there can be, takes.
const mostXML = 8 << 20

// limitedBody ends in an error where a body is longer than it can be.
type limitedBody struct {
	io.ReadCloser
	left int
}

func (b *limitedBody) Read(p []byte) (int, error) {
	n, err := b.ReadCloser.Read(p[:min(len(p), b.left+1)])
	if b.left -= n; b.left < 0 {
		return 0, fault.Say(store.ErrNotS3, "the service's answer is longer than one can be")
	}
	return n, err
}

func speaksS3(req *http.Request, resp *http.Response) bool {
	for name := range resp.Header {
		if strings.HasPrefix(name, "X-Amz-") {
			return true
		}
	}
	kind := resp.Header.Get("Content-Type")
	switch {
	case strings.Contains(kind, "xml"), resp.StatusCode >= 500: // a proxy in front may word its own troubles
		return true
	case strings.HasPrefix(kind, "text/html"):
		return false
	case resp.StatusCode >= 300:
		return req.Method == http.MethodHead || resp.StatusCode == http.StatusNotModified ||
			(kind == "" && resp.ContentLength == 0)
	}
	return true
}
