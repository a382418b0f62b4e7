package main

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"strings"

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

// asks puts a question that is answered with yes or no. Whatever is not a yes is a no.
func (t *tool) asks(ctx context.Context, question string) (isYes bool, err error) {
	fmt.Fprintf(t.errs, "\n%s (yes or no) ", question)
	answer, err := answered(ctx, t, func() (string, error) { return bufio.NewReader(t.in).ReadString('\n') })
	if ctx.Err() != nil {
		return false, ctx.Err()
	}
	answer = strings.ToLower(strings.TrimSpace(answer))
	if err != nil && answer == "" {
		fmt.Fprintln(t.errs)
	}
	return answer == "y" || answer == "yes", nil
}
