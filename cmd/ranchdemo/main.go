// Ranchdemo is the practice ranch: it draws an invented archive, Saltbush Draw
// Ranch, starts an S3 service inside this program, and takes the archive
// through the whole job with the real linecamp: each command stands before what it
// printed, and where that is cut, a line says so.
//
// It is honest: it knows what it drew and what it broke, and holds what
// linecamp finds against that. Where the two differ it says so and ends with
// status 1.
//
//	go run ./cmd/ranchdemo            the whole job, in a new folder it names
//	go run ./cmd/ranchdemo -odd       and then one oddity of each kind
//	go run ./cmd/ranchdemo -dir DIR   the same in DIR
//	go run ./cmd/ranchdemo -serve     and leave the S3 service up
//
// With -serve and the folder of an earlier run, it only starts the service
// again, so that the config left behind can be played on with.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/signal"
	"path/filepath"
	"syscall"
	"time"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	os.Exit(run(ctx, os.Args[1:], os.Stdout, os.Stderr))
}

// run is the program; it returns the exit status.
func run(ctx context.Context, args []string, out, errs io.Writer) int {
	flags := flag.NewFlagSet("ranchdemo", flag.ContinueOnError)
	flags.SetOutput(errs)
	dir := flags.String("dir", "", "do everything in this `folder`; by default a new one among the temporary files")
	odd := flags.Bool("odd", false, "put one oddity of each kind into the folder as well, and find each")
	named := flags.String("linecamp", "", "the `program` to run; by default it is built from the source")
	serve := flags.Bool("serve", false, "leave the S3 service up until interrupted; in the folder of an earlier run, only that")
	flags.Usage = func() {
		fmt.Fprint(errs, "ranchdemo draws the practice ranch and takes it through linecamp's whole job.\n\n")
		flags.PrintDefaults()
	}
	switch err := flags.Parse(args); {
	case errors.Is(err, flag.ErrHelp):
		return 0
	case err != nil:
		return 2
	case flags.NArg() > 0:
		fmt.Fprintf(errs, "ranchdemo takes no %q; name a folder with -dir\n", flags.Arg(0))
		return 2
	}
	err := tell(ctx, *dir, *named, *serve, *odd, out)
	switch {
	case err == nil:
		return 0
	case ctx.Err() != nil:
		fmt.Fprintln(errs, "\nInterrupted.")
	default:
		fmt.Fprintf(errs, "\nranchdemo: %v\n", err)
	}
	return 1
}

// errDiffers: linecamp found something else than was drawn and broken.
var errDiffers = errors.New("what linecamp found is not what was drawn and broken; see above")

func tell(ctx context.Context, dir, named string, serve, odd bool, out io.Writer) error {
	at, err := choose(dir)
	if err != nil {
		return err
	}
	if _, err := os.Stat(at.config()); err == nil {
		if !serve {
			return fmt.Errorf("%s already holds a practice ranch; add -serve to start its S3 service again, or name a new folder", at)
		}
		return serveAgain(ctx, at, out)
	} else if !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	s := &story{at: at, out: out, began: time.Now(), named: named}
	defer s.close()
	if err := s.run(ctx, odd); err != nil {
		return err
	}
	if serve {
		s.say("The S3 service stays up at %s. Stop it with Ctrl-C.", s.server.URL)
		<-ctx.Done()
		return nil
	}
	return nil
}

// place is the folder a run happens in, and where things lie inside it.
type place string

func (p place) ranch() string   { return filepath.Join(string(p), "ranch") }
func (p place) drive() string   { return filepath.Join(string(p), "shelf-drive") }
func (p place) bucket() string  { return filepath.Join(string(p), "bucket") }
func (p place) configs() string { return filepath.Join(string(p), "config") }
func (p place) config() string  { return filepath.Join(p.configs(), archiveName+".toml") }
func (p place) state() string   { return filepath.Join(string(p), "state") }
func (p place) back() string    { return filepath.Join(string(p), "brought-back") }
func (p place) keys() string    { return filepath.Join(p.configs(), archiveName+".keys") }

const archiveName = "saltbush-draw"

// choose makes the folder, a new one if none is named. One that holds other
// things is refused; the folder of an earlier run is not.
func choose(dir string) (place, error) {
	if dir == "" {
		made, err := os.MkdirTemp("", archiveName+"-")
		if err != nil {
			return "", fmt.Errorf("making a folder among the temporary files: %w; name one with -dir", err)
		}
		return place(made), nil
	}
	dir, err := filepath.Abs(dir)
	if err != nil {
		return "", err
	}
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return "", fmt.Errorf("making the folder: %w", err)
	}
	p := place(dir)
	if _, err := os.Stat(p.config()); err == nil {
		return p, nil
	}
	there, err := os.ReadDir(dir)
	if err != nil {
		return "", fmt.Errorf("looking into the folder: %w", err)
	}
	if len(there) > 0 {
		return "", fmt.Errorf("%s is not empty, and no practice ranch was finished there; name a new folder", dir)
	}
	return p, nil
}
