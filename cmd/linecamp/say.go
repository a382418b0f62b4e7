package main

import (
	"bytes"
	"errors"
	"fmt"
	"syscall"

	"linecamp/daemon/config"
	"linecamp/daemon/show/screen"
	"linecamp/daemon/show/text"
)

// report is what every command gets back from the rooms below.
type report interface {
	// Wants says whether something in it wants a person (exit status 3).
	Wants() bool
}

// say prints one report and turns it into the command's end.
func (t *tool) say(r report) error {
	t.spoken = true
	if err := t.print(r, t.line()); err != nil {
		return err
	}
	return exitError(statusFor(r))
}

// line is what the command lines in reports and messages need to come back to
// where this run was: the settings that were named, and the archive where there
// are others.
func (t *tool) line() screen.Line {
	l := screen.Line{Config: t.config}
	if t.archive == "" {
		return l
	}
	if all, faults := config.LoadFrom(t.config); len(all)+len(faults) > 1 {
		l.Archive = t.archive
	}
	return l
}

// of is line for one archive of several.
func (t *tool) of(archive string) screen.Line { return screen.Line{Config: t.config, Archive: archive} }

// print writes a report in the form asked for.
func (t *tool) print(r report, line screen.Line) error {
	if t.json {
		return t.sayJSON(r)
	}
	if t.quiet && !r.Wants() {
		return nil
	}
	return t.sayText(r, line)
}

// sayText prints anything that package text has words for.
func (t *tool) sayText(r any, line screen.Line) error {
	var b bytes.Buffer
	text.Print(screen.Writer(&b, line), r)
	_, err := b.WriteTo(t.out)
	return t.written(err)
}

// sayJSON prints one JSON object.
func (t *tool) sayJSON(v any) error {
	return t.written(screen.JSON(t.out, v))
}

// written says that a report could not be printed. A reader that closed its
// end of a pipe has seen what it wanted, which is no fault.
func (t *tool) written(err error) error {
	if err == nil || errors.Is(err, syscall.EPIPE) {
		return nil
	}
	t.spoken = false
	return fmt.Errorf("the work is done, but its report could not be written: %w", err)
}
