//go:build unix

package tally

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// makeSpecial puts a named pipe, which would block whoever opens it.
func makeSpecial(t *testing.T, path string) bool {
	if err := unix.Mkfifo(path, 0o644); err != nil {
		t.Fatal(err)
	}
	return true
}

// cpuTime is the processor time this program has used.
func cpuTime() time.Duration {
	var r unix.Rusage
	if unix.Getrusage(unix.RUSAGE_SELF, &r) != nil {
		return 0
	}
	return time.Duration(r.Utime.Nano() + r.Stime.Nano())
}

// TestUnreadable: a file and a folder that permissions close. They do not bind
// root, for whom the test runs itself again as a user without rights.
func TestUnreadable(t *testing.T) {
	if os.Getuid() != 0 {
		testUnreadable(t)
		return
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(self)
	if err != nil {
		t.Fatal(err)
	}
	// The user must reach the program and a folder to work in.
	dir, err := os.MkdirTemp("/tmp", "tally-nobody-")
	if err != nil {
		t.Fatal(err)
	}
	defer os.RemoveAll(dir)
	prog := filepath.Join(dir, "tally.test")
	if err := os.WriteFile(prog, b, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(dir, 0o777); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(prog, "-test.run=^TestUnreadable$", "-test.v")
	cmd.Dir = dir
	cmd.Env = append(os.Environ(), "TMPDIR="+dir)
	const nobody = 65534
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: nobody, Gid: nobody}}
	out, err := cmd.CombinedOutput()
	if err != nil || !strings.Contains(string(out), "--- PASS: TestUnreadable") {
		t.Errorf("as a user without rights: %v\n%s", err, out)
	}
}

func testUnreadable(t *testing.T) {
	root := tree(t, map[string]string{"W/2019/a.jpg": "", "W/2019/b.jpg": "", "W/2018/c.jpg": "", "W/n.txt": ""})
	m := newMemory()
	read(t, Options{Folder: root, Cache: m})
	chmod := func(p string, mode os.FileMode) {
		if err := os.Chmod(filepath.Join(root, p), mode); err != nil {
			t.Fatal(err)
		}
	}
	chmod("W/2019/a.jpg", 0)
	chmod("W/2018", 0)
	defer chmod("W/2018", 0o755)
	r := read(t, Options{Folder: root, Cache: m})
	wantWhere(t, r, map[string]string{"W/2019/a.jpg": "waiting", "W/2019/b.jpg": "/W@2019", "W/2018": "waiting", "W/n.txt": "/W@"})
	if !equal(r.Unlisted, []string{"W/2018"}) {
		t.Errorf("unlisted %q", r.Unlisted)
	}
	if len(m.folders["W/2018"]) != 1 {
		t.Errorf("what is known of a folder that cannot be listed was forgotten")
	}
	for _, w := range r.Waiting {
		if !strings.Contains(w.Reason, "permission denied") {
			t.Errorf("%s: %s", w.Path, w.Reason)
		}
	}
	// A folder that cannot be listed still says that its parent is a site.
	chmod("W/2019", 0)
	defer chmod("W/2019", 0o755)
	if w := where(read(t, Options{Folder: root, Cache: m}))["W/n.txt"]; len(w) != 1 || w[0] != "/W@" {
		t.Errorf("the site's note is at %q", w)
	}
	// An unchanged file is not opened: one that nobody may read any more is
	// taken from the cache once that knows of its new change time.
	chmod("W/2019", 0o755)
	chmod("W/2019/b.jpg", 0)
	var st unix.Stat_t
	if err := unix.Lstat(filepath.Join(root, "W/2019/b.jpg"), &st); err != nil {
		t.Fatal(err)
	}
	m.folders["W/2019"][0].Changed = time.Unix(st.Ctim.Unix())
	r = read(t, Options{Folder: root, Cache: m})
	if w := where(r)["W/2019/b.jpg"]; len(w) != 1 || w[0] != "/W@2019" || r.HashedFiles != 0 {
		t.Errorf("the unchanged file is at %q, %d files were read", w, r.HashedFiles)
	}
}
