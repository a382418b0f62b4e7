package newmachine_test

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/minio/minio-go/v7"
	"golang.org/x/sync/errgroup"

	"linecamp/daemon/newmachine"
	"linecamp/daemon/reach"
	"linecamp/manifest/store/s3test"
)

// sync has what is below a folder on the disk.
func syncBelow(b *testing.B, folder string) {
	b.Helper()
	if err := exec.Command("sync", "-f", folder).Run(); err != nil {
		b.Fatal(err)
	}
}

// BenchmarkFromDrive holds the whole way back from a drive against "cp -r" and "sync" of
// the drive, one after the other: the median of those pairs, and the quickest of each,
// which other work on the machine disturbs least. Set TMPDIR to a folder on the disk to be
// measured, and -benchtime 9x.
func BenchmarkFromDrive(b *testing.B) {
	for _, size := range []struct {
		name        string
		files, size int
	}{{"photos", 200, 2 << 20}, {"small", 2000, 20 << 10}} {
		b.Run(size.name, func(b *testing.B) {
			r := newRanch(b, true, nil)
			r.photos(10, size.files, size.size)
			mirror(b, r.cfg)
			var cps, all, ratios []float64
			for b.Loop() {
				into := filepath.Join(b.TempDir(), "cp")
				syncBelow(b, r.folder)
				began := time.Now()
				must(b, exec.Command("cp", "-r", r.drive, into).Run())
				syncBelow(b, into)
				cp := time.Since(began).Seconds()
				must(b, os.RemoveAll(into))
				syncBelow(b, r.folder)
				m := newMachine(b, reach.RootAccess{Root: r.drive})
				began = time.Now()
				rep, err := m.run(context.Background())
				must(b, err)
				ours := time.Since(began).Seconds()
				if rep.Files != size.files || rep.Wants() {
					b.Fatalf("%+v", rep)
				}
				must(b, os.RemoveAll(m.o.Into))
				cps, all, ratios = append(cps, cp), append(all, ours), append(ratios, ours/cp)
			}
			slices.Sort(ratios)
			b.ReportMetric(ratios[len(ratios)/2], "x-cp+sync")
			b.ReportMetric(slices.Min(all)/slices.Min(cps), "x-quickest-of-each")
		})
	}
}

// BenchmarkFromBucket holds the whole way back from a real S3 server against a bare loop
// that downloads the same objects, as many at once.
func BenchmarkFromBucket(b *testing.B) {
	const n, size, atOnce = 1000, 200 << 10, 4
	srv := s3test.Real(b)
	r := newRanch(b, false, srv)
	r.photos(20, n, size)
	mirror(b, r.cfg)
	core, err := srv.Client()
	must(b, err)
	var keys []string
	for o := range core.Client.ListObjects(context.Background(), bucket, minio.ListObjectsOptions{Recursive: true}) {
		must(b, o.Err)
		if filepath.Ext(o.Key) == ".jpg" {
			keys = append(keys, o.Key)
		}
	}
	if len(keys) != n {
		b.Fatalf("%d photos in the bucket", len(keys))
	}
	var theirs, ours time.Duration
	for b.Loop() {
		into := b.TempDir()
		began := time.Now()
		var g errgroup.Group
		g.SetLimit(atOnce)
		for _, k := range keys {
			g.Go(func() error {
				return core.Client.FGetObject(context.Background(), bucket, k, filepath.Join(into, k), minio.GetObjectOptions{})
			})
		}
		must(b, g.Wait())
		syncBelow(b, into)
		theirs += time.Since(began)
		must(b, os.RemoveAll(into))
		m := newMachine(b, reach.RootAccess{Root: srv.URL + "/" + bucket + "/draw", Region: srv.Region})
		began = time.Now()
		rep, err := m.run(context.Background())
		must(b, err)
		ours += time.Since(began)
		if rep.Files != n || rep.Wants() {
			b.Fatalf("%+v", rep)
		}
		must(b, os.RemoveAll(m.o.Into))
	}
	b.ReportMetric(float64(theirs)/float64(ours), "ratio")
}

// BenchmarkFirstSite says how long it takes until the site that comes first is there, of
// 10,000 files on a drive, beside the time that "cp -r" and "sync" take for that site.
func BenchmarkFirstSite(b *testing.B) {
	const sites, n, size = 100, 10_000, 20 << 10
	r := newRanch(b, true, nil)
	r.photos(sites, n, size)
	mirror(b, r.cfg)
	one := filepath.Join(r.folder, "Windmill", "Stake 42")
	var cp, ours time.Duration
	rounds := 0
	for b.Loop() {
		rounds++
		into := filepath.Join(b.TempDir(), "cp")
		syncBelow(b, r.folder)
		began := time.Now()
		must(b, exec.Command("cp", "-r", one, into).Run())
		syncBelow(b, into)
		cp += time.Since(began)

		m := newMachine(b, reach.RootAccess{Root: r.drive})
		m.o.First = "Stake 42"
		must(b, os.Setenv("XDG_STATE_HOME", m.state))
		began = time.Now()
		f, err := newmachine.Look(context.Background(), m.o)
		must(b, err)
		s, err := f.Settle(context.Background(), nil)
		must(b, err)
		ctx, cancel := context.WithCancel(context.Background())
		var there time.Duration
		_, err = s.Run(ctx, func(_ string, done, _ int64) {
			if there == 0 && done > n/sites*size { // the site has its names before the next begins
				there = time.Since(began)
				cancel()
			}
		})
		cancel()
		f.Close()
		if there == 0 {
			b.Fatal(fmt.Errorf("it ended before it was there: %w", err))
		}
		if got := len(digests(b, filepath.Join(m.o.Into, "Windmill", "Stake 42"))); got != n/sites {
			b.Fatalf("%d files of the site are there", got)
		}
		ours += there
	}
	b.ReportMetric(cp.Seconds()/float64(rounds), "s-cp+sync")
	b.ReportMetric(ours.Seconds()/float64(rounds), "s-first-site")
}
