//go:build unix

package words

import (
	"os/exec"
	"strings"
	"testing"
	"unicode"

	"pgregory.net/rapid"
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

// TestQuoteAnyBytes lets bash, which has $'…', take any word apart again, and sees
// to it that nothing is written that does not print.
func TestQuoteAnyBytes(t *testing.T) {
	bash, err := exec.LookPath("bash")
	if err != nil {
		t.Fatal("bash is needed for this test: ", err)
	}
	rapid.Check(t, func(t *rapid.T) {
		word := string(rapid.SliceOfN(rapid.OneOf(rapid.ByteRange(1, 255), rapid.SampledFrom([]byte("'\\\"$a0 \x1b\n"))), 0, 12).Draw(t, "word"))
		quoted := quoteUnix(word)
		if strings.ContainsFunc(quoted, func(c rune) bool { return !unicode.IsPrint(c) }) {
			t.Fatalf("%q does not print", quoted)
		}
		got, err := exec.Command(bash, "-c", "printf %s "+quoted).Output()
		if err != nil || string(got) != word {
			t.Fatalf("%s: %v, %q is not %q", quoted, err, got, word)
		}
	})
}
