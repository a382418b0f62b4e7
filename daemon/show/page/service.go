package page

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"reflect"
	"sync"
	"time"

	"linecamp/daemon/config"
	"linecamp/manifest/words"
)

// addressFile is where the service puts the page's address with its key, in the
// state folder, for its owner only.
const addressFile = "page-address"

// Pages are the pages that the settings ask for. Archives that name one address are
// on one page.
type Pages struct {
	ctx context.Context
	log *slog.Logger

	mu     sync.Mutex
	served map[string]*served // by address
}

// served is one page.
type served struct {
	configs []config.Archive
	several bool // there are other archives, so command lines name the archive
	stop    context.CancelFunc
	done    chan struct{}
}

// NewPages serves none yet. They end with ctx.
func NewPages(ctx context.Context, log *slog.Logger) *Pages {
	return &Pages{ctx: ctx, log: log, served: map[string]*served{}}
}

// Set makes what is served agree with the settings as they are now: a page whose
// settings changed is stopped and served anew, all others are left alone. What
// hinders a page is logged, and hinders nothing else.
func (p *Pages) Set(configs []config.Archive) {
	p.mu.Lock()
	defer p.mu.Unlock()
	wanted := map[string][]config.Archive{}
	for _, a := range configs {
		if a.Page.Listen != "" {
			wanted[a.Page.Listen] = append(wanted[a.Page.Listen], a)
		}
	}
	several := len(configs) > 1
	for listen, s := range p.served {
		if !reflect.DeepEqual(wanted[listen], s.configs) || several != s.several {
			s.stop()
			<-s.done
			delete(p.served, listen)
		}
	}
	for listen, these := range wanted {
		if p.served[listen] == nil {
			ctx, stop := context.WithCancel(p.ctx)
			s := &served{these, several, stop, make(chan struct{})}
			p.served[listen] = s
			go func() {
				defer close(s.done)
				p.serve(ctx, listen, s)
			}()
		}
	}
}

// serve serves one page, and tries again where it cannot.
func (p *Pages) serve(ctx context.Context, listen string, s *served) {
	for ctx.Err() == nil {
		err := Run(ctx, RunOptions{Configs: s.configs, Log: p.log, Listen: listen, address: true, Line: func(name string) words.Line {
			if s.several {
				return words.Line{Archive: name}
			}
			return words.Line{}
		}})
		if ctx.Err() != nil {
			return
		}
		p.log.Warn("the page cannot be served; trying again in a minute", "at", listen, "error", err)
		select {
		case <-time.After(time.Minute):
		case <-ctx.Done():
		}
	}
}

// Wait waits until none is served any more, after ctx has ended.
func (p *Pages) Wait() {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, s := range p.served {
		<-s.done
	}
}

// leaveAddress puts the page's address with its key where only the owner of the
// state folders reads it, and returns what takes it away.
func leaveAddress(address string, archives []Archive) (gone func(), err error) {
	var files []string
	gone = func() {
		for _, f := range files {
			os.Remove(f)
		}
	}
	for _, a := range archives {
		name := filepath.Join(a.Folder, addressFile)
		os.Remove(name) // one left by a crash may have other rights
		f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
		if err == nil {
			files = append(files, name)
			_, err = fmt.Fprintln(f, address)
			if cerr := f.Close(); err == nil {
				err = cerr
			}
		}
		if err != nil {
			gone()
			return nil, fmt.Errorf("the page's address cannot be left for you: %w", err)
		}
	}
	return gone, nil
}
