// Package service runs the rounds of every archive on its schedule. Begin with
// [Serve]. It runs three loops for each archive: of mirror rounds, of verify
// rounds and of drills (runner.go). A round is due when its line of crontab says so
// (timetable.go), when the machine was off at that time, when the last one was broken
// off, and, for a mirror round, when a drive comes back.
//
// Many archives share one process (crowd.go). The service leaves a sign of life in
// each state folder (pulse.go), and tells the service manager how it is (notify.go).
package service

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"os"
	"os/signal"
	"reflect"
	"slices"
	"strings"
	"sync"
	"syscall"
	"time"

	sd "github.com/coreos/go-systemd/v22/daemon"

	"linecamp/daemon/config"
	"linecamp/daemon/pool"
)

// ErrNothingToDo ends the daemon at its start when no archive has a config
// that can be used.
var ErrNothingToDo = errors.New("no archive can be served")

// Options are the service's settings.
type Options struct {
	Load    func() ([]config.Archive, []error)    // reads the settings, also those at fault
	Archive string                                // only this archive; "" for all
	Pool    *pool.Pool                            // what all archives may take together; nil for the usual
	Open    func(config.Archive) (Archive, error) // opens one archive
	Loaded  func([]config.Archive)                // told the settings whenever they were read; may be nil
	Settle  time.Duration                         // from the start to the first missed round; 0 for the usual
	Log     *slog.Logger
	Now     func() time.Time
}

// Serve is the service: it runs the rounds of every archive on its schedule
// until ctx ends, and then returns nil within five seconds, every copy valid.
// SIGHUP makes it read the settings again: archives that changed are stopped and
// started, new ones started, absent ones stopped, all others left alone. Settings
// at fault stop their own archive only, until the next SIGHUP.
func Serve(ctx context.Context, o Options) error {
	if o.Pool == nil {
		o.Pool = pool.New(pool.Settings{})
	}
	hup := make(chan os.Signal, 1)
	signal.Notify(hup, syscall.SIGHUP)
	defer signal.Stop(hup)
	s := &server{
		load: o.Load, only: o.Archive, open: o.Open, loaded: o.Loaded, log: o.Log, now: o.Now, hup: hup,
		beat:   func(ctx context.Context, cfg config.Archive) { beat(ctx, cfg, o.Now) },
		crowd:  newCrowd(o.Pool, o.Now),
		settle: cmp.Or(o.Settle, 10*time.Second),
	}
	return s.serve(ctx)
}

// server looks after the runners.
type server struct {
	load   func() ([]config.Archive, []error)
	only   string
	open   func(config.Archive) (Archive, error)
	loaded func([]config.Archive)
	beat   func(context.Context, config.Archive) // shows until ctx ends that an archive is served; may be nil
	crowd  *crowd
	log    *slog.Logger
	now    func() time.Time
	settle time.Duration
	hup    <-chan os.Signal

	running map[string]*served // by archive name
	notify  notifier

	mu   sync.Mutex
	says map[string]string // what each archive is at
}

// served is one archive with its runner at work.
type served struct {
	cfg  config.Archive
	stop context.CancelFunc
	done chan struct{}
}

// stopTime bounds the wait for runners that were told to stop, so that the
// whole daemon is gone within five seconds.
const stopTime = 4 * time.Second

func (s *server) serve(ctx context.Context) error {
	s.running, s.says = map[string]*served{}, map[string]string{}
	if errs := s.reload(ctx); len(s.running) == 0 {
		return fmt.Errorf("%w: %w", ErrNothingToDo, errors.Join(errs...))
	}
	s.notify.ready()
	s.tell()

	// The keep-alive comes from this loop, so that it tells of this loop.
	var alive <-chan time.Time
	if every, err := sd.SdWatchdogEnabled(false); err == nil && every > 0 {
		tick := time.NewTicker(every / 2)
		defer tick.Stop()
		alive = tick.C
	}
	for {
		select {
		case <-alive:
			s.notify.alive()
		case <-s.hup:
			s.notify.reloading()
			s.log.Info("reading the settings again")
			s.reload(ctx)
			s.notify.ready()
			s.tell()
		case <-ctx.Done():
			s.notify.stopping()
			s.log.Info("stopping")
			s.halt(slices.Collect(maps.Keys(s.running)))
			return nil
		}
	}
}

// reload makes what runs agree with the config as it is now.
func (s *server) reload(ctx context.Context) []error {
	archives, errs := s.load()
	for _, err := range errs {
		s.log.Error("settings cannot be used, and their archive is not served: " + err.Error())
	}
	wanted := map[string]config.Archive{}
	for _, a := range archives {
		if s.only == "" || a.Name == s.only {
			wanted[a.Name] = a
		}
	}
	if s.only != "" && len(wanted) == 0 {
		err := fmt.Errorf("no settings describe an archive named %q", s.only)
		s.log.Error(err.Error())
		errs = append(errs, err)
	}
	var gone []string
	for name, run := range s.running {
		if a, ok := wanted[name]; !ok || !reflect.DeepEqual(a, run.cfg) {
			gone = append(gone, name)
		}
	}
	s.halt(gone)
	for _, name := range slices.Sorted(maps.Keys(wanted)) {
		if s.running[name] == nil {
			if err := s.start(ctx, wanted[name], len(wanted)); err != nil {
				s.log.Error("the archive is not served: "+err.Error(), "archive", name)
				errs = append(errs, err)
			}
		}
	}
	if s.loaded != nil {
		s.loaded(slices.SortedFunc(maps.Values(wanted), func(a, b config.Archive) int { return cmp.Compare(a.Name, b.Name) }))
	}
	return errs
}

func (s *server) start(ctx context.Context, cfg config.Archive, among int) error {
	tables, err := Timetables(cfg, among)
	if err != nil {
		return err
	}
	ctx, stop := context.WithCancel(ctx)
	r := &runner{
		name: cfg.Name, tables: tables, log: s.log, now: s.now, settle: s.settle,
		open: func(ctx context.Context) (rounds, error) {
			return s.crowd.join(ctx, func() (Archive, error) { return s.open(cfg) })
		},
		say: func(what string) { s.said(cfg.Name, what) },
	}
	run := &served{cfg: cfg, stop: stop, done: make(chan struct{})}
	s.running[cfg.Name] = run
	s.log.Info("serving", "archive", cfg.Name, "mirror", cfg.Schedule.Mirror, "verify", cfg.Schedule.Verify, "drill", cfg.Schedule.Drill)
	go func() {
		defer close(run.done)
		var beating sync.WaitGroup
		beating.Go(func() {
			if s.beat != nil {
				s.beat(ctx, cfg)
			}
		})
		r.run(ctx)
		beating.Wait()
	}()
	return nil
}

// halt stops archives and waits for them, for a bounded time: a drive that
// hangs in the kernel cannot be waited for, and a copy is valid at any
// instant.
func (s *server) halt(names []string) {
	limit := time.NewTimer(stopTime)
	defer limit.Stop()
	for _, name := range names {
		s.running[name].stop()
	}
	expired := false
	for _, name := range names {
		if !expired {
			select {
			case <-s.running[name].done:
			case <-limit.C:
				expired = true
			}
		}
		if expired {
			s.log.Warn("a round did not stop in time and is left behind; no copy is harmed by that", "archive", name)
		} else {
			s.log.Info("stopped", "archive", name)
		}
		delete(s.running, name)
		s.said(name, "")
	}
}

// said takes note of what an archive is at and tells the service manager.
func (s *server) said(name, what string) {
	s.mu.Lock()
	if what == "" {
		delete(s.says, name)
	} else {
		s.says[name] = what
	}
	s.mu.Unlock()
	s.tell()
}

func (s *server) tell() {
	s.mu.Lock()
	defer s.mu.Unlock()
	var parts []string
	for _, name := range slices.Sorted(maps.Keys(s.says)) {
		parts = append(parts, name+": "+s.says[name])
	}
	if len(parts) == 0 {
		parts = []string{"no archive is served"}
	}
	s.notify.status(strings.Join(parts, "; "))
}
