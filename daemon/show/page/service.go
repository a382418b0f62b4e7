package page

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"sync"
	"time"

	"linecamp/daemon/config"
	"linecamp/manifest/words"
)

// addressFile is where the service puts the page's address with its key, in the
// state folder, for its owner only.
const addressFile = "page-address"

// Service serves the pages that the settings ask for, until ctx ends. Archives that
// name one address are on one page. What hinders a page is logged, and hinders
// nothing else.
func Service(ctx context.Context, configs []config.Archive, log *slog.Logger) {
	at := map[string][]config.Archive{}
	for _, a := range configs {
		if a.Page.Listen != "" {
			at[a.Page.Listen] = append(at[a.Page.Listen], a)
		}
	}
	var pages sync.WaitGroup
	for listen, these := range at {
		pages.Go(func() {
			for ctx.Err() == nil {
				err := Run(ctx, RunOptions{Configs: these, Log: log, Listen: listen, address: true, Line: func(name string) words.Line {
					if len(configs) > 1 {
						return words.Line{Archive: name}
					}
					return words.Line{}
				}})
				if ctx.Err() != nil {
					return
				}
				log.Warn("the page cannot be served; trying again in a minute", "at", listen, "error", err)
				select {
				case <-time.After(time.Minute):
				case <-ctx.Done():
				}
			}
		})
	}
	pages.Wait()
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
