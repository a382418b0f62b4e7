// Package autostart has the computer start linecamp's service by itself. Begin with
// [Install]; [Remove] takes back what it did, and [Look] says how it stands. A service
// manager that starts programs in its own way is served by [Run].
//
// On Linux that is a unit of the person's own systemd, the same that systemd/ in the
// project has; on Windows a service, on macOS a launch agent.
package autostart

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"

	"github.com/kardianos/service"

	"linecamp/daemon/config"
)

// ErrNoManager: nothing on this computer can start the service by itself.
var ErrNoManager = errors.New("nothing here can start the service by itself")

// Report is how the service stands with the service manager.
type Report struct {
	Manager   string `json:"manager"`
	Did       string `json:"did,omitempty"` // Installed or Removed
	Installed bool   `json:"installed"`
	Running   bool   `json:"running"`
	File      string `json:"file,omitempty"` // that tells the manager of it
	Lingers   bool   `json:"runs_without_login"`
}

// What was done.
const (
	Installed = "installed"
	Removed   = "removed"
)

// Wants reports whether the service does not run.
func (r Report) Wants() bool { return r.Did != Removed && !r.Running }

const name = "linecamp"

// Install has the service started from now on, with the settings that flag finds, and
// starts it.
func Install(flag string) (Report, error) {
	s, r, err := manager(flag)
	switch {
	case err != nil:
		return r, err
	case r.Installed:
		return r, fmt.Errorf("the service is installed already, as %s; to install it anew, run `linecamp service remove` before", r.File)
	}
	if all, faults := config.LoadFrom(flag); len(all) == 0 {
		return r, fmt.Errorf("there is nothing to run yet: %w", errors.Join(faults...))
	}
	if err := s.Install(); err != nil {
		if r.File != "" {
			_ = os.Remove(r.File) // or nobody could install it again
		}
		return r, fmt.Errorf("%s did not take the service: %w", r.Manager, err)
	}
	if err := s.Start(); err != nil {
		return r, fmt.Errorf("the service is installed, and %s could not start it: %w", r.Manager, err)
	}
	r, err = stand(s, r)
	r.Did = Installed
	return r, err
}

// Remove stops the service and takes it from the service manager. Settings, state and
// copies stay.
func Remove(flag string) (Report, error) {
	s, r, err := manager(flag)
	switch {
	case err != nil:
		return r, err
	case !r.Installed:
		return r, errors.New("no service is installed here by `linecamp service install`")
	}
	_ = s.Stop() // it may have stopped by itself
	if err := s.Uninstall(); err != nil {
		return r, fmt.Errorf("%s did not let the service go: %w", r.Manager, err)
	}
	return Report{Manager: r.Manager, Did: Removed}, nil
}

// Look says how the service stands.
func Look(flag string) (Report, error) {
	s, r, err := manager(flag)
	if err != nil || !r.Installed {
		return r, err
	}
	return stand(s, r)
}

// stand asks the manager.
func stand(s service.Service, r Report) (Report, error) {
	is, err := s.Status()
	r.Installed, r.Running = !errors.Is(err, service.ErrNotInstalled), is == service.StatusRunning
	return r, nil
}

// manager is the service manager, and the service as it would know it.
func manager(flag string) (service.Service, Report, error) {
	program, err := os.Executable()
	if err != nil {
		return nil, Report{}, err
	}
	if program, err = filepath.EvalSymlinks(program); err != nil {
		return nil, Report{}, err
	}
	args := []string{"daemon"}
	if flag != "" || os.Getenv("LINECAMP_CONFIG") != "" || runtime.GOOS == "windows" {
		settings, err := filepath.Abs(config.Find(flag))
		if err != nil {
			return nil, Report{}, err
		}
		args = append(args, "--config", settings)
	}
	state, err := config.StateBase()
	if err != nil {
		return nil, Report{}, err
	}
	c := &service.Config{
		Name: name, DisplayName: name, Description: "Keeps the copies of photo-monitoring archives",
		Executable: program, Arguments: args, Option: service.KeyValue{},
		EnvVars: map[string]string{"STATE_DIRECTORY": state},
	}
	return platform(c)
}

// runner is the service as a manager calls it that starts programs in its own way.
type runner struct {
	ctx    context.Context
	work   func(context.Context) error
	cancel context.CancelFunc
	done   chan error
}

func (r *runner) Start(service.Service) error {
	var ctx context.Context
	ctx, r.cancel = context.WithCancel(r.ctx)
	r.done = make(chan error, 1)
	go func() { r.done <- r.work(ctx) }()
	return nil
}

func (r *runner) Stop(service.Service) error {
	r.cancel()
	return <-r.done
}

// Run does the work until its context ends or the service manager says stop.
func Run(ctx context.Context, work func(context.Context) error) error {
	if runtime.GOOS != "windows" || service.Interactive() {
		return work(ctx)
	}
	s, err := service.New(&runner{ctx: ctx, work: work}, &service.Config{Name: name})
	if err != nil {
		return err
	}
	return s.Run()
}
