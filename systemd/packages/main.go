// Command packages builds what people install: Debian packages, and archives for
// Linux, macOS and Windows, with SHA256SUMS. Two builds of one commit give the same
// bytes: every time in them is SOURCE_DATE_EPOCH, by default the commit's.
//
//	go -C systemd/packages run . --version 1.2.0 --into /tmp/linecamp
//
// It builds the program (program.go), has it write its manual and its completions
// (pages.go), and packs the same tree (tree.go) twice: as a package (deb.go) and as an
// archive (archive.go).
package main

import (
	"cmp"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
)

// targets are the systems and processors that there is something for.
var targets = []string{"linux/amd64", "linux/arm64", "darwin/amd64", "darwin/arm64", "windows/amd64"}

// work is one run.
type work struct {
	source  string // the project's folder
	into    string
	scratch string
	version string
	// maintainer is who answers for a Debian package, "NAME <ADDRESS>".
	maintainer string
	at         time.Time // stands in everything that is built
}

func main() {
	version := flag.String("version", "", "the `VERSION`, as in 1.2.0 (needed)")
	into := flag.String("into", "", "the `FOLDER` to write to, new or empty (needed)")
	source := flag.String("source", filepath.Join("..", ".."), "the project's `FOLDER`")
	only := flag.String("only", strings.Join(targets, ","), "only these `TARGETS`, with commas between")
	maintainer := flag.String("maintainer", "linecamp <linecamp@example.org>", "who answers for the Debian package, as `NAME <ADDRESS>`")
	flag.Parse()
	if err := run(*version, *maintainer, *into, *source, strings.Split(*only, ",")); err != nil {
		fmt.Fprintln(os.Stderr, "packages:", err)
		os.Exit(1)
	}
}

// versions are those that Debian packages, file names and people sort alike.
var versions = regexp.MustCompile(`^[0-9]+\.[0-9]+\.[0-9]+$`)

func run(version, maintainer, into, source string, only []string) (err error) {
	switch {
	case !versions.MatchString(version):
		return fmt.Errorf("%q is no version; write one such as 1.2.0", version)
	case into == "":
		return errors.New("say where to with --into FOLDER")
	}
	for _, t := range only {
		if !slices.Contains(targets, t) {
			return fmt.Errorf("there is nothing for %q; there is for: %s", t, strings.Join(targets, ", "))
		}
	}
	w := &work{version: version, maintainer: maintainer}
	if w.source, err = filepath.Abs(source); err != nil {
		return err
	}
	if w.into, err = filepath.Abs(into); err != nil {
		return err
	}
	if err := os.MkdirAll(w.into, 0o755); err != nil {
		return err
	}
	if there, err := os.ReadDir(w.into); err != nil || len(there) > 0 {
		return cmp.Or(err, fmt.Errorf("%s is not empty", w.into))
	}
	if w.at, err = epoch(w.source); err != nil {
		return err
	}
	if w.scratch, err = os.MkdirTemp("", "linecamp-packages-"); err != nil {
		return err
	}
	defer os.RemoveAll(w.scratch)
	pages, err := w.pages()
	if err != nil {
		return err
	}
	for _, t := range only {
		if err := w.target(t, pages); err != nil {
			return fmt.Errorf("%s: %w", t, err)
		}
	}
	return w.sums()
}

// target builds all there is for one system.
func (w *work) target(t string, pages []file) error {
	system, arch, _ := strings.Cut(t, "/")
	program, err := w.program(system, arch)
	if err != nil {
		return err
	}
	licenses, err := w.licenses(system, arch)
	if err != nil {
		return err
	}
	if system == "linux" {
		if err := w.deb(arch, program, licenses, pages); err != nil {
			return err
		}
	}
	return w.archive(system, arch, program, licenses, pages)
}

// epoch is the time that stands in what is built (reproducible-builds.org, the
// specification of SOURCE_DATE_EPOCH).
func epoch(source string) (time.Time, error) {
	text := os.Getenv("SOURCE_DATE_EPOCH")
	if text == "" {
		out, err := exec.Command("git", "-C", source, "log", "-1", "--format=%ct").Output()
		if err != nil {
			return time.Time{}, fmt.Errorf("the commit's time is not known; set SOURCE_DATE_EPOCH: %w", err)
		}
		text = strings.TrimSpace(string(out))
	}
	seconds, err := strconv.ParseInt(text, 10, 64)
	if err != nil {
		return time.Time{}, fmt.Errorf("SOURCE_DATE_EPOCH is no number of seconds: %w", err)
	}
	return time.Unix(seconds, 0).UTC(), nil
}
