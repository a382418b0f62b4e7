package main

import (
	"context"
	"io"
	"path/filepath"
	"strings"
	"testing"
)

// asked is a screen that calls when a question stands on it.
type asked struct {
	text strings.Builder
	when func()
}

func (a *asked) Write(b []byte) (int, error) {
	a.text.Write(b)
	if strings.Contains(string(b), "?") {
		a.when()
	}
	return len(b), nil
}

// Ctrl-C at a question ends setup, though no answer ever comes.
func TestCtrlCAtAQuestionEnds(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("HOME", dir)
	t.Setenv("XDG_CONFIG_HOME", filepath.Join(dir, "config"))
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	never, writer := io.Pipe()
	defer writer.Close()
	screen := &asked{when: stop}
	if status := run(ctx, []string{"setup"}, never, io.Discard, screen); status != exitFailed {
		t.Errorf("it ended with status %d", status)
	}
	if !strings.Contains(screen.text.String(), "stopped. ") {
		t.Errorf("it said %s", screen.text.String())
	}
}
