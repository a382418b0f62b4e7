package link

import (
	"context"
	"net"
	"sync"
	"time"
)

// pace spreads bytes evenly over time. It is shared by all connections of this process
// to one bucket.
type pace struct {
	mu   sync.Mutex
	rate int64     // bytes a second; 0 for no limit
	free time.Time // when the bytes let go so far will have gone
}

var (
	pacesMu sync.Mutex
	paces   = map[string]*pace{} // by the copy's id
)

func paceOf(id string, rate int64) *pace {
	pacesMu.Lock()
	defer pacesMu.Unlock()
	p := paces[id]
	if p == nil {
		p = &pace{}
		paces[id] = p
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.rate = rate // the newest settings count
	return p
}

// all is the pace of every bucket of this process together.
var all = &pace{}

// LimitAll has all buckets of this process go no faster than this together, in bytes a
// second; 0 for no limit. It holds for connections that are made from now on, and where
// there was a limit before, for all.
func LimitAll(rate int64) {
	all.mu.Lock()
	defer all.mu.Unlock()
	all.rate = rate
}

func (p *pace) isLimited() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.rate > 0
}

// let waits until n more bytes may go, by this bucket's own limits and those of all.
func (l *Link) let(ctx context.Context, n int) error {
	if err := l.pace.let(ctx, n); err != nil {
		return err
	}
	return all.let(ctx, n)
}

func (l *Link) piece() int { return min(l.pace.piece(), all.piece()) }

// credit is how much of an idle while can be made up for: a burst is never longer.
const credit = 250 * time.Millisecond

// let waits until n more bytes may go.
func (p *pace) let(ctx context.Context, n int) error {
	p.mu.Lock()
	if p.rate == 0 {
		p.mu.Unlock()
		return ctx.Err()
	}
	now := time.Now()
	if early := now.Add(-credit); p.free.Before(early) {
		p.free = early
	}
	p.free = p.free.Add(time.Duration(float64(n) / float64(p.rate) * float64(time.Second)))
	wait := p.free.Sub(now)
	p.mu.Unlock()
	if wait <= 0 {
		return ctx.Err()
	}
	t := time.NewTimer(wait)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// piece is how much goes at once: an eighth of a second's bytes.
func (p *pace) piece() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.rate == 0 {
		return 1 << 20
	}
	return int(min(max(p.rate/8, 512), 1<<20))
}

// Conn counts and slows a connection. Closing it ends every wait.
func (l *Link) Conn(c net.Conn) net.Conn {
	if !l.IsHeld() {
		return c
	}
	ctx, cancel := context.WithCancel(context.Background())
	return &conn{Conn: c, l: l, ctx: ctx, cancel: cancel}
}

type conn struct {
	net.Conn
	l      *Link
	ctx    context.Context
	cancel context.CancelFunc
}

func (c *conn) Read(p []byte) (int, error) {
	n, err := c.Conn.Read(p[:min(len(p), c.l.piece())])
	c.l.count(n)
	if n > 0 && c.l.let(c.ctx, n) != nil && err == nil {
		err = net.ErrClosed
	}
	return n, err
}

func (c *conn) Write(p []byte) (sent int, err error) {
	for len(p) > 0 {
		piece := p[:min(len(p), c.l.piece())]
		if c.l.let(c.ctx, len(piece)) != nil {
			return sent, net.ErrClosed
		}
		n, err := c.Conn.Write(piece)
		c.l.count(n)
		sent += n
		if err != nil {
			return sent, err
		}
		p = p[n:]
	}
	return sent, nil
}

func (c *conn) Close() error {
	c.cancel()
	return c.Conn.Close()
}
