package main

import (
	"errors"
	"fmt"
	"io"
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
	w := &steady{w: t.out}
	if v, ok := r.(versionReport); ok { // it is about the program, and no room's
		v.Print(w)
	} else {
		text.Print(screen.Writer(w, line), r)
	}
	return t.written(w.err)
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

// steady remembers the first write that failed, so that reports can be printed
// line by line without asking each time.
type steady struct {
	w   io.Writer
	err error
}

func (s *steady) Write(b []byte) (int, error) {
	if s.err != nil {
		return 0, s.err
	}
	n, err := s.w.Write(b)
	s.err = err
	return n, err
}
