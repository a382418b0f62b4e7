//go:build samples

package main

import (
	"archive/tar"
	"bytes"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/klauspost/compress/zstd"
	"github.com/rogpeppe/go-internal/testscript"
)

var makeInto = flag.String("samples.into", "", "the file that gets what this program leaves")

var made struct {
	sync.Mutex
	entries []entry
}

type entry struct {
	header tar.Header
	body   []byte
}

// TestMakeSamples plays testdata/samples/make and packs what each script keeps.
func TestMakeSamples(t *testing.T) {
	commands["keep"] = keep
	t.Run("make", func(t *testing.T) {
		testscript.Run(t, testscript.Params{Dir: "testdata/samples/make", RequireExplicitExec: true, Setup: ownHome, Condition: condition, Cmds: commands})
	})
	if t.Failed() {
		return
	}
	slices.SortFunc(made.entries, func(a, b entry) int { return strings.Compare(a.header.Name, b.header.Name) })
	var b bytes.Buffer
	z, err := zstd.NewWriter(&b, zstd.WithEncoderLevel(zstd.SpeedBestCompression), zstd.WithWindowSize(8<<20))
	if err != nil {
		t.Fatal(err)
	}
	w := tar.NewWriter(z)
	for _, e := range made.entries {
		if err := w.WriteHeader(&e.header); err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write(e.body); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(*makeInto, b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	fmt.Printf("%d files, %d bytes packed\n", len(made.entries), b.Len())
}

var computerID = regexp.MustCompile(`"computer":\s*"[^"]*",\s*`)

// keep NAME FOLDER… puts folders of the script into the samples, as NAME. What
// belongs to this computer alone is left out of machine.json: its id.
func keep(ts *testscript.TestScript, neg bool, args []string) {
	made.Lock()
	defer made.Unlock()
	for _, folder := range args[1:] {
		root := ts.MkAbs(folder)
		ts.Check(filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
			if err != nil {
				return err
			}
			rel, err := filepath.Rel(ts.Getenv("WORK"), path)
			if err != nil {
				return err
			}
			info, err := d.Info()
			if err != nil {
				return err
			}
			inside := filepath.ToSlash(rel)
			e := entry{header: tar.Header{Name: args[0] + "/" + inside, Mode: int64(info.Mode().Perm()), ModTime: info.ModTime(), Format: tar.FormatPAX}}
			if now := time.Now(); e.header.ModTime.After(now) { // by the disk's clock
				e.header.ModTime = now
			}
			if d.IsDir() {
				e.header.Typeflag, e.header.Name = tar.TypeDir, e.header.Name+"/"
				made.entries = append(made.entries, e)
				return nil
			}
			if !d.Type().IsRegular() {
				return fmt.Errorf("%s is no plain file", path)
			}
			if e.body, err = os.ReadFile(path); err != nil {
				return err
			}
			if hasMarks(inside) {
				e.body = computerID.ReplaceAll(e.body, nil)
				e.body = bytes.ReplaceAll(e.body, []byte(ts.Getenv("WORK")), []byte(workMark))
				if url := ts.Getenv("S3URL"); url != "" {
					e.body = bytes.ReplaceAll(e.body, []byte(url), []byte(s3Mark))
				}
			}
			e.header.Typeflag, e.header.Size = tar.TypeReg, int64(len(e.body))
			made.entries = append(made.entries, e)
			return nil
		}))
	}
}
