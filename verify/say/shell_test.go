//go:build unix

package say

import (
	"os/exec"
	"strings"
	"testing"
)

// TestRun lets a shell take the command lines apart again.
func TestRun(t *testing.T) {
	l := Line{Config: "my settings/a.toml", Archive: "draw"}
	words := []string{"restore", "O'Hara's/Stake 3", "--into", "/srv/$HOME `x`", "*", `back\slash`, ""}
	got, err := exec.Command("sh", "-c", strings.Replace(l.Run(words...), "linecamp", `printf '%s\n'`, 1)).Output()
	want := strings.Join(append(words, "--archive", "draw", "--config", "my settings/a.toml"), "\n") + "\n"
	if err != nil || string(got) != want {
		t.Fatalf("%s: %v\n%s", l.Run(words...), err, got)
	}
}
