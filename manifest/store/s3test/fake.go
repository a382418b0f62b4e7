package s3test

import (
	"context"
	"errors"
	"io"
	"net"
	"net/http"

	"github.com/johannesboyne/gofakes3"
	"github.com/johannesboyne/gofakes3/backend/s3mem"
)

// Fake serves S3 from memory until the test ends.
func Fake(t TB) *Server {
	t.Helper()
	s, err := StartFake("")
	if err != nil {
		t.Fatalf("the S3 server in memory: %v", err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

// StartFake serves S3 on a free port of this machine. With a folder, every
// object is also kept there as a plain file, BUCKET/KEY, and what the folder
// holds at the start is served; "" keeps everything in memory only.
func StartFake(dir string) (*Server, error) { return StartFakeAt(dir, "127.0.0.1:0") }

// StartFakeAt is StartFake on a given address, such as one that an earlier run
// used and a config names.
func StartFakeAt(dir, addr string) (*Server, error) {
	backend := s3mem.New()
	h := &rules{next: gofakes3.New(backend, gofakes3.WithLogger(gofakes3.DiscardLog())).Server(), folder: dir}
	if err := h.load(backend); err != nil {
		return nil, err
	}
	l, err := net.Listen("tcp", addr)
	if err != nil {
		return nil, err
	}
	srv := &http.Server{Handler: h}
	done := make(chan error, 1)
	go func() { done <- srv.Serve(l) }()
	return &Server{
		rules: h,
		URL:   "http://" + l.Addr().String(), Access: "practice", Secret: "practice-ranch", Region: "us-east-1",
		stop: func() error {
			err := srv.Close()
			if serr := <-done; !errors.Is(serr, http.ErrServerClosed) {
				err = errors.Join(err, serr)
			}
			return err
		},
	}, nil
}

// get reads an object through the handler, as a client would.
func (h *rules) get(ctx context.Context, path string) ([]byte, bool) {
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://local"+(&urlPath{path}).String(), nil)
	if err != nil {
		return nil, false
	}
	rec := newRecorder()
	h.next.ServeHTTP(rec, req)
	return rec.body.Bytes(), rec.status == http.StatusOK
}

// drain reads a body that may not be larger than any the client sends.
func drain(r io.Reader) ([]byte, error) { return io.ReadAll(io.LimitReader(r, 1<<30)) }
