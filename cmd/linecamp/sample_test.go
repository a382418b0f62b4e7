package main

import (
	"archive/tar"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/klauspost/compress/zstd"
	"github.com/rogpeppe/go-internal/testscript"

	"linecamp/manifest/store/s3test"
)

func init() {
	commands["sample"] = sample
	commands["s3folder"] = s3folder
}

// samples holds what earlier programs left; testdata/samples/README.md tells how
// it was made, and that it stays readable.
const samples = "testdata/samples/format-1.tar.zst"

// What stands in a sample for what differs from one run to the next.
const (
	workMark = "@WORK@"  // the script's folder
	s3Mark   = "@S3URL@" // the address of its S3 server
)

// TestSamples reads what earlier programs left, and goes on with it.
func TestSamples(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/samples",
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		Setup:               ownHome,
		Condition:           condition,
		Cmds:                commands,
	})
}

// sample NAME lays one sample out in the script's folder. Where it has a bucket,
// an S3 server runs over it, and S3URL is its address.
func sample(ts *testscript.TestScript, neg bool, args []string) {
	f, err := os.Open(filepath.Join(ts.Getenv("SOURCE"), filepath.FromSlash(samples)))
	ts.Check(err)
	defer f.Close()
	z, err := zstd.NewReader(f)
	ts.Check(err)
	defer z.Close()
	r := tar.NewReader(z)
	found, bucket := 0, false
	var texts []string
	for {
		h, err := r.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		ts.Check(err)
		inside, ok := strings.CutPrefix(h.Name, args[0]+"/")
		if !ok {
			continue
		}
		found++
		path := ts.MkAbs(filepath.FromSlash(inside))
		if h.Typeflag == tar.TypeDir {
			ts.Check(os.MkdirAll(path, 0o755))
			continue
		}
		b, err := io.ReadAll(r)
		ts.Check(err)
		ts.Check(os.MkdirAll(filepath.Dir(path), 0o755))
		ts.Check(os.WriteFile(path, b, os.FileMode(h.Mode)))
		ts.Check(os.Chtimes(path, h.ModTime, h.ModTime))
		bucket = bucket || strings.HasPrefix(inside, "bucket/")
		if hasMarks(inside) {
			texts = append(texts, path)
		}
	}
	if found == 0 {
		ts.Fatalf("there is no sample %s", args[0])
	}
	if bucket {
		s3folder(ts, false, []string{"bucket"})
	}
	for _, path := range texts {
		b, err := os.ReadFile(path)
		ts.Check(err)
		text := strings.NewReplacer(workMark, ts.Getenv("WORK"), s3Mark, ts.Getenv("S3URL")).Replace(string(b))
		ts.Check(os.WriteFile(path, []byte(text), 0o600))
	}
}

// hasMarks tells which files of a sample name the folder or the address.
func hasMarks(path string) bool {
	return strings.HasSuffix(path, ".toml") && !strings.HasPrefix(path, "field/") || strings.HasSuffix(path, "/machine.json")
}

// s3folder FOLDER starts an S3 server in this process over a folder, as "s3 fake"
// does in memory.
func s3folder(ts *testscript.TestScript, neg bool, args []string) {
	srv, err := s3test.StartFake(ts.MkAbs(args[0]))
	ts.Check(err)
	begin(ts, srv)
}
