package store_test

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/s3test"
)

// BenchmarkDrive stores photos on a drive, hashing included, and reports how
// long that takes as a multiple of cp -r and sync of the same files. Both are
// run in turn, so that a busy machine is busy for both.
func BenchmarkDrive(b *testing.B) {
	for _, shape := range []struct {
		name        string
		files, size int
	}{{"photos", 300, 1 << 20}, {"small", 5000, 16 << 10}} {
		b.Run(shape.name, func(b *testing.B) {
			if _, err := exec.LookPath("cp"); err != nil {
				b.Skip(err)
			}
			source := b.TempDir()
			paths := makePhotos(b, source, shape.files, shape.size)
			var ours, theirs time.Duration
			for b.Loop() {
				target := b.TempDir()
				settleDisk(b)
				start := time.Now()
				out, err := exec.Command("sh", "-c", `cp -r "$0" "$1" && sync -f "$1"`, source, filepath.Join(target, "copy")).CombinedOutput()
				theirs += time.Since(start)
				if err != nil {
					b.Fatalf("%v: %s", err, out)
				}
				r, _ := driveIn(b)
				draft := draftOf(b, paths)
				settleDisk(b)
				start = time.Now()
				mirror(b, r, draft, source, paths, 4)
				ours += time.Since(start)
				os.RemoveAll(target)
			}
			b.SetBytes(int64(shape.files * shape.size))
			b.ReportMetric(ours.Seconds()/theirs.Seconds(), "x-cp-sync")
		})
	}
}

// BenchmarkRealS3 stores photos in the real S3 server and reports its speed as
// a share of a bare loop of PutObject with as many workers.
func BenchmarkRealS3(b *testing.B) {
	srv := s3test.Real(b)
	source := b.TempDir()
	const files, size, workers = 400, 200 << 10, 4
	paths := makePhotos(b, source, files, size)
	var ours, theirs time.Duration
	for b.Loop() {
		raw, err := srv.Client()
		must(b, err)
		bucket := fmt.Sprintf("bare-%d", buckets.Add(1))
		_, err = srv.Bucket(b.Context(), bucket)
		must(b, err)
		settleDisk(b)
		start := time.Now()
		g, ctx := errgroup.WithContext(b.Context())
		g.SetLimit(workers)
		for p := range paths {
			g.Go(func() error {
				f, err := os.Open(filepath.Join(source, p))
				if err != nil {
					return err
				}
				defer f.Close()
				_, err = raw.Client.PutObject(ctx, bucket, p, f, size, putOptions)
				return err
			})
		}
		must(b, g.Wait())
		theirs += time.Since(start)
		r := s3Place(b, srv, nil).made(b)
		draft := draftOf(b, paths)
		settleDisk(b)
		start = time.Now()
		mirror(b, r, draft, source, paths, workers)
		ours += time.Since(start)
	}
	b.ReportMetric(theirs.Seconds()/ours.Seconds(), "of-bare-PutObject")
}

// makePhotos writes files of random-looking bytes and returns path → digest.
func makePhotos(b *testing.B, folder string, files, size int) map[string]manifest.Digest {
	paths := map[string]manifest.Digest{}
	block := manyBytes(size)
	for i := range files {
		p := fmt.Sprintf("20%02d-06-21/photo %d.jpg", i%20, i)
		copy(block, fmt.Sprint(i, " "))
		must(b, os.MkdirAll(filepath.Join(folder, filepath.Dir(p)), 0o777))
		must(b, os.WriteFile(filepath.Join(folder, p), block, 0o666))
		paths[p] = manifest.Sum(block)
	}
	return paths
}

// settleDisk waits until what was written before is on the disk.
func settleDisk(b *testing.B) { exec.Command("sync").Run() }

// draftOf authors one version of all the files.
func draftOf(b *testing.B, paths map[string]manifest.Digest) *manifest.Draft {
	n := manifest.Next{Created: testTime, Message: "round", User: manifest.User{Name: "office", Address: "urn:uuid:" + testAuthor},
		State: paths, Record: manifest.Record{Site: "Stake 3", Paths: map[string]manifest.Entry{}}}
	for p := range paths {
		n.Record.Paths[p] = manifest.Entry{Bytes: 1, Modified: testTime, Kind: manifest.KindPhoto}
	}
	draft, err := newSite().inv.Add(n)
	must(b, err)
	return draft
}

// mirror stores the files as one version.
func mirror(b *testing.B, r store.Root, draft *manifest.Draft, source string, paths map[string]manifest.Digest, workers int) {
	unlock, err := r.Lock(b.Context())
	must(b, err)
	defer unlock()
	build, err := r.Begin(b.Context(), object, 1)
	must(b, err)
	g, ctx := errgroup.WithContext(b.Context())
	g.SetLimit(workers)
	for k, d := range draft.New {
		g.Go(func() error {
			p := strings.TrimPrefix(k, "v1/content/")
			if _, ok := paths[p]; !ok {
				_, err := build.Put(ctx, k, store.Bytes(draft.Record))
				return err
			}
			name := filepath.Join(source, p)
			info, err := os.Stat(name)
			if err != nil {
				return err
			}
			open := func(context.Context) (io.ReadCloser, error) { return os.Open(name) }
			_, err = build.Put(ctx, k, store.Content{Size: info.Size(), SHA256: d, Open: open})
			return err
		})
	}
	must(b, g.Wait())
	must(b, build.Commit(b.Context(), draft.Encoded))
}
