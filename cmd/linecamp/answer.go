package main

import (
	"context"
	"os"

	"golang.org/x/term"
)

// answered waits for a person's answer, which may never come, or for ctx to end:
// Ctrl-C at a question ends the command at once. A terminal that was told to show
// nothing, for a key, is as before then.
func answered[T any](ctx context.Context, t *tool, ask func() (T, error)) (answer T, err error) {
	var restore func()
	if f, ok := t.in.(*os.File); ok {
		if was, err := term.GetState(int(f.Fd())); err == nil {
			restore = func() { term.Restore(int(f.Fd()), was) }
		}
	}
	type given struct {
		answer T
		err    error
	}
	done := make(chan given, 1)
	go func() {
		a, err := ask()
		done <- given{a, err}
	}()
	select {
	case g := <-done:
		return g.answer, g.err
	case <-ctx.Done():
		if restore != nil {
			restore()
		}
		return answer, ctx.Err()
	}
}
