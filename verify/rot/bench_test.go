package rot_test

import (
	"context"
	"crypto/sha256"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"testing"
	"time"

	"linecamp/manifest/store"
	"linecamp/verify/verifytest"
)

// BenchmarkReread holds a full re-read of a copy against the slower of reading
// the same files and digesting as many bytes, on every core. "of-limit" is the
// re-read's speed as a share of that limit's. Reading is past the page cache in
// both. "of-bare" is its speed as a share of a bare loop's that reads the files and
// digests them, and keeps no manifest: what the drive gives while the cores are busy.
// Set LINECAMP_TEST_DIR to a folder on the drive to be measured.
func BenchmarkReread(b *testing.B) {
	r := verifytest.New(b, 1)
	random := rand.New(rand.NewPCG(1, 2))
	state := verifytest.State{}
	const files, size = 64, 4 << 20
	for i := range files {
		body := make([]byte, size)
		for j := range body {
			body[j] = byte(random.Uint32())
		}
		p := fmt.Sprintf("%d-06-21/plot%d.jpg", 1990+i%30, i)
		f := verifytest.Photo(p, verifytest.Day(2020, 6, 21))
		f.Bytes = body
		state[p] = f
	}
	r.Version(verifytest.Stake, verifytest.Day(2020, 7, 1), state)
	var paths []string
	err := filepath.WalkDir(r.Dirs[0], func(p string, e os.DirEntry, err error) error {
		if err == nil && !e.IsDir() {
			paths = append(paths, p)
		}
		return err
	})
	if err != nil {
		b.Fatal(err)
	}
	c := r.Copies[0]
	o := r.Options()
	o.Memory = &verifytest.Memory{}
	checked(b, c, o) // XXH64 of each file is known from the second check on

	var read, hash, bare, reread time.Duration
	for b.Loop() {
		read += took(func() { readAll(b, c.Root, r.Dirs[0], paths, io.Discard) })
		bare += took(func() { readAll(b, c.Root, r.Dirs[0], paths, nil) })
		hash += took(func() { hashAll(files * size) })
		reread += took(func() {
			if rep := checked(b, c, o); rep.ReadBack.Files != files || len(rep.Damage) > 0 {
				b.Fatalf("%+v", rep)
			}
		})
	}
	b.SetBytes(files * size)
	b.ReportMetric(float64(max(read, hash))/float64(reread), "of-limit")
	b.ReportMetric(float64(bare)/float64(reread), "of-bare")
	b.ReportMetric(float64(files*size)*float64(b.N)/reread.Seconds()/1e6, "MB/s-reread")
	b.ReportMetric(float64(files*size)*float64(b.N)/read.Seconds()/1e6, "MB/s-read")
	b.ReportMetric(float64(files*size)*float64(b.N)/hash.Seconds()/1e6, "MB/s-sha256")
}

func took(f func()) time.Duration {
	start := time.Now()
	f()
	return time.Since(start)
}

// readAll reads files on every core, past the page cache, into w; where that is nil,
// into a digest of each.
func readAll(b *testing.B, root store.Root, dir string, paths []string, w io.Writer) {
	each(len(paths), func(i int, _ []byte) {
		key, err := filepath.Rel(dir, paths[i])
		if err != nil {
			b.Error(err)
			return
		}
		f, _, err := root.OpenFresh(context.Background(), filepath.ToSlash(key))
		if err != nil {
			b.Error(err)
			return
		}
		defer f.Close()
		to := w
		if to == nil {
			to = sha256.New()
		}
		if _, err := io.Copy(to, f); err != nil {
			b.Error(err)
		}
	})
}

// hashAll digests n bytes on every core.
func hashAll(n int) {
	const piece = 1 << 20
	each(n/piece, func(_ int, buf []byte) {
		for range 2 {
			sha256.Sum256(buf)
		}
	})
}

func each(n int, f func(i int, buf []byte)) {
	var wg sync.WaitGroup
	next := make(chan int)
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			buf := make([]byte, 512<<10)
			for i := range next {
				f(i, buf)
			}
		})
	}
	for i := range n {
		next <- i
	}
	close(next)
	wg.Wait()
}
