//go:build !linux

package autostart

import (
	"errors"
	"os"
	"path/filepath"
	"runtime"

	"github.com/kardianos/service"
)

// platform is the service manager of Windows, or the launch agents of macOS.
func platform(c *service.Config) (service.Service, Report, error) {
	r := Report{Manager: service.Platform(), Lingers: runtime.GOOS == "windows"}
	if r.Manager == "" {
		return nil, r, ErrNoManager
	}
	if runtime.GOOS == "darwin" {
		c.Option["UserService"], c.Option["RunAtLoad"] = true, true
		if home, err := os.UserHomeDir(); err == nil {
			r.File = filepath.Join(home, "Library", "LaunchAgents", name+".plist")
		}
	}
	c.Option["DelayedAutoStart"], c.Option["OnFailure"] = true, "restart"
	s, err := service.New(&runner{}, c)
	if err != nil {
		return nil, r, err
	}
	_, err = s.Status()
	r.Installed = !errors.Is(err, service.ErrNotInstalled)
	if !r.Installed || runtime.GOOS == "windows" {
		r.File = ""
	}
	return s, r, nil
}
