package main

import (
	"flag"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

var update = flag.Bool("update", false, "write what the scripts' comparisons found into the scripts")

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"linecamp": main})
}

// TestScripts runs the program as a person would: every command, and every way
// of getting it wrong, each told by a script in testdata.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata",
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		UpdateScripts:       *update,
		Setup:               ownHome,
		Condition:           condition,
		Cmds:                commands,
	})
}

// ownHome gives each script a home of its own, so that no settings and no
// state of this machine or another script are in reach.
func ownHome(env *testscript.Env) error {
	home := filepath.Join(env.WorkDir, "home")
	source, err := filepath.Abs(filepath.Join("..", ".."))
	if err != nil {
		return err
	}
	env.Setenv("SOURCE", source)
	env.Setenv("HOME", home)
	env.Setenv("USERPROFILE", home)
	env.Setenv("AppData", filepath.Join(home, "settings"))
	env.Setenv("LocalAppData", filepath.Join(home, "state"))
	env.Setenv("XDG_CONFIG_HOME", filepath.Join(home, "settings"))
	env.Setenv("XDG_STATE_HOME", filepath.Join(home, "state"))
	env.Setenv("XDG_CACHE_HOME", filepath.Join(home, "cache"))
	env.Setenv("TZ", "America/Denver")
	env.Setenv("LC_ALL", "C")
	env.Setenv("LINECAMP_CONFIG", filepath.Join(home, "settings", "linecamp"))
	return os.MkdirAll(home, 0o755)
}

// condition answers what a script asks about the machine.
func condition(name string) (bool, error) {
	switch name {
	case "root": // may read and write everything, whatever its mode
		return os.Geteuid() == 0, nil
	case "mounts": // a file system can be mounted
		if os.Geteuid() != 0 || runtime.GOOS != "linux" {
			return false, nil
		}
		return canMount(), nil
	case "s3server": // a real S3 server is at hand
		return os.Getenv("LINECAMP_S3SERVER") != "", nil
	}
	return false, errUnknownCondition(name)
}

type errUnknownCondition string

func (e errUnknownCondition) Error() string { return "no such condition: " + string(e) }

func canMount() bool {
	dir, err := os.MkdirTemp("", "")
	if err != nil {
		return false
	}
	defer os.Remove(dir)
	if exec.Command("mount", "-t", "tmpfs", "tmpfs", dir).Run() != nil {
		return false
	}
	return exec.Command("umount", dir).Run() == nil
}
