package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"linecamp/daemon"
	"linecamp/daemon/newmachine"
	"linecamp/daemon/setup"
	show "linecamp/daemon/show/page"
	"linecamp/daemon/show/screen"
)

// The exit statuses, which scripts rely on.
const (
	exitWell   = 0 // all well
	exitFailed = 1 // the work could not be done
	exitUsage  = 2 // the command line asks for something that is not there
	exitWants  = 3 // finished, and something wants a person
)

// errWants ends a command that finished, where something wants a person. The
// report has said what; this only carries the exit status.
var errWants = errors.New("something needs a person")

// usageError marks a mistake on the command line.
type usageError struct{ err error }

func (u usageError) Error() string { return u.err.Error() }
func (u usageError) Unwrap() error { return u.err }

func usagef(format string, a ...any) error { return usageError{fmt.Errorf(format, a...)} }

// asUsage marks the errors of the rooms below that mean the command line asked
// for something that is not there or cannot be had.
func asUsage(err error) error {
	if daemon.IsAskedWrong(err) {
		return usageError{err}
	}
	for _, sentinel := range []error{setup.ErrAnswers, setup.ErrNoAnswer, show.ErrAddress, newmachine.ErrAnswers, newmachine.ErrNo} {
		if errors.Is(err, sentinel) {
			return usageError{err}
		}
	}
	return err
}

// statusOf is the exit status an error leads to.
func statusOf(err error) int {
	var usage usageError
	switch {
	case err == nil:
		return exitWell
	case errors.As(err, &usage):
		return exitUsage
	case errors.Is(err, errWants):
		return exitWants
	}
	return exitFailed
}

// statusFor is the exit status that a report leads to.
func statusFor(r report) int {
	switch f, ok := r.(interface{ Failed() bool }); {
	case ok && f.Failed():
		return exitFailed
	case r.Wants():
		return exitWants
	}
	return exitWell
}

// worse picks the worse of two exit statuses: wrong usage, then failure, then
// something that wants a person.
func worse(a, b int) int {
	order := []int{exitWell, exitWants, exitFailed, exitUsage}
	if slices.Index(order, a) > slices.Index(order, b) {
		return a
	}
	return b
}

// finish says what err means and returns the exit status for it.
func (t *tool) finish(ctx context.Context, ran *cobra.Command, args []string, err error) int {
	status := statusOf(err)
	if status == exitWell || t.spoken {
		return status
	}
	text := t.line().Text(screen.Error(err))
	if ctx.Err() != nil && errors.Is(err, context.Canceled) {
		text = stoppedText
	}
	// A mistake among the options can end the reading of them before --json.
	if t.json || slices.Contains(args, "--json") {
		if err := t.sayJSON(map[string]string{"error": text}); err != nil {
			return exitFailed
		}
	}
	fmt.Fprintln(t.errs, "linecamp:", strings.TrimSpace(text))
	if status == exitUsage && ran != nil && ran.HasParent() {
		fmt.Fprintf(t.errs, "How it is used: %s --help\n", ran.CommandPath())
	}
	return status
}

// stoppedText is what a person reads after Ctrl-C. It is true because every
// command leaves each copy valid at every instant.
const stoppedText = "stopped. What was kept stays kept, nothing is half-written under its name, and the next run carries on from here."

// exactly asks for n arguments, named in words for the message.
func exactly(n int, what string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		switch {
		case len(args) < n:
			return usagef("%s needs %s", cmd.Name(), what)
		case len(args) > n && cmd.HasSubCommands():
			return usagef("%s has no command %q", cmd.Name(), args[0])
		case len(args) > n && n == 0:
			return usagef("%s takes no %q: it is told what to do by options only", cmd.Name(), args[0])
		case len(args) > n:
			return usagef("%s takes %s and nothing more; put quotes around a name with spaces (left over: %q)", cmd.Name(), what, args[n])
		}
		return nil
	}
}

var noArgs = exactly(0, "")

// exitError is an error that leads to an exit status whose reasons were told
// already.
func exitError(status int) error {
	switch status {
	case exitWell:
		return nil
	case exitWants:
		return errWants
	case exitUsage:
		return usageError{errors.New("wrong usage")}
	}
	return errors.New("failed")
}
