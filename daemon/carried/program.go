package carried

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/store"
)

// Program is a program that drives are to hold. The zero value is none.
type Program struct {
	File    string // where it lies on this computer
	Version string // "" where it does not know: then its digest tells
}

// Running is the program that runs now.
func Running(version string) (Program, error) {
	file, err := os.Executable()
	return Program{File: file, Version: version}, err
}

// SumsKey holds the digest of the program, as `sha256sum -c` reads it.
const SumsKey = ProgramFolder + "/SHA256SUMS"

// programName is the program's name on a drive: of each system one, so that a drive
// that goes between two computers serves both.
func programName() string {
	name := "linecamp-" + runtime.GOOS + "-" + runtime.GOARCH
	if runtime.GOOS == "windows" {
		name += ".exe"
	}
	return name
}

func programNote(copyID string) string { return "program on " + copyID }

// PutProgram puts the program on a drive, unless that version of it is there. Hold
// Lock. A crash between the program and its digest leaves two that do not agree, so
// nobody takes it for good, and the next call writes both again.
func PutProgram(ctx context.Context, c Copy, n Notes, p Program, now time.Time) error {
	if p.File == "" || !c.Root.Can().Local {
		return nil
	}
	err := putProgram(ctx, c, n, p, now)
	if err != nil {
		err = trouble("the program could not be put there", err)
	}
	return err
}

func putProgram(ctx context.Context, c Copy, n Notes, p Program, now time.Time) error {
	key := ProgramFolder + "/" + programName()
	is := noted{Says: p.Version, At: now}
	if is.Says != "" && recall(n, programNote(c.ID)).Says == is.Says {
		if _, err := c.Root.Stat(ctx, key); err == nil {
			return nil
		}
	}
	f, err := os.Open(p.File)
	if err != nil {
		return err
	}
	d, size, err := manifest.Copy(ctx, nil, f)
	if err = errors.Join(err, f.Close()); err != nil {
		return err
	}
	sums, err := readSums(ctx, c.Root)
	if err != nil {
		return err
	}
	if there, err := c.Root.Stat(ctx, key); err != nil || there.Size != size || sums[programName()] != d.String() {
		content := store.Content{Size: size, SHA256: d, Open: func(context.Context) (io.ReadCloser, error) { return os.Open(p.File) }}
		if _, err := replace(ctx, c.Root, key, content, ""); err != nil {
			return err
		}
		sums[programName()] = d.String()
		if _, err := replace(ctx, c.Root, SumsKey, store.Bytes(encodeSums(sums)), ""); err != nil {
			return err
		}
	}
	return remember(n, programNote(c.ID), is)
}

var sumsLine = regexp.MustCompile(`^([0-9a-f]{64}) [ *](linecamp-[a-z0-9]+-[a-z0-9]+(?:\.exe)?)$`)

// readSums are the digests of the programs there, by name; what is no such line is
// dropped.
func readSums(ctx context.Context, r store.Root) (map[string]string, error) {
	sums := map[string]string{}
	b, _, err := store.ReadSmall(ctx, r, SumsKey, store.MaxSmall)
	if errors.Is(err, fs.ErrNotExist) {
		return sums, nil
	}
	if err != nil {
		return nil, err
	}
	for line := range strings.Lines(string(b)) {
		if m := sumsLine.FindStringSubmatch(strings.TrimRight(line, "\r\n")); m != nil {
			sums[m[2]] = m[1]
		}
	}
	return sums, nil
}

func encodeSums(sums map[string]string) []byte {
	var b strings.Builder
	for _, name := range slices.Sorted(maps.Keys(sums)) {
		fmt.Fprintf(&b, "%s  %s\n", sums[name], name)
	}
	return []byte(b.String())
}
