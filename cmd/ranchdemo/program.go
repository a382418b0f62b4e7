package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"

	"linecamp/verify"
)

// program is the real linecamp, run as a person would.
type program struct {
	path string
	env  []string
}

// built is the program that is named, or one built from the source in dir's own
// folder.
func built(ctx context.Context, named, dir string) (program, error) {
	p := program{path: named, env: append(os.Environ(), "TERM=dumb")}
	if named != "" {
		return p, nil
	}
	p.path = filepath.Join(dir, "linecamp")
	if runtime.GOOS == "windows" {
		p.path += ".exe"
	}
	if out, err := exec.CommandContext(ctx, "go", "build", "-o", p.path, "linecamp/cmd/linecamp").CombinedOutput(); err != nil {
		return p, fmt.Errorf("building linecamp: %w; run this from the folder of the source, or name a linecamp with -linecamp\n%s", err, bytes.TrimSpace(out))
	}
	return p, nil
}

// run gives what the command prints, as a person sees it. That something wants a
// person (exit status 3) is no failure.
func (p program) run(ctx context.Context, args ...string) (string, error) {
	c := exec.CommandContext(ctx, p.path, args...)
	c.Env = p.env
	out, err := c.CombinedOutput()
	return string(out), failed(args, out, err)
}

// told are those keys of the commands' JSON that are held against what was drawn
// and broken.
type told struct {
	Files int   `json:"files"`
	Bytes int64 `json:"bytes"`
	Sites []struct {
		Visits []struct{} `json:"visits"`
	} `json:"sites"`
	Waiting  []reason         `json:"waiting"`
	Made     int              `json:"versions_made"`
	Copies   []toldCopy       `json:"copies"`
	Years    []verify.Year    `json:"years"`
	Findings []verify.Finding `json:"findings"`
	Alike    []verify.Alike   `json:"alike"`
	Mended   []reason         `json:"mended"`
	Unmended []reason         `json:"unmended"`
	Failed   []reason         `json:"failed"`
}

type toldCopy struct {
	State string `json:"state"`
	verify.CopyReport
}

type reason struct {
	Path   string `json:"path"`
	Reason string `json:"reason"`
}

// ask runs a command with --json.
func (p program) ask(ctx context.Context, args ...string) (told, error) {
	var t told
	var out, errs bytes.Buffer
	c := exec.CommandContext(ctx, p.path, append(args, "--json")...)
	c.Env, c.Stdout, c.Stderr = p.env, &out, &errs
	err := c.Run()
	if err := failed(args, errs.Bytes(), err); err != nil {
		return t, err
	}
	if err := json.Unmarshal(out.Bytes(), &t); err != nil {
		return t, fmt.Errorf("reading what linecamp %s says: %w", strings.Join(args, " "), err)
	}
	return t, nil
}

func failed(args []string, said []byte, err error) error {
	var exit *exec.ExitError
	if err == nil || errors.As(err, &exit) && exit.ExitCode() == 3 {
		return nil
	}
	return fmt.Errorf("linecamp %s: %w\n%s", strings.Join(args, " "), err, bytes.TrimSpace(said))
}
