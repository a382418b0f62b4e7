package tally

import (
	"context"
	"crypto/sha256"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

// median of some runs, so that one disturbed run tells nothing.
func median(times []time.Duration) time.Duration {
	slices.Sort(times)
	return times[len(times)/2]
}

// onEveryCore calls f for each path from as many goroutines as there are cores.
func onEveryCore(paths []string, f func(string) error) error {
	var next atomic.Int64
	var all sync.WaitGroup
	errs := make([]error, runtime.GOMAXPROCS(0))
	for w := range errs {
		all.Go(func() {
			for errs[w] == nil {
				i := int(next.Add(1)) - 1
				if i >= len(paths) {
					return
				}
				errs[w] = f(paths[i])
			}
		})
	}
	all.Wait()
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// BenchmarkFirstTally tallies new photos, warm in the page cache, and compares
// its speed with crypto/sha256 alone on every core over the same bytes: "ratio"
// where those are read from the same files, "ratio-in-memory" where they lie in
// memory already. Target for ratio: at least 0.90.
func BenchmarkFirstTally(b *testing.B) {
	const photos, each = 128, 4 << 20
	root := b.TempDir()
	content := make([]byte, each)
	rand.NewChaCha8([32]byte{2}).Read(content)
	copy(content, jpegWith(exifBlock(june21, "-06:00")))
	var paths []string
	for i := range photos {
		p := fmt.Sprintf("North/Stake %d/%d-06-21/plot.jpg", i%8, 1990+i/8)
		content[each-1] = byte(i)
		put(b, root, p, content)
		paths = append(paths, filepath.Join(root, p))
	}
	bare := func(path string) error {
		f, err := os.Open(path)
		if err != nil {
			return err
		}
		defer f.Close()
		h := sha256.New()
		_, err = io.CopyBuffer(struct{ io.Writer }{h}, struct{ io.Reader }{f}, make([]byte, blockSize))
		return err
	}
	memory := func(string) error { sha256.Sum256(content); return nil }
	tally := func() error {
		r, err := Read(context.Background(), Options{Folder: root, Now: func() time.Time { return today }})
		if err == nil && r.HashedBytes != photos*each {
			err = fmt.Errorf("read %d bytes", r.HashedBytes)
		}
		return err
	}
	if err := tally(); err != nil {
		b.Fatal(err)
	}
	timed := func(f func() error) time.Duration {
		start := time.Now()
		if err := f(); err != nil {
			b.Fatal(err)
		}
		return time.Since(start)
	}
	b.SetBytes(photos * each)
	var ours, limit, inMemory []time.Duration
	for b.Loop() {
		ours = append(ours, timed(tally))
		limit = append(limit, timed(func() error { return onEveryCore(paths, bare) }))
		inMemory = append(inMemory, timed(func() error { return onEveryCore(paths, memory) }))
	}
	b.ReportMetric(median(limit).Seconds()/median(ours).Seconds(), "ratio")
	b.ReportMetric(median(inMemory).Seconds()/median(ours).Seconds(), "ratio-in-memory")
}

// BenchmarkUnchanged tallies 100,000 files of which none changed, and compares
// its time with filepath.WalkDir and Lstat over the same tree. Target: at most
// 1.5 times as long.
func BenchmarkUnchanged(b *testing.B) {
	root := b.TempDir()
	n := 0
	for site := range 100 {
		for year := range 25 {
			dir := filepath.Join(root, fmt.Sprintf("Pasture %d/Stake %d/%d-06-21", site%10, site, 2001+year))
			if err := os.MkdirAll(dir, 0o755); err != nil {
				b.Fatal(err)
			}
			for i := range 40 {
				name := fmt.Sprintf("IMG_%04d.JPG", i+1)
				switch i {
				case 0:
					name = "plot.jpg"
				case 1:
					name = "landscape.jpg"
				case 2:
					name = "field notes.txt"
				}
				if err := os.WriteFile(filepath.Join(dir, name), []byte{byte(i)}, 0o644); err != nil {
					b.Fatal(err)
				}
				n++
			}
		}
	}
	later := func() time.Time { return time.Now().Add(time.Hour) }
	m := newMemory()
	o := Options{Folder: root, Cache: m, Now: later}
	if r, err := Read(context.Background(), o); err != nil || r.HashedFiles != n || n != 100_000 {
		b.Fatal(n, err)
	}
	var ours, limit []time.Duration
	for b.Loop() {
		start := time.Now()
		r, err := Read(context.Background(), o)
		ours = append(ours, time.Since(start))
		if err != nil || r.HashedFiles != 0 || r.Files != n {
			b.Fatal(r.HashedFiles, r.Files, err)
		}
		start = time.Now()
		seen := 0
		err = filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
			if err != nil {
				return err
			}
			seen++
			_, err = os.Lstat(path)
			return err
		})
		limit = append(limit, time.Since(start))
		if err != nil || seen < n {
			b.Fatal(seen, err)
		}
	}
	b.ReportMetric(median(ours).Seconds()/median(limit).Seconds(), "ratio")
}

func BenchmarkUnderstand(b *testing.B) {
	l := common(b)
	for b.Loop() {
		f := l.folder("North/Windmill/2019-06-21")
		for _, name := range []string{"IMG_0001.JPG", "plot.jpg", "landscape 2.jpg", "field notes.txt"} {
			f.file(name)
		}
	}
}

func BenchmarkTaken(b *testing.B) {
	photo := append(jpegWith(exifBlock(june21, "-06:00")), make([]byte, 1<<20)...)
	r := strings.NewReader(string(photo))
	for b.Loop() {
		r.Seek(0, io.SeekStart)
		if taken(r, "jpg") == "" {
			b.Fatal("no date")
		}
	}
}
