package restore

import (
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"linecamp/verify/verifytest"
)

// BenchmarkRestore holds restoring a site from a drive against "cp -r" of the
// same files, and against "cp -r" with the sync that makes them durable, which a
// restore always does. Set LINECAMP_TEST_DIR to a folder on the drive to be
// measured.
func BenchmarkRestore(b *testing.B) {
	for _, size := range []struct {
		name        string
		files, size int
	}{{"photos", 64, 4 << 20}, {"small", 2000, 20 << 10}} {
		b.Run(size.name, func(b *testing.B) {
			if _, err := exec.LookPath("cp"); err != nil {
				b.Skip("no cp here")
			}
			r := verifytest.New(b, 1)
			random := rand.New(rand.NewPCG(1, 2))
			state := verifytest.State{}
			for i := range size.files {
				p := fmt.Sprintf("%d-06-21/plot%d.jpg", 1990+i%30, i)
				f := verifytest.Photo(p, verifytest.Day(2020, 6, 21))
				f.Bytes = make([]byte, size.size)
				for j := range f.Bytes {
					f.Bytes[j] = byte(random.Uint32())
				}
				state[p] = f
			}
			r.Version(verifytest.Stake, verifytest.Day(2020, 7, 1), state)
			content := filepath.Join(r.Dirs[0], verifytest.Stake.Slug, "v1", "content")
			out := verifytest.TempDir(b)
			if err := exec.Command("sync").Run(); err != nil {
				b.Fatal(err)
			}
			var cp, cpSync, restored time.Duration
			for i := 0; b.Loop(); i++ {
				into := filepath.Join(out, fmt.Sprint("cp", i))
				start := time.Now()
				if err := exec.Command("cp", "-r", content, into).Run(); err != nil {
					b.Fatal(err)
				}
				cp += time.Since(start)
				if err := exec.Command("sync", "-f", into).Run(); err != nil {
					b.Fatal(err)
				}
				cpSync += time.Since(start)
				os.RemoveAll(into)
				exec.Command("sync", "-f", out).Run()
				start = time.Now()
				into = filepath.Join(out, fmt.Sprint("restored", i))
				rep := run(b, from(r), Options{Sites: stake(r), Into: into})
				restored += time.Since(start)
				if rep.Files != size.files || rep.Wants() {
					b.Fatalf("%+v", rep)
				}
				os.RemoveAll(into)
				exec.Command("sync", "-f", out).Run()
			}
			b.SetBytes(int64(size.files * size.size))
			b.ReportMetric(float64(restored)/float64(cp), "x-cp")
			b.ReportMetric(float64(restored)/float64(cpSync), "x-cp+sync")
		})
	}
}
