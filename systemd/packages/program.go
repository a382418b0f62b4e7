package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strings"
)

// program builds the program for a system and returns its file.
func (w *work) program(system, arch string) (string, error) {
	out := filepath.Join(w.scratch, system+"-"+arch, "linecamp")
	return out, w.build(out, system, arch)
}

// build is the same on every computer: no path of this one is in it, and no C.
func (w *work) build(out, system, arch string, more ...string) error {
	args := append([]string{"build", "-trimpath", "-buildvcs=false", "-ldflags=-s -w -buildid= -X main.stamped=" + w.version, "-o", out}, more...)
	cmd := exec.Command("go", append(args, "./cmd/linecamp")...)
	cmd.Dir = w.source
	cmd.Env = append(os.Environ(), "GOFLAGS=", "GOWORK=off", "CGO_ENABLED=0", "GOOS="+system, "GOARCH="+arch)
	if said, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("it does not build: %w\n%s", err, said)
	}
	return nil
}

// pages are the manual, from the commands' own help, and the completions, as the
// program writes them.
func (w *work) pages() ([]file, error) {
	teller := filepath.Join(w.scratch, "teller")
	if err := w.build(teller, runtime.GOOS, runtime.GOARCH, "-tags=man"); err != nil {
		return nil, err
	}
	manual := filepath.Join(w.scratch, "man")
	if err := os.Mkdir(manual, 0o755); err != nil {
		return nil, err
	}
	if said, err := exec.Command(teller, "man", "--into", manual, "--day", w.at.Format("2006-01-02")).CombinedOutput(); err != nil {
		return nil, fmt.Errorf("the manual: %w\n%s", err, said)
	}
	names, err := filepath.Glob(filepath.Join(manual, "*.1"))
	if err != nil || len(names) == 0 {
		return nil, fmt.Errorf("the manual has no pages: %w", err)
	}
	var all []file
	for _, name := range names {
		b, err := os.ReadFile(name)
		if err != nil {
			return nil, err
		}
		all = append(all, file{name: "man/" + filepath.Base(name), body: b})
	}
	for shell, name := range map[string]string{"bash": "linecamp", "zsh": "_linecamp", "fish": "linecamp.fish", "powershell": "linecamp.ps1"} {
		b, err := exec.Command(teller, "completion", shell).Output()
		if err != nil {
			return nil, fmt.Errorf("the completion of %s: %w", shell, err)
		}
		all = append(all, file{name: "completions/" + shell + "/" + name, body: b})
	}
	slices.SortFunc(all, func(a, b file) int { return strings.Compare(a.name, b.name) })
	return all, nil
}

var license = regexp.MustCompile(`(?i)^((?:un)?licen[cs]e|copying|notice|patents)([.-].*)?$`)

// licenses are the terms of every module that is in the program: they ask that their
// texts go where the program goes.
func (w *work) licenses(system, arch string) ([]byte, error) {
	cmd := exec.Command("go", "list", "-deps", "-f", "{{with .Module}}{{if not .Main}}{{.Path}} {{.Version}}\t{{.Dir}}{{end}}{{end}}", "./cmd/linecamp")
	cmd.Dir = w.source
	cmd.Env = append(os.Environ(), "GOFLAGS=", "GOWORK=off", "CGO_ENABLED=0", "GOOS="+system, "GOARCH="+arch)
	out, err := cmd.Output()
	if err != nil {
		return nil, fmt.Errorf("its modules cannot be listed: %w", err)
	}
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	slices.Sort(lines)
	var b bytes.Buffer
	fmt.Fprint(&b, "linecamp is made with the Go language and the modules below. Each stands with its own terms.\n")
	for _, line := range slices.Compact(lines) {
		name, dir, ok := strings.Cut(line, "\t")
		if !ok {
			continue
		}
		entries, err := os.ReadDir(dir)
		if err != nil {
			return nil, err
		}
		found := 0
		for _, e := range entries {
			if e.IsDir() || !license.MatchString(e.Name()) {
				continue
			}
			text, err := os.ReadFile(filepath.Join(dir, e.Name()))
			if err != nil {
				return nil, err
			}
			found++
			fmt.Fprintf(&b, "\n\n==== %s: %s\n\n%s", name, e.Name(), bytes.ReplaceAll(text, []byte("\r\n"), []byte("\n")))
		}
		if found == 0 {
			return nil, fmt.Errorf("%s has no file with its terms", name)
		}
	}
	golang, err := exec.Command("go", "env", "GOROOT").Output()
	if err != nil {
		return nil, err
	}
	text, err := os.ReadFile(filepath.Join(strings.TrimSpace(string(golang)), "LICENSE"))
	if err != nil {
		return nil, fmt.Errorf("the terms of Go itself: %w", err)
	}
	fmt.Fprintf(&b, "\n\n==== Go: LICENSE\n\n%s", text)
	return b.Bytes(), nil
}
