package store_test

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"io"
	"log"
	"math/big"
	"net"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"linecamp/manifest/store"
	"linecamp/manifest/store/s3"
	"linecamp/manifest/store/s3test"
)

// Each trouble a person meets at setup is one sentence, without their keys.
func TestS3Troubles(t *testing.T) {
	real := s3test.Fake
	if os.Getenv(s3test.Variable) != "" {
		real = s3test.Real
	}
	srv := real(t)
	good, err := srv.Bucket(t.Context(), "trouble")
	must(t, err)
	says := func(code string, status int) func(*s3.Options) {
		return func(o *s3.Options) {
			o.Transport = roundTripper(func(r *http.Request) (*http.Response, error) {
				return answer(r, status, "application/xml", "<Error><Code>"+code+"</Code><Message>KEY-XYZZY SECRET-PLUGH</Message></Error>"), nil
			})
		}
	}
	serve := func(h http.HandlerFunc) func(*s3.Options) {
		web := httptest.NewServer(h)
		t.Cleanup(web.Close)
		return func(o *s3.Options) { o.URL = web.URL + "/trouble" }
	}
	tests := map[string]struct {
		change func(*s3.Options)
		want   error
	}{
		"no such bucket": {func(o *s3.Options) { o.URL = srv.URL + "/nobody-made-this" }, store.ErrNoBucket},
		"clock":          {says("RequestTimeTooSkewed", 403), store.ErrClock},
		"not allowed":    {says("AccessDenied", 403), store.ErrDenied},
		"token":          {says("ExpiredToken", 400), store.ErrDenied},
		"in trouble":     {says("InternalError", 500), store.ErrUnreachable},
		"full":           {says("QuotaExceeded", 507), store.ErrFull},
		"web site":       {serve(http.NotFound), store.ErrNotS3},
		"login page": {serve(func(w http.ResponseWriter, r *http.Request) {
			io.WriteString(w, "<!doctype html><title>Welcome</title>")
		}), store.ErrNotS3},
		"refused":      {func(o *s3.Options) { o.URL = "http://" + closedPort(t) + "/trouble" }, store.ErrUnreachable},
		"no such name": {func(o *s3.Options) { o.URL = "https://no-such-host.invalid/trouble" }, store.ErrUnreachable},
		"not http":     {func(o *s3.Options) { o.URL = "http://" + talker(t, "220 mail ready\r\n") + "/trouble" }, store.ErrNotS3},
		"hangs up":     {func(o *s3.Options) { o.URL = "http://" + talker(t, "") + "/trouble" }, store.ErrUnreachable},
		"no tls":       {func(o *s3.Options) { o.URL = strings.Replace(good, "http:", "https:", 1) }, store.ErrNotS3},
	}
	if os.Getenv(s3test.Variable) != "" {
		tests["wrong key"] = struct {
			change func(*s3.Options)
			want   error
		}{func(o *s3.Options) { o.Access = "KEY-XYZZY" }, store.ErrDenied}
		tests["wrong secret"] = struct {
			change func(*s3.Options)
			want   error
		}{func(o *s3.Options) { o.Secret = "SECRET-PLUGH" }, store.ErrDenied}
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			o := s3.Options{URL: good, Region: srv.Region, Access: srv.Access, Secret: srv.Secret, Fence: true}
			test.change(&o)
			s, err := s3.Open(t.Context(), o)
			must(t, err)
			_, err = s.Identity(t.Context())
			wantErr(t, err, test.want)
			if errors.Is(err, store.ErrNoRoot) || errors.Is(err, errAbsent) {
				t.Errorf("a trouble reads as an empty place: %v", err)
			}
			checkSentence(t, err)
			_, err = s.Probe(t.Context())
			wantErr(t, err, test.want)
			checkSentence(t, err)
			_, err = s.Create(t.Context(), "a", store.Bytes([]byte("x")))
			if name == "not http" && errors.Is(err, store.ErrUnreachable) {
				return // it hung up before the request was through
			}
			wantErr(t, err, test.want)
			checkSentence(t, err)
		})
	}
}

// checkSentence holds an error to what a person can read.
func checkSentence(t *testing.T, err error) {
	t.Helper()
	t.Log(err)
	for _, bad := range []string{"XYZZY", "PLUGH", "\n", "Signature", "x-amz", "<Error>", "not-a-secret", "linecamp-test"} {
		if strings.Contains(err.Error(), bad) {
			t.Errorf("the message holds %q: %v", bad, err)
		}
	}
	if len(err.Error()) > 400 {
		t.Errorf("the message is long: %v", err)
	}
}

func closedPort(t *testing.T) string {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	must(t, err)
	defer l.Close()
	return l.Addr().String()
}

// talker is something else that listens: it says its line and hangs up.
func talker(t *testing.T, line string) string {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	must(t, err)
	t.Cleanup(func() { l.Close() })
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			c.Read(make([]byte, 1<<10))
			io.WriteString(c, line)
			c.Close()
		}
	}()
	return l.Addr().String()
}

// TLS: a certificate of an authority nobody knows is refused, and accepted when
// a person names the authority.
func TestS3CertificateAuthority(t *testing.T) {
	srv := s3test.Fake(t)
	bucket, err := srv.Bucket(t.Context(), "trusted")
	must(t, err)
	at, err := url.Parse(srv.URL)
	must(t, err)
	front := httptest.NewTLSServer(httputil.NewSingleHostReverseProxy(at))
	front.Config.ErrorLog = nil
	defer front.Close()
	o := s3.Options{URL: strings.Replace(bucket, srv.URL, front.URL, 1), Region: srv.Region, Access: "a", Secret: "b", Fence: true}

	s, err := s3.Open(t.Context(), o)
	must(t, err)
	_, err = s.Identity(t.Context())
	wantErr(t, err, store.ErrCertificate)
	checkSentence(t, err)

	o.CAFile = filepath.Join(t.TempDir(), "ca.pem")
	must(t, os.WriteFile(o.CAFile, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: front.Certificate().Raw}), 0o600))
	s, err = s3.Open(t.Context(), o)
	must(t, err)
	must(t, s.Init(t.Context(), testID))

	must(t, os.WriteFile(o.CAFile, []byte("nothing"), 0o600))
	_, err = s3.Open(t.Context(), o)
	wantErr(t, err, store.ErrCertificate)
	if _, err := x509.ParseCertificate(front.Certificate().Raw); err != nil {
		t.Fatal(err)
	}
}

// A certificate that is past its time is told as that, with the two things to look at,
// and no other authority is asked for.
func TestS3CertificateExpired(t *testing.T) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	must(t, err)
	for _, c := range []struct {
		name        string
		from, until time.Time
	}{
		{"expired", time.Now().AddDate(-1, 0, 0), time.Now().AddDate(0, 0, -1)},
		{"not valid yet, or a clock that is behind", time.Now().AddDate(0, 0, 1), time.Now().AddDate(1, 0, 0)},
	} {
		t.Run(c.name, func(t *testing.T) {
			plan := &x509.Certificate{SerialNumber: big.NewInt(1), NotBefore: c.from, NotAfter: c.until, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign | x509.KeyUsageDigitalSignature}
			raw, err := x509.CreateCertificate(rand.Reader, plan, plan, &key.PublicKey, key)
			must(t, err)
			front := httptest.NewUnstartedServer(http.NotFoundHandler())
			front.Config.ErrorLog = log.New(io.Discard, "", 0)
			front.TLS = &tls.Config{Certificates: []tls.Certificate{{Certificate: [][]byte{raw}, PrivateKey: key}}}
			front.StartTLS()
			defer front.Close()
			o := s3.Options{URL: front.URL + "/monitoring", Region: "us-east-1", Access: "a", Secret: "b", Fence: true, CAFile: filepath.Join(t.TempDir(), "ca.pem")}
			must(t, os.WriteFile(o.CAFile, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: raw}), 0o600))
			s, err := s3.Open(t.Context(), o)
			must(t, err)
			_, err = s.Identity(t.Context())
			wantErr(t, err, store.ErrCertificate)
			checkSentence(t, err)
			for _, want := range []string{"past its time", "clock is right", "renew the certificate"} {
				if !strings.Contains(err.Error(), want) {
					t.Errorf("%q lacks %q", err, want)
				}
			}
		})
	}
}
