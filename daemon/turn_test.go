package daemon

import (
	"context"
	"errors"
	"os"
	"os/exec"
	"testing"
	"time"
)

func someTurns(t *testing.T) turns { return turns{dir: t.TempDir(), log: quiet()} }

// A mirror round that waits for a copy gets it before the verification that
// gave it back does.
func TestMirrorGoesBeforeVerify(t *testing.T) {
	tu := someTurns(t)
	ctx := t.Context()
	leave, err := tu.copy(ctx, "shelf", "1") // the verification, at its first object
	if err != nil {
		t.Fatal(err)
	}
	order := make(chan string, 2)
	inGate := make(chan struct{})
	go func() {
		pass, err := tu.take(ctx, "copy-1.gate", "") // what copy does first
		if err != nil {
			t.Error(err)
			return
		}
		close(inGate)
		release, err := tu.take(ctx, "copy-1.lock", "")
		if err != nil {
			t.Error(err)
			return
		}
		order <- "mirror"
		pass()
		release()
	}()
	<-inGate
	again := make(chan struct{})
	go func() {
		leave()
		release, err := tu.copy(ctx, "shelf", "1") // its second object
		if err != nil {
			t.Error(err)
			return
		}
		order <- "verify"
		release()
		close(again)
	}()
	<-again
	if first, second := <-order, <-order; first != "mirror" || second != "verify" {
		t.Errorf("first came %s, then %s", first, second)
	}
}

func TestWaitingForATurnEnds(t *testing.T) {
	tu := someTurns(t)
	leave, err := tu.author(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	got := make(chan error)
	go func() {
		_, err := tu.author(ctx)
		got <- err
	}()
	cancel()
	if err := <-got; !errors.Is(err, context.Canceled) {
		t.Errorf("waiting ended with %v", err)
	}
	leave()
	// The turn that nobody waited for any more is given back.
	leave, err = tu.author(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	leave()
}

// Turns hold between processes, and a process that is killed leaves none
// behind.
func TestTurnsBetweenProcesses(t *testing.T) {
	if dir := os.Getenv("LINECAMP_TEST_TURN"); dir != "" {
		if _, err := (turns{dir: dir, log: quiet()}).author(context.Background()); err != nil {
			t.Fatal(err)
		}
		os.Stdout.WriteString("taken\n")
		select {} // until killed
	}
	tu := someTurns(t)
	other := exec.Command(os.Args[0], "-test.run=^TestTurnsBetweenProcesses$")
	other.Env = append(os.Environ(), "LINECAMP_TEST_TURN="+tu.dir)
	out, err := other.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := other.Start(); err != nil {
		t.Fatal(err)
	}
	defer other.Process.Kill()
	if _, err := out.Read(make([]byte, 6)); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 300*time.Millisecond)
	defer cancel()
	if _, err := tu.author(ctx); !errors.Is(err, context.DeadlineExceeded) {
		t.Fatalf("two processes have the turn at once (%v)", err)
	}
	other.Process.Kill()
	other.Wait()
	leave, err := tu.author(t.Context())
	if err != nil {
		t.Fatalf("the turn of a killed process is not free: %v", err)
	}
	leave()
}
