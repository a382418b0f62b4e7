package page

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"path/filepath"
	"time"

	"linecamp/daemon/show/page/gate"
	"linecamp/daemon/show/page/small"
)

//go:embed html static
var embedded embed.FS

// shelfLimit is how many bytes of small pictures are kept for an archive.
const shelfLimit = 1 << 30

// Options are what is served.
type Options struct {
	Archives []Archive
	Faults   []error // of archives that cannot be shown
	Log      *slog.Logger
	Now      func() time.Time // nil: time.Now
}

// Server is the page.
type Server struct {
	books  []*book
	faults []error
	named  map[string]*book
	gate   *gate.Gate
	log    *slog.Logger
	life   context.Context // of what was begun from the page
}

// New makes the page for a listener's address.
func New(at net.Addr, o Options) (*Server, error) {
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Log == nil {
		o.Log = slog.Default()
	}
	s := &Server{faults: o.Faults, named: map[string]*book{}, gate: gate.New(at), log: o.Log, life: context.Background()}
	for _, a := range o.Archives {
		shelf, err := small.Open(filepath.Join(a.Folder, "pictures"), shelfLimit)
		if err != nil {
			return nil, fmt.Errorf("small pictures of %s cannot be kept: %w", a.Name(), err)
		}
		b := &book{Archive: a, shelf: shelf, now: o.Now, log: o.Log}
		s.books = append(s.books, b)
		s.named[a.Name()] = b
	}
	return s, nil
}

// Gate tells how to get in.
func (s *Server) Gate() *gate.Gate { return s.gate }

// Serve serves the page until ctx ends, and then stops what was begun from it.
func (s *Server) Serve(ctx context.Context, l net.Listener) error {
	s.life = ctx
	h := &http.Server{
		Handler:           s.Handler(),
		BaseContext:       func(net.Listener) context.Context { return ctx },
		ReadHeaderTimeout: 10 * time.Second,
		IdleTimeout:       2 * time.Minute,
		MaxHeaderBytes:    64 << 10,
		ErrorLog:          slog.NewLogLogger(s.log.Handler(), slog.LevelDebug),
	}
	stop := context.AfterFunc(ctx, func() {
		end, cancel := context.WithTimeout(context.WithoutCancel(ctx), time.Second)
		defer cancel()
		if h.Shutdown(end) != nil {
			h.Close()
		}
	})
	defer stop()
	err := h.Serve(l)
	for _, b := range s.books {
		b.jobs.Wait()
	}
	if errors.Is(err, http.ErrServerClosed) {
		return nil
	}
	return err
}

// Handler is the whole page behind its gate.
func (s *Server) Handler() http.Handler {
	m := http.NewServeMux()
	m.HandleFunc("GET /{$}", s.roll)
	static, _ := fs.Sub(embedded, "static")
	m.Handle("GET /static/", kept(http.StripPrefix("/static", http.FileServerFS(static))))
	for pattern, view := range map[string]view{
		"GET /a/{archive}/{$}":                   s.stand,
		"GET /a/{archive}/years":                 s.years,
		"GET /a/{archive}/findings":              s.findings,
		"GET /a/{archive}/site/{site}":           s.site,
		"GET /a/{archive}/site/{site}/versions":  s.versions,
		"GET /a/{archive}/picture/{size}/{file}": s.picture,
		"GET /a/{archive}/file/{file}":           s.save,
		"GET /a/{archive}/note/{file}":           s.note,
		"GET /a/{archive}/work":                  s.work,
		"POST /a/{archive}/work":                 s.begin,
		"GET /a/{archive}/jobs/{job}":            s.job,
		"POST /a/{archive}/jobs/{job}/stop":      s.stop,
		"GET /a/{archive}/changes":               s.changes,
		"GET /a/{archive}/card":                  s.card,
		"GET /a/{archive}/card/{file}":           s.cardPicture,
		"GET /a/{archive}/events":                s.events,
	} {
		m.HandleFunc(pattern, s.in(view))
	}
	m.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) { s.fault(w, r, nil, errNothing) })
	return s.gate.Guard(m)
}

// view answers a request about one archive.
type view func(w http.ResponseWriter, r *http.Request, b *book) error

// errNothing answers what nothing is found for.
var errNothing = errors.New("there is nothing here of that name")

// in finds the archive that a request is about, and tells a person of a fault.
func (s *Server) in(v view) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		b := s.named[r.PathValue("archive")]
		err := errNothing
		if b != nil {
			err = v(w, r, b)
		}
		if err != nil {
			s.fault(w, r, b, err)
		}
	}
}

// kept lets a browser keep the page's own files while it is open.
func kept(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Cache-Control", "private, max-age=3600")
		h.ServeHTTP(w, r)
	})
}
