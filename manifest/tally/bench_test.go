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
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

// A race is two ways to do one job, run by turns. Besides the time on the
// clock it takes the processor time of this program, which other programs on
// the machine disturb less: where both ways use every core, the two agree.
type race struct{ ours, limit, oursCPU, limitCPU []time.Duration }

func (r *race) run(b *testing.B, ours, limit func() error) {
	b.Helper()
	timed := func(f func() error, wall, cpu *[]time.Duration) {
		start, used := time.Now(), cpuTime()
		if err := f(); err != nil {
			b.Fatal(err)
		}
		*wall, *cpu = append(*wall, time.Since(start)), append(*cpu, cpuTime()-used)
	}
	timed(ours, &r.ours, &r.oursCPU)
	timed(limit, &r.limit, &r.limitCPU)
}

// speed reports how fast ours is, the limit being 1.
func (r *race) speed(b *testing.B, name string) {
	b.ReportMetric(median(r.limit).Seconds()/median(r.ours).Seconds(), name)
	if c := median(r.oursCPU); c > 0 {
		b.ReportMetric(median(r.limitCPU).Seconds()/c.Seconds(), name+"-cpu")
	}
}

// time reports how long ours takes, the limit being 1.
func (r *race) time(b *testing.B, name string) {
	b.ReportMetric(median(r.ours).Seconds()/median(r.limit).Seconds(), name)
	if c := median(r.limitCPU); c > 0 {
		b.ReportMetric(median(r.oursCPU).Seconds()/c.Seconds(), name+"-cpu")
	}
}

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
	copy(content, jpegWith(exifBlock(june21)))
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
		_, err = io.CopyBuffer(struct{ io.Writer }{h}, struct{ io.Reader }{f}, make([]byte, 128<<10))
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
	b.SetBytes(photos * each)
	var files, inMemory race
	for b.Loop() {
		files.run(b, tally, func() error { return onEveryCore(paths, bare) })
		inMemory.run(b, tally, func() error { return onEveryCore(paths, memory) })
	}
	files.speed(b, "ratio")
	inMemory.speed(b, "ratio-in-memory")
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
	tally := func() error {
		r, err := Read(context.Background(), o)
		if err == nil && (r.HashedFiles != 0 || r.Files != n) {
			err = fmt.Errorf("read %d of %d files", r.HashedFiles, r.Files)
		}
		return err
	}
	walk := func() error {
		seen := 0
		err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
			if err != nil {
				return err
			}
			seen++
			_, err = os.Lstat(path)
			return err
		})
		if err == nil && seen < n {
			err = fmt.Errorf("walked %d files", seen)
		}
		return err
	}
	var r race
	for b.Loop() {
		r.run(b, tally, walk)
	}
	r.time(b, "ratio")
}
