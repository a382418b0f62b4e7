package service

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// The units are checked by systemd's own reader, systemd-analyze(1). It also
// wants the program to be there, so the copy it checks names this test.
func TestUnits(t *testing.T) {
	analyze, err := exec.LookPath("systemd-analyze")
	if err != nil {
		t.Skip("NOT CHECKED: systemd-analyze is not installed")
	}
	program, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	start := regexp.MustCompile(`(?m)^ExecStart=\S+/linecamp daemon --program-on-drives$`)
	check := func(t *testing.T, unit []byte, args ...string) string {
		dir := t.TempDir()
		file := filepath.Join(dir, "linecamp.service")
		if err := os.WriteFile(file, unit, 0o644); err != nil {
			t.Fatal(err)
		}
		cmd := exec.Command(analyze, append(args, "--man=no", "verify", file)...)
		cmd.Env = append(os.Environ(), "XDG_RUNTIME_DIR="+dir, "HOME="+dir)
		out, err := cmd.CombinedOutput()
		if err != nil {
			return strings.TrimSpace(string(out) + " " + err.Error())
		}
		return strings.TrimSpace(string(out))
	}
	for name, args := range map[string][]string{
		"linecamp.service":      nil,
		"linecamp-user.service": {"--user"},
	} {
		t.Run(name, func(t *testing.T) {
			unit, err := os.ReadFile(filepath.Join("..", "..", "systemd", name))
			if err != nil {
				t.Fatal(err)
			}
			if !start.Match(unit) {
				t.Fatal("the unit does not start linecamp daemon")
			}
			unit = start.ReplaceAll(unit, []byte("ExecStart="+program+" daemon"))
			if said := check(t, unit, args...); said != "" {
				t.Errorf("systemd-analyze verify says:\n%s", said)
			}
			// It must be able to say no.
			bad := strings.Replace(string(unit), "WatchdogSec=", "WatchdogSeconds=", 1)
			if said := check(t, []byte(bad), args...); said == "" {
				t.Error("systemd-analyze verify accepts an unknown key")
			}
		})
	}
}
