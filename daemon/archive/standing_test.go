package archive

import (
	"os"
	"path/filepath"
	"testing"
)

// A look keeps what it saw, but not where a round began, failed or found damage meanwhile.
func TestALookKeepsNothingOnceThereIsDoubt(t *testing.T) {
	a := &Archive{Dir: t.TempDir()}
	first, second := a.BeginLook(), a.BeginLook()
	if err := first.Keep([]byte("well")); err != nil {
		t.Fatal(err)
	}
	first.End()
	if b, err := Standing(a.Dir); err != nil || string(b) != "well" {
		t.Fatalf("kept is %q, %v", b, err)
	}
	a.Doubt()
	if err := second.Keep([]byte("as it was before")); err != nil {
		t.Fatal(err)
	}
	second.End()
	if b, err := Standing(a.Dir); err == nil {
		t.Errorf("after the doubt %q is kept", b)
	}
	third := a.BeginLook()
	if err := third.Keep([]byte("well again")); err != nil {
		t.Fatal(err)
	}
	third.End()
	if b, _ := Standing(a.Dir); string(b) != "well again" {
		t.Errorf("kept is %q", b)
	}
	a.BeginLook().End()
	a.BeginLook() // of a process that was killed
	a.Doubt()
	if left, _ := filepath.Glob(filepath.Join(a.Dir, "*")); len(left) > 0 {
		t.Errorf("left is %v", left)
	}
	if err := os.RemoveAll(a.Dir); err != nil {
		t.Fatal(err)
	}
	l := a.BeginLook() // a folder that takes nothing
	l.End()
	if err := l.Keep(nil); err != nil {
		t.Error(err)
	}
}
