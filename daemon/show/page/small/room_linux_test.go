//go:build linux

package small

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// A telephone's picture of 24 million pixels is made small in far less than the page
// may use altogether.
func TestATelephonesPictureIsMadeSmallInLittleMemory(t *testing.T) {
	dir, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", "github.com/bep/imagemeta").Output()
	if err != nil {
		t.Fatal(err)
	}
	raw, err := os.ReadFile(filepath.Join(strings.TrimSpace(string(dir)), "testdata", "images", "iphone.heic"))
	if err != nil {
		t.Fatal(err)
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(self)
	cmd.Env = []string{childEnv + "=320,1600"}
	cmd.Stdin = bytes.NewReader(raw)
	out, err := cmd.Output()
	if err != nil || len(out) < 50_000 {
		t.Fatalf("%d bytes, %v", len(out), err)
	}
	if peak := cmd.ProcessState.SysUsage().(*syscall.Rusage).Maxrss; peak > 225<<10 {
		t.Errorf("it took %d MiB", peak>>10)
	} else {
		t.Logf("it took %d MiB", peak>>10)
	}
}

func TestTheDecodersMemoryGrowsInPlaceAndIsBounded(t *testing.T) {
	all, err := reserve(1 << 20)
	if err != nil {
		t.Fatal(err)
	}
	few := room(all).Reallocate(1 << 16)
	few[9] = 7
	more := room(all).Reallocate(1 << 20)
	if len(few) != 1<<16 || len(more) != 1<<20 || &few[0] != &more[0] || more[9] != 7 {
		t.Error("it moved")
	}
	if room(all).Reallocate(1<<20+1) != nil {
		t.Error("it grew beyond its bound")
	}
}
