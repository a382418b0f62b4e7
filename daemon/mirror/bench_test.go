package mirror

import (
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"linecamp/daemon/mirror/report"
	"linecamp/daemon/reach"
	"linecamp/manifest/store/s3test"
	"linecamp/manifest/tally"

	"github.com/minio/minio-go/v7"
	"golang.org/x/sync/errgroup"
)

// photos fills the working folder with n pictures of the given size, a plot and
// a landscape per visit, over several sites.
func (r *ranch) photos(n, size int) {
	rnd := rand.NewChaCha8([32]byte{1})
	b := make([]byte, size)
	for i := range n {
		rnd.Read(b)
		site, year := i/2%8, 2000+i/16%25
		name := fmt.Sprintf("Pasture %d/Stake %d/%d-06-%02d/%s %d.jpg", site%3, site, year, 10+site, []string{"plot", "landscape"}[i%2], i/400)
		r.write(name, string(b))
	}
}

// BenchmarkMirrorToDrive measures a first mirror to one drive, with and without
// the tally before it, against `cp -r` and `sync` of the same tree onto the same
// file system, and `sha256sum` of it on every core. The target is at most 1.0 of
// their time together.
func BenchmarkMirrorToDrive(b *testing.B) {
	for _, shape := range []struct {
		name    string
		n, size int
	}{{"200x2MB", 200, 2 << 20}, {"2000x100kB", 2000, 100 << 10}} {
		b.Run(shape.name, func(b *testing.B) {
			var ours, withTally, theirs time.Duration
			for b.Loop() {
				r := newRanch(b, "shelf")
				r.photos(shape.n, shape.size)
				must(b, exec.Command("sync").Run())

				target := filepath.Join(b.TempDir(), "cp")
				start := time.Now()
				must(b, exec.Command("cp", "-r", r.folder, target).Run())
				must(b, exec.Command("sync").Run())
				must(b, exec.Command("sh", "-c", "find \"$1\" -type f -print0 | xargs -0 -n 16 -P \"$(nproc)\" sha256sum >/dev/null", "sh", target).Run())
				theirs += time.Since(start)
				must(b, os.RemoveAll(target))
				must(b, exec.Command("sync").Run())

				start = time.Now()
				in := r.in()
				tallied := time.Now()
				rep, err := runLocked(r, in)
				must(b, err)
				withTally += time.Since(start)
				ours += time.Since(tallied)
				if rep.Copies[0].State != reach.Current {
					b.Fatalf("%+v", rep)
				}
			}
			b.ReportMetric(float64(ours)/float64(theirs), "ratio")
			b.ReportMetric(float64(withTally)/float64(theirs), "ratio-with-tally")
		})
	}
}

func runLocked(r *ranch, in In) (report.Report, error) {
	for _, c := range r.copies {
		if c.kind == "drive" {
			unlock, err := c.root.Lock(r.t.Context())
			if err != nil {
				return report.Report{}, err
			}
			defer unlock()
		}
	}
	return Run(r.t.Context(), in)
}

// BenchmarkMirrorToBucket measures a first mirror of 2,000 photos to the real
// S3 server against a bare minio-go PutObject loop over the same files with the
// same number under way. The target is at least 0.90 of its speed.
func BenchmarkMirrorToBucket(b *testing.B) {
	const n, size, atOnce = 2000, 200 << 10, 4
	ctx := b.Context()
	var ours, theirs time.Duration
	for b.Loop() {
		srv := s3test.Real(b)
		r := newRanch(b)
		r.addBucket(srv, "bucket")
		r.photos(n, size)
		in := r.in()

		client, err := srv.Client()
		must(b, err)
		_, err = srv.Bucket(ctx, "loop")
		must(b, err)
		var files []tally.File
		for i := range in.Tally.Sites {
			files = slices.AppendSeq(files, in.Tally.Sites[i].Files())
		}
		start := time.Now()
		var g errgroup.Group
		g.SetLimit(atOnce)
		for _, f := range files {
			g.Go(func() error {
				_, err := client.Client.FPutObject(ctx, "loop", f.Path, filepath.Join(r.folder, f.Path), minio.PutObjectOptions{})
				return err
			})
		}
		must(b, g.Wait())
		theirs += time.Since(start)

		start = time.Now()
		rep, err := runLocked(r, in)
		must(b, err)
		ours += time.Since(start)
		if rep.Copies[0].State != reach.Current || rep.Copies[0].Files != n {
			b.Fatalf("%+v", rep)
		}
	}
	b.ReportMetric(float64(theirs)/float64(ours), "ratio")
}
