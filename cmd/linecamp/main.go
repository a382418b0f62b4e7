// Command linecamp keeps a second and a third copy of a ranch's
// photo-monitoring record, tells what is damaged or missing, and brings any
// site's full history back.
//
// There is one small file per command here and no logic of the trade: a
// command reads its options, asks package daemon, and prints the report it
// gets. What all commands share is in few places: exit.go (exit statuses),
// each.go (one archive or several), say.go (reports and --json), help.go (the
// help pages) and complete.go (completion). What reports say is in
// daemon/show/text, and what reaches a terminal passes daemon/show/screen.
package main

import (
	"context"
	"io"
	"log"
	"os"
	"os/signal"
	"runtime/debug"
	"syscall"

	show "linecamp/daemon/show/page"
	"linecamp/daemon/show/screen"
)

func main() {
	if show.Child() { // the page has this program make single pictures small
		return
	}
	// Garbage may be half of what is in use, not as much again: a large archive is
	// to fit beside other services, and most of what is held of it is packed, which
	// the collector passes over quickly.
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(50)
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	// After the first signal the usual meaning comes back, so that a second
	// one ends the program at once, whatever it is doing.
	context.AfterFunc(ctx, stop)
	os.Exit(run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}

// run is the whole program but for the process around it; it returns the exit
// status.
func run(ctx context.Context, args []string, in io.Reader, out, errs io.Writer) int {
	// Libraries write to the standard log, the HTTP library when a server answers
	// unasked; what goes wrong with a request comes back as its error.
	log.SetOutput(io.Discard)
	t := &tool{in: in, out: screen.Safe(out), errs: screen.Safe(errs), bars: errs}
	root := t.root()
	root.SetArgs(args)
	root.SetIn(in)
	root.SetOut(t.out)
	root.SetErr(t.errs)
	ran, err := root.ExecuteContextC(ctx)
	return t.finish(ctx, ran, args, err)
}
