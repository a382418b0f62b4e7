package s3

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"net/http/httptrace"
	"sync"
	"time"
)

// A request may take as long as it likes while bytes move, and is given up when
// none do: without that a transfer over a dead link would hang for ever.
const (
	// silence is how long nothing may move; Options.Silence overrides it.
	silence = 60 * time.Second
	// The end of a body is taken by buffers on the way (this machine's, a
	// satellite modem's) long before the service has it, so its answer may take
	// what those buffers need to drain over a slow link.
	mostBuffered = 8 << 20  // bytes
	slowest      = 16 << 10 // bytes a second, of one of several uploads side by side
)

// patience gives up requests of which nothing was heard for too long.
type patience struct {
	next    http.RoundTripper
	silence time.Duration
}

// silentError is what such a request ends with.
type silentError time.Duration

func (e silentError) Error() string {
	return fmt.Sprintf("nothing moved for %v", time.Duration(e))
}

func (p patience) RoundTrip(req *http.Request) (*http.Response, error) {
	parent := req.Context()
	ctx, cancel := context.WithCancelCause(parent)
	w := &watch{ctx: ctx, parent: parent, cancel: cancel, most: p.silence}
	w.timer = time.AfterFunc(time.Hour, func() { cancel(silentError(p.silence)) })
	w.timer.Stop() // looking up and dialling have bounds of their own
	answer := p.silence + time.Duration(min(max(req.ContentLength, 0), mostBuffered))*time.Second/slowest
	out := req.WithContext(httptrace.WithClientTrace(ctx, &httptrace.ClientTrace{
		GotConn:      func(httptrace.GotConnInfo) { w.asking(p.silence) },
		WroteRequest: func(httptrace.WroteRequestInfo) { w.asking(answer) },
	}))
	out.Header = req.Header.Clone()
	out.Header.Set("User-Agent", "linecamp") // the library's is five times as long
	if req.Body != nil && req.Body != http.NoBody {
		out.Body, out.GetBody = &sentBody{req.Body, w}, nil
	}
	resp, err := p.next.RoundTrip(out)
	w.answered()
	if err != nil {
		err = w.blame(err)
		w.end()
		return nil, err
	}
	resp.Body = &receivedBody{resp.Body, w}
	return resp, nil
}

// watch ends one request when nothing moved for too long.
type watch struct {
	ctx, parent context.Context
	cancel      context.CancelCauseFunc
	most        time.Duration

	mu    sync.Mutex
	timer *time.Timer
	heard bool // the answer began: what comes late from the sending side counts no more
}

// asking gives the service so long to take or say something; 0 stops the clock.
func (w *watch) asking(d time.Duration) {
	w.mu.Lock()
	defer w.mu.Unlock()
	switch {
	case w.heard:
	case d == 0:
		w.timer.Stop()
	default:
		w.timer.Reset(d)
	}
}

func (w *watch) answered() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.heard = true
	w.timer.Stop()
}

func (w *watch) end() {
	w.timer.Stop()
	w.cancel(nil)
}

// blame puts the silence in place of the cancelled request it led to.
func (w *watch) blame(err error) error {
	if silent, ok := context.Cause(w.ctx).(silentError); ok && w.parent.Err() == nil {
		return silent
	}
	return err
}

// sentBody is the body of a request. While it is read from its source, which
// may be a slow drive, the service is not being waited for.
type sentBody struct {
	io.ReadCloser
	w *watch
}

func (b *sentBody) Read(p []byte) (int, error) {
	b.w.asking(0)
	n, err := b.ReadCloser.Read(p)
	b.w.asking(b.w.most)
	return n, err
}

// receivedBody is the body of an answer. The service is waited for only while
// somebody reads.
type receivedBody struct {
	io.ReadCloser
	w *watch
}

func (b *receivedBody) Read(p []byte) (int, error) {
	b.w.timer.Reset(b.w.most)
	n, err := b.ReadCloser.Read(p)
	b.w.timer.Stop()
	if err != nil && err != io.EOF {
		err = b.w.blame(err)
	}
	if err != nil {
		b.w.end()
	}
	return n, err
}

func (b *receivedBody) Close() error {
	err := b.ReadCloser.Close()
	b.w.end()
	return err
}
