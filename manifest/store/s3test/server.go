// Package s3test runs S3 servers on this machine, for tests and for the practice
// ranch. Begin with [Fake] or [Real].
//
// There are two. [Real] is a full S3 server in a process of its own, built from
// the nested module testdata/s3server; tests that mean "S3" run against it. It
// is used when LINECAMP_S3SERVER names its binary, and .ci/run always builds
// it; without it those tests skip and say so.
//
// [Fake] and [StartFake] serve S3 from inside this process, with gofakes3. That
// library knows conditional writes, but not three things a copy relies on, so a
// thin layer adds them here, as the S3 documentation describes them: a body is
// refused when it does not match x-amz-content-sha256 or x-amz-checksum-sha256;
// the completion of a multipart upload obeys If-None-Match and If-Match; and an
// object that is overwritten does not keep the checksum of the old one.
// What stays different from a real server: keys are not checked, and a
// multipart upload reports no checksum.
package s3test

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"time"

	"github.com/minio/minio-go/v7"
	"github.com/minio/minio-go/v7/pkg/credentials"
)

// TB is what is needed of testing.TB, so that a program that only wants
// StartFake does not link the testing package.
type TB interface {
	Helper()
	Cleanup(func())
	TempDir() string
	Skip(args ...any)
	Fatalf(format string, args ...any)
}

// Server is a running S3 server.
type Server struct {
	URL    string // http://127.0.0.1:port, without a bucket
	Access string
	Secret string
	Region string
	Checks bool // it checks who asks: keys and signatures
	stop   func() error
	rules  *rules // nil for a real one
}

// Close stops the server.
func (s *Server) Close() error { return s.stop() }

// Client is a plain client of the server, for what a test does behind
// linecamp's back.
func (s *Server) Client() (*minio.Core, error) {
	u, err := url.Parse(s.URL)
	if err != nil {
		return nil, err
	}
	return minio.NewCore(u.Host, &minio.Options{
		Creds:        credentials.NewStaticV4(s.Access, s.Secret, ""),
		Region:       s.Region,
		BucketLookup: minio.BucketLookupPath,
	})
}

// Bucket makes a bucket and returns its URL.
func (s *Server) Bucket(ctx context.Context, name string) (string, error) {
	c, err := s.Client()
	if err != nil {
		return "", err
	}
	if err := c.MakeBucket(ctx, name, minio.MakeBucketOptions{Region: s.Region}); err != nil {
		return "", fmt.Errorf("making the bucket %s: %w", name, err)
	}
	return s.URL + "/" + name, nil
}

// Variable names the binary of the real server.
const Variable = "LINECAMP_S3SERVER"

// Real starts the real S3 server with an empty folder behind it, and stops it
// when the test ends.
func Real(t TB) *Server {
	t.Helper()
	binary := os.Getenv(Variable)
	if binary == "" {
		t.Skip("not run against a real S3 server: " + Variable + " does not name its binary. " +
			"Build it with: go build -C testdata/s3server -o FILE github.com/versity/versitygw/cmd/versitygw")
	}
	s, err := StartReal(binary, t.TempDir())
	if err != nil {
		t.Fatalf("the real S3 server: %v", err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

// StartReal starts the real S3 server with its data in dir.
func StartReal(binary, dir string) (*Server, error) {
	data, versions := filepath.Join(dir, "data"), filepath.Join(dir, "versions")
	for _, d := range []string{data, versions} {
		if err := os.MkdirAll(d, 0o755); err != nil {
			return nil, err
		}
	}
	var err error
	for range 3 { // another process may take the free port first
		var s *Server
		if s, err = startReal(binary, data, versions); err == nil {
			return s, nil
		}
	}
	return nil, err
}

func startReal(binary, data, versions string) (*Server, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, err
	}
	addr := l.Addr().String()
	l.Close()
	s := &Server{URL: "http://" + addr, Access: "linecamp-test", Secret: "not-a-secret-at-all", Region: "us-east-1", Checks: true}
	cmd := exec.Command(binary, "--port", addr, "--access", s.Access, "--secret", s.Secret, "--region", s.Region, "--quiet",
		"posix", "--versioning-dir", versions, data)
	cmd.Env = []string{"HOME=" + data, "PATH=" + os.Getenv("PATH")}
	if err := cmd.Start(); err != nil {
		return nil, err
	}
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	s.stop = func() error {
		cmd.Process.Kill()
		<-ended
		return nil
	}
	deadline := time.After(20 * time.Second)
	tick := time.NewTicker(10 * time.Millisecond)
	defer tick.Stop()
	for {
		if resp, err := http.Get(s.URL + "/"); err == nil {
			resp.Body.Close()
			return s, nil
		}
		select {
		case err := <-ended:
			return nil, fmt.Errorf("it ended at once: %v", err)
		case <-deadline:
			s.stop()
			return nil, fmt.Errorf("it did not answer on %s", addr)
		case <-tick.C:
		}
	}
}
