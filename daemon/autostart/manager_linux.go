package autostart

import (
	"fmt"
	"os"
	"os/user"
	"path/filepath"
	"regexp"
	"strings"

	"github.com/kardianos/service"

	"linecamp/manifest"
	"linecamp/manifest/words"
	"linecamp/systemd"
)

// Where systemd says that it runs (sd_booted(3)), and who has it run without login.
var (
	booted  = "/run/systemd/system"
	lingers = "/var/lib/systemd/linger"
)

// platform is the person's own systemd.
func platform(c *service.Config) (service.Service, Report, error) {
	r := Report{Manager: "systemd"}
	if _, err := os.Stat(booted); err != nil {
		return nil, r, fmt.Errorf("%w: no systemd runs on this computer. Have whatever starts programs here run this, always and as you: %s",
			ErrNoManager, command(append([]string{c.Executable}, c.Arguments...)))
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return nil, r, err
	}
	r.File = filepath.Join(home, ".config", "systemd", "user", name+".service")
	if _, err := os.Lstat(r.File); err == nil {
		r.Installed = true
	}
	if u, err := user.Current(); err == nil {
		_, err := os.Stat(filepath.Join(lingers, u.Username))
		r.Lingers = err == nil
	}
	unit, err := unitFor(c, os.Getenv("XDG_STATE_HOME"))
	if err != nil {
		return nil, r, err
	}
	c.Option["UserService"], c.Option["SystemdScript"] = true, unit
	for _, s := range service.AvailableSystems() {
		if s.String() == "linux-systemd" {
			made, err := s.New(&runner{}, c)
			return made, r, err
		}
	}
	return nil, r, ErrNoManager
}

var start = regexp.MustCompile(`(?m)^ExecStart=\S+ daemon(.*)$`)

// unitFor is the unit of systemd/, which starts this program with these settings.
func unitFor(c *service.Config, stateHome string) (string, error) {
	was := start.FindStringSubmatch(systemd.User)
	if was == nil {
		return "", fmt.Errorf("%w: the unit does not say how the service is started", ErrNoManager)
	}
	words := append([]string{c.Executable}, c.Arguments...)
	for _, w := range append(words, stateHome) {
		if strings.Contains(w, "{{") || strings.ContainsAny(w, "\r\n") {
			return "", fmt.Errorf("no unit can be written with the name %s in it", manifest.Printable(w))
		}
	}
	line := "ExecStart=" + quoted(c.Executable) + " daemon" + was[1]
	for _, a := range c.Arguments[1:] {
		line += " " + quoted(a)
	}
	if stateHome != "" {
		line += "\nEnvironment=" + strings.ReplaceAll(quoted("XDG_STATE_HOME="+stateHome), "$$", "$")
	}
	return strings.Replace(systemd.User, was[0], line, 1), nil
}

// quoted is one word of a unit's command line (systemd.service(5), "Command lines"),
// with % and $ doubled, which would stand for something else.
func quoted(s string) string {
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`, "%", "%%", "$", "$$").Replace(s) + `"`
}

// command is a command line for a shell.
func command(args []string) string {
	quoted := make([]string, len(args))
	for i, a := range args {
		quoted[i] = words.Quote(a)
	}
	return strings.Join(quoted, " ")
}
