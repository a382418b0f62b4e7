//go:build !windows

package main

import (
	"context"
	"encoding/json"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"time"

	practice "linecamp/cmd/ranchdemo/ranch"
	"linecamp/manifest"
)

// recoveryKills is how often each recovery below is killed on the way.
const recoveryKills = 10

// The practice ranch comes back from the drive alone and from the bucket alone, on a real
// S3 server, killed ten times each at moments that nobody chose. In the end every file is
// there with its bytes and its time, the next round sends nothing and nothing waits, a
// check finds nothing, and the years are those of the machine that was lost.
func TestRecoveredThoughKilledAgainAndAgain(t *testing.T) {
	y := newYard(t)
	y.must(os.Remove(y.path("field")))
	if _, err := practice.New(7, time.Date(2014, 12, 1, 0, 0, 0, 0, time.UTC)).Draw(context.Background(), y.path("field")); err != nil {
		t.Fatal(err)
	}
	if out, status := y.run(y.setup...); status != 0 {
		t.Fatalf("setup: status %d\n%s", status, out)
	}
	if out, status := y.run("mirror", "--program-on-drives"); status != 0 {
		t.Fatalf("mirror: status %d\n%s", status, out)
	}
	years := y.years()
	lost := y.files("field")
	y.must(os.Rename(y.path("field"), y.path("burned")))
	y.must(os.Rename(y.path("shelf"), y.path("safe")))

	t.Run("drive", func(t *testing.T) {
		// A copy of the drive, since each machine in turn records on what it came from.
		y.must(os.CopyFS(y.path("drive"), os.DirFS(y.path("safe"))))
		n := y.newMachine(t, "from the drive", y.path("drive"))
		n.programFrom(y.path("drive/extensions/linecamp-program"))
		n.env = append(n.env, "AWS_ACCESS_KEY_ID=", "AWS_SECRET_ACCESS_KEY=")
		n.recovered(lost, years, "shelf")
	})
	t.Run("bucket", func(t *testing.T) {
		n := y.newMachine(t, "from the bucket", y.bucket())
		n.args = append(n.args, "--region", y.server.Region)
		n.refused("AWS_SECRET_ACCESS_KEY=wrong")
		n.recovered(lost, years, "bucket")
	})
}

// office is a machine that knows nothing yet.
type office struct {
	*yard
	home string
	args []string
}

func (y *yard) newMachine(t *testing.T, name, from string) *office {
	o := &office{yard: &yard{t: t, program: y.program, dir: y.dir, server: y.server, env: y.env}, home: y.path(name)}
	h := func(s string) string { return filepath.Join(o.home, s) }
	o.env = append(o.env[:len(o.env):len(o.env)], "HOME="+h("home"), "LINECAMP_CONFIG="+h("settings"), "XDG_CONFIG_HOME="+h("home/settings"), "XDG_STATE_HOME="+h("home/state"))
	o.args = []string{"new-machine", "--from", from, "--into", h("field"), "--first", "Windmill", "--yes"}
	return o
}

// refused asserts that wrong keys are said to be that, and that nothing is written.
func (o *office) refused(key string) {
	o.t.Helper()
	cmd, out := o.command(o.args...)
	cmd.Env = append(cmd.Env[:len(cmd.Env):len(cmd.Env)], key)
	cmd.Run()
	if cmd.ProcessState.ExitCode() != 1 || !strings.Contains(out.String(), "key") {
		o.t.Errorf("with wrong keys: status %d\n%s", cmd.ProcessState.ExitCode(), out)
	}
	if _, err := os.Stat(o.home); !os.IsNotExist(err) {
		o.t.Errorf("with wrong keys something was written: %v", err)
	}
}

// programFrom takes the program that a drive holds, as README.txt there says.
func (o *office) programFrom(folder string) {
	o.t.Helper()
	check := exec.Command("sha256sum", "-c", "SHA256SUMS")
	check.Dir = folder
	if out, err := check.CombinedOutput(); err != nil {
		o.t.Fatalf("%v: %s", err, out)
	}
	o.program = filepath.Join(o.t.TempDir(), "linecamp")
	b, err := os.ReadFile(filepath.Join(folder, "linecamp-"+runtime.GOOS+"-"+runtime.GOARCH))
	o.must(err)
	o.must(os.WriteFile(o.program, b, 0o777))
}

// recovered brings the machine back, killed again and again, and then asserts what the
// test above promises.
func (o *office) recovered(lost map[string]string, years, copyName string) {
	o.t.Helper()
	o.args = append(o.args, "--json")
	if first := o.siteName(); first != "" {
		o.args[6] = first
	}
	began := time.Now()
	if out, status := o.run(o.args...); status != 0 {
		o.t.Fatalf("status %d:\n%s", status, out)
	}
	usual := time.Since(began)
	o.must(os.RemoveAll(o.home))
	killed, ended := 0, 0
	for killed < recoveryKills {
		cmd, out := o.command(o.args...)
		o.must(cmd.Start())
		timer := time.AfterFunc(time.Duration(rand.Int64N(int64(usual))), func() { cmd.Process.Kill() })
		cmd.Wait()
		timer.Stop()
		if ws, ok := cmd.ProcessState.Sys().(syscall.WaitStatus); ok && ws.Signaled() && ws.Signal() == syscall.SIGKILL {
			killed++
			continue
		}
		status := cmd.ProcessState.ExitCode()
		switch {
		case status == 1 && strings.Contains(out.String(), "has settings on this computer"):
			o.isBack(lost, years, copyName) // the last kill came after the last step, before the program could say so
		case status != 0:
			o.t.Fatalf("a recovery that was not killed ended with status %d:\n%s", status, out)
		}
		if ended++; ended > 10*recoveryKills {
			o.t.Fatalf("%d recoveries ended before they were killed", ended)
		}
		o.must(os.RemoveAll(o.home)) // that machine burns too
	}
	out, status := o.run(o.args...)
	if status != 0 {
		o.t.Fatalf("status %d:\n%s", status, out)
	}
	o.t.Logf("%d kills, %d that ended before; uninterrupted it takes %v", killed, ended, usual.Round(time.Millisecond))
	o.isBack(lost, years, copyName)
}

// isBack asserts that the machine has everything and records, and that nothing is left
// to send or to mend.
func (o *office) isBack(lost map[string]string, years, copyName string) {
	o.t.Helper()
	got := o.files(filepath.Base(o.home) + "/field")
	for name, is := range lost {
		if got[name] != is {
			o.t.Errorf("%s is %s, and was %s", name, got[name], is)
		}
	}
	if len(got) != len(lost) {
		o.t.Errorf("%d files, want %d", len(got), len(lost))
	}
	var mirrored struct {
		Copies []struct {
			Copy, State     string
			Files, Versions int
		}
		Waiting []any
		Made    int `json:"versions_made"`
	}
	out, _ := o.run("mirror", "--json")
	o.must(json.Unmarshal([]byte(out), &mirrored))
	if mirrored.Made != 0 || len(mirrored.Waiting) != 0 || len(mirrored.Copies) != 2 {
		o.t.Errorf("the next round:\n%s", out)
	}
	for _, c := range mirrored.Copies {
		if c.Files+c.Versions != 0 || c.Copy == copyName && c.State != "current" {
			o.t.Errorf("the next round:\n%s", out)
		}
	}
	var checked struct {
		Copies []struct {
			Damage, Behind, Unfinished []any
			Files                      int
		}
	}
	out, _ = o.run("verify", "--copy", copyName, "--only", "rot", "--json")
	o.must(json.Unmarshal([]byte(out), &checked))
	if len(checked.Copies) != 1 || checked.Copies[0].Files == 0 || len(checked.Copies[0].Damage)+len(checked.Copies[0].Behind)+len(checked.Copies[0].Unfinished) > 0 {
		o.t.Errorf("the check:\n%s", out)
	}
	if now := o.years(); now != years {
		o.t.Errorf("the years are\n%s\nand were\n%s", now, years)
	}
}

// siteName is a site of the archive, as a person calls it.
func (o *office) siteName() string {
	for name := range o.files("burned") {
		if dir := filepath.Dir(filepath.Dir(name)); strings.Contains(dir, string(filepath.Separator)) {
			return filepath.ToSlash(dir)
		}
	}
	return ""
}

// years is what a check says of the years.
func (y *yard) years() string {
	y.t.Helper()
	out, status := y.run("verify", "--only", "years", "--json")
	var rep struct{ Years []json.RawMessage }
	if err := json.Unmarshal([]byte(out), &rep); err != nil || len(rep.Years) == 0 {
		y.t.Fatalf("verify: status %d, %v\n%s", status, err, out)
	}
	b, err := json.MarshalIndent(rep.Years, "", " ")
	y.must(err)
	return string(b)
}

// files are the files below a folder, each with its digest and its time.
func (y *yard) files(folder string) map[string]string {
	y.t.Helper()
	all := map[string]string{}
	root := y.path(folder)
	y.must(filepath.WalkDir(root, func(name string, e os.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		info, err := e.Info()
		if err != nil {
			return err
		}
		b, err := os.ReadFile(name)
		rel, _ := filepath.Rel(root, name)
		all[rel] = manifest.Sum(b).String() + " " + info.ModTime().UTC().Format(time.RFC3339Nano)
		return err
	}))
	return all
}
