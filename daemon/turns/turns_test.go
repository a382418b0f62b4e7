package turns

import (
	"context"
	"errors"
	"log/slog"
	"os"
	"os/exec"
	"testing"
	"time"
)

func someTurns(t *testing.T) Turns {
	return Turns{dir: t.TempDir(), log: slog.New(slog.DiscardHandler), patience: 10 * time.Millisecond}
}

// A mirror round that waits for a copy gets it before the verification that
// gave it back does, and the verification learns of it.
func TestMirrorGoesBeforeVerify(t *testing.T) {
	tu := someTurns(t)
	ctx := t.Context()
	stay, err := tu.Visit(ctx, "shelf", "1")
	if err != nil {
		t.Fatal(err)
	}
	stay.every = 0
	if changed, err := stay.Yield(ctx); changed || err != nil {
		t.Errorf("nobody was there, and yield says %v, %v", changed, err)
	}
	var order []string // written by whoever has the copy
	inGate, done := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		// What toWrite does, with a signal between the gate and the copy.
		pass, err := tu.take(ctx, "copy-1.gate", "")
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
		pass()
		if err := os.WriteFile(tu.mark("1"), []byte("mirror"), 0o600); err != nil {
			t.Error(err)
		}
		order = append(order, "mirror")
		release()
	}()
	<-inGate
	changed, err := stay.Yield(ctx)
	if !changed || err != nil {
		t.Errorf("a mirror round was there, and yield says %v, %v", changed, err)
	}
	<-done
	order = append(order, "verify")
	stay.Leave()
	if order[0] != "mirror" {
		t.Errorf("the order was %v", order)
	}
	release, err := tu.ToWrite(ctx, "shelf", "1")
	if err != nil {
		t.Fatal(err)
	}
	release()
	if tu.marked("1") == "mirror" {
		t.Error("toWrite leaves no mark")
	}
}

func TestWaitingForATurnEnds(t *testing.T) {
	tu := someTurns(t)
	leave, err := tu.Author(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	got := make(chan error)
	go func() {
		_, err := tu.Author(ctx)
		got <- err
	}()
	cancel()
	if err := <-got; !errors.Is(err, context.Canceled) {
		t.Errorf("waiting ended with %v", err)
	}
	leave()
	// The turn that nobody waited for any more is given back.
	leave, err = tu.Author(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	leave()
}

// Turns hold between processes, and a process that is killed leaves none
// behind.
func TestTurnsBetweenProcesses(t *testing.T) {
	if dir := os.Getenv("LINECAMP_TEST_TURN"); dir != "" {
		if _, err := (Turns{dir: dir, log: slog.New(slog.DiscardHandler), patience: time.Hour}).Author(context.Background()); err != nil {
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
	if _, err := tu.Author(ctx); !errors.Is(err, context.DeadlineExceeded) {
		t.Fatalf("two processes have the turn at once (%v)", err)
	}
	other.Process.Kill()
	other.Wait()
	leave, err := tu.Author(t.Context())
	if err != nil {
		t.Fatalf("the turn of a killed process is not free: %v", err)
	}
	leave()
}

// A round that writes may take days over a slow line: another does not wait for
// it. A verification makes room soon, and is waited for.
func TestWritersDoNotWaitForWriters(t *testing.T) {
	tu := someTurns(t)
	leave, err := tu.ToWrite(t.Context(), "bucket", "1")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := tu.ToWrite(t.Context(), "bucket", "1"); !errors.Is(err, ErrCatchingUp) {
		t.Errorf("the second round got %v", err)
	}
	leave()
	stay, err := tu.Visit(t.Context(), "bucket", "1")
	if err != nil {
		t.Fatal(err)
	}
	got := make(chan error, 1)
	told := make(chan struct{})
	tu.log = slog.New(slog.NewTextHandler(signals{told}, nil))
	go func() {
		leave, err := tu.ToWrite(t.Context(), "bucket", "1")
		if err == nil {
			leave()
		}
		got <- err
	}()
	<-told // its patience is over, and it waits on
	select {
	case err := <-got:
		t.Errorf("with a verification there, the round got %v", err)
	default:
	}
	stay.Leave()
	if err := <-got; err != nil {
		t.Errorf("after the verification, the round got %v", err)
	}
}

// signals closes its channel at the first write.
type signals struct{ first chan struct{} }

func (s signals) Write(p []byte) (int, error) {
	select {
	case <-s.first:
	default:
		close(s.first)
	}
	return len(p), nil
}
