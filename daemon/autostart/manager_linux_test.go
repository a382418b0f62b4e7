package autostart

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/kardianos/service"
)

// person has a home, settings, and a systemd that notes what it is asked.
func person(t *testing.T) (home string, asked func() string) {
	t.Helper()
	home = t.TempDir()
	write := func(name, text string, mode os.FileMode) {
		t.Helper()
		if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(name, []byte(text), mode); err != nil {
			t.Fatal(err)
		}
	}
	t.Setenv("HOME", home)
	t.Setenv("XDG_CONFIG_HOME", "")
	t.Setenv("XDG_STATE_HOME", "")
	t.Setenv("STATE_DIRECTORY", "")
	t.Setenv("LINECAMP_CONFIG", filepath.Join(home, `my "settings" 100% $HOME`))
	write(filepath.Join(home, `my "settings" 100% $HOME`, "saltbush-draw.toml"), "archive = 'saltbush-draw'\nfolder = 'field'\n", 0o644)
	write(filepath.Join(home, "bin", "systemctl"), `#!/bin/sh
echo "$@" >>"$HOME/asked"
[ ! -e "$HOME/refuses" ] || exit 1
case "$*" in *is-active*) if [ -e "$HOME/runs" ]; then echo active; else echo inactive; exit 3; fi ;;
start*) touch "$HOME/runs" ;; stop*) rm -f "$HOME/runs" ;; *list-unit-files*) echo linecamp.service ;; esac
`, 0o755)
	t.Setenv("PATH", filepath.Join(home, "bin")+":"+os.Getenv("PATH"))
	was, linger := booted, lingers
	booted, lingers = home, home
	t.Cleanup(func() { booted, lingers = was, linger })
	return home, func() string {
		b, _ := os.ReadFile(filepath.Join(home, "asked"))
		return string(b)
	}
}

func TestServiceIsInstalledAndRemoved(t *testing.T) {
	home, asked := person(t)
	if r, err := Look(""); err != nil || r.Installed || r.Running {
		t.Fatalf("before: %+v, %v", r, err)
	}
	if _, err := Remove(""); err == nil {
		t.Error("what is not there was removed")
	}
	r, err := Install("")
	if err != nil || r.Did != Installed || !r.Installed || !r.Running || r.Wants() {
		t.Fatalf("installed: %+v, %v\n%s", r, err, asked())
	}
	file := filepath.Join(home, ".config", "systemd", "user", "linecamp.service")
	unit, err := os.ReadFile(file)
	if err != nil || r.File != file {
		t.Fatalf("the unit is not in %s: %v", r.File, err)
	}
	program, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	if want := `ExecStart="` + program + `" daemon --program-on-drives "--config" "` + home + `/my \"settings\" 100%% $$HOME"` + "\n"; !strings.Contains(string(unit), want) {
		t.Errorf("the unit lacks %s:\n%s", want, unit)
	}
	for _, want := range []string{"enable --user linecamp.service", "daemon-reload --user", "start --user linecamp.service"} {
		if !strings.Contains(asked(), want) {
			t.Errorf("systemd was not asked to %s:\n%s", want, asked())
		}
	}
	// systemd's own reader accepts it.
	if analyze, err := exec.LookPath("systemd-analyze"); err == nil {
		cmd := exec.Command(analyze, "--user", "--man=no", "verify", file)
		cmd.Env = append(os.Environ(), "XDG_RUNTIME_DIR="+home)
		if said, err := cmd.CombinedOutput(); err != nil || len(said) > 0 {
			t.Errorf("systemd-analyze verify says: %s, %v", said, err)
		}
	}
	if _, err := Install(""); err == nil || !strings.Contains(err.Error(), "installed already") {
		t.Errorf("installed twice: %v", err)
	}
	if err := os.Remove(filepath.Join(home, "runs")); err != nil {
		t.Fatal(err)
	}
	if r, err := Look(""); err != nil || !r.Installed || r.Running || !r.Wants() {
		t.Errorf("after it stopped: %+v, %v", r, err)
	}
	if r, err := Remove(""); err != nil || r.Did != Removed || r.Wants() {
		t.Errorf("removed: %+v, %v", r, err)
	}
	if _, err := os.Lstat(file); !errors.Is(err, os.ErrNotExist) {
		t.Error("the unit is still there")
	}
}

// What systemd refuses leaves no unit behind that keeps it from being installed later.
func TestRefusedServiceLeavesNothing(t *testing.T) {
	home, _ := person(t)
	refuses := filepath.Join(home, "refuses")
	if err := os.WriteFile(refuses, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := Install(""); err == nil {
		t.Fatal("it is installed")
	}
	if err := os.Remove(refuses); err != nil {
		t.Fatal(err)
	}
	if _, err := Install(""); err != nil {
		t.Errorf("later: %v", err)
	}
}

func TestWithoutSettingsOrSystemdItSaysWhatToDo(t *testing.T) {
	home, _ := person(t)
	if _, err := Install(filepath.Join(home, "none")); err == nil || !strings.Contains(err.Error(), "linecamp setup") {
		t.Errorf("without settings: %v", err)
	}
	booted = filepath.Join(home, "none")
	for _, do := range []func(string) (Report, error){Install, Remove, Look} {
		if _, err := do(""); !errors.Is(err, ErrNoManager) || !strings.Contains(err.Error(), " daemon --config ") {
			t.Errorf("without systemd: %v", err)
		}
	}
}

func TestUnitTakesNoSecondLine(t *testing.T) {
	for _, bad := range []string{"/a\nExecStartPre=/bin/evil", "/{{Name}}"} {
		if unit, err := unitFor(&service.Config{Executable: "/usr/bin/linecamp", Arguments: []string{"daemon", "--config", bad}}, ""); err == nil {
			t.Errorf("%q made the unit\n%s", bad, unit)
		}
	}
	unit, err := unitFor(&service.Config{Executable: "/opt/line camp/linecamp", Arguments: []string{"daemon"}}, "/srv/$state")
	if err != nil || !strings.Contains(unit, "\nExecStart=\"/opt/line camp/linecamp\" daemon --program-on-drives\nEnvironment=\"XDG_STATE_HOME=/srv/$state\"\n") {
		t.Errorf("%v:\n%s", err, unit)
	}
}
