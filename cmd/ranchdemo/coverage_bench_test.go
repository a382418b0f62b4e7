package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"linecamp/daemon"
	"linecamp/daemon/config"
	"linecamp/daemon/setup"
	"linecamp/verify"
)

// The extension office: many archives of 30 sites by 25 years, 1,500 photos and
// 750 notes each.
const (
	officeSites            = 30
	officeFirst, officeEnd = 2001, 2025
)

// BenchmarkCoverage judges the years of one archive after the other, with
// nothing changed: the folder is walked, every file's facts come from the
// ledger and every manifest from the state folder. LINECAMP_ARCHIVES says how
// many archives; 500 is the office meant, and takes some minutes to draw.
//
// It is held against walking the folder and reading the ledger's file, which is
// what must be read at the least.
func BenchmarkCoverage(b *testing.B) {
	n := archives(b, 20)
	base := inMemory(b, n)
	configs := drawOffice(b, base, n)
	photos := n * officeSites * (officeEnd - officeFirst + 1) * 2
	var early int64 // resident after a tenth of the archives
	b.ResetTimer()
	for range b.N {
		var longest, all, least, cpu time.Duration
		for i, c := range configs {
			t, used := time.Now(), processor(b)
			judgeYears(b, c)
			took := time.Since(t)
			cpu += processor(b) - used
			all += took
			longest = max(longest, took)
			least += leastReading(b, c)
			if i == n/10 {
				early = peakResident(b)
			}
		}
		b.ReportMetric(all.Seconds()*1000/float64(n), "ms/archive")
		b.ReportMetric(cpu.Seconds()*1000/float64(n), "ms-processor/archive")
		b.ReportMetric(longest.Seconds()*1000, "ms-longest")
		b.ReportMetric(all.Seconds(), "s/office")
		b.ReportMetric(all.Seconds()/least.Seconds(), "x-walk-and-read")
		b.ReportMetric(float64(photos), "photos")
		b.ReportMetric(float64(early)/1e6, "MB-after-a-tenth")
		b.ReportMetric(float64(peakResident(b))/1e6, "MB-peak")
	}
}

// judgeYears is what `verify --only years` does for one archive.
func judgeYears(b *testing.B, conf string) {
	b.Helper()
	all, faults := config.Load(conf)
	if len(faults) > 0 {
		b.Fatal(faults)
	}
	a, err := daemon.Open(all[0], daemon.Options{Log: slog.New(slog.NewTextHandler(io.Discard, nil)), Now: officeDay})
	if err != nil {
		b.Fatal(err)
	}
	defer a.Close()
	r, err := a.Verify(context.Background(), daemon.VerifyOptions{Only: daemon.OnlyYears}, nil)
	if err != nil || len(r.Years) < officeSites*(officeEnd-officeFirst+1) || len(r.Findings) > 0 {
		b.Fatalf("%d years, findings %v, %v", len(r.Years), r.Findings, err)
	}
	for _, y := range r.Years {
		if y.State != verify.Whole && y.State != verify.Due {
			b.Fatalf("%+v", y)
		}
	}
}

func officeDay() time.Time { return time.Date(officeEnd+1, time.March, 3, 9, 0, 0, 0, time.Local) }

// leastReading walks an archive's folder and reads its state folder.
func leastReading(b *testing.B, conf string) time.Duration {
	b.Helper()
	t := time.Now()
	dir := filepath.Dir(conf)
	for _, sub := range []string{"folder", "state"} {
		err := filepath.WalkDir(filepath.Join(dir, sub), func(name string, d os.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				return err
			}
			if sub == "folder" {
				_, err = d.Info()
				return err
			}
			_, err = os.ReadFile(name)
			return err
		})
		if err != nil {
			b.Fatal(err)
		}
	}
	return time.Since(t)
}

// drawOffice draws one archive, sets it up and mirrors it to a drive, and makes
// the others after it: each a folder and a state of its own, brought up to date
// by a tally. They share the drive, which none of them reads.
func drawOffice(b *testing.B, base string, n int) (configs []string) {
	b.Helper()
	log := slog.New(slog.NewTextHandler(io.Discard, nil))
	first, drive := filepath.Join(base, "0"), filepath.Join(base, "drive")
	must := func(err error) {
		if err != nil {
			b.Helper()
			b.Fatal(err)
		}
	}
	must(os.MkdirAll(drive, 0o777))
	must(drawRegular(filepath.Join(first, "folder"), officeSites, officeFirst, officeEnd))
	conf := filepath.Join(first, "office.toml")
	_, err := setup.Run(b.Context(), setup.Options{Archive: "office", Folder: filepath.Join(first, "folder"), Config: conf, State: filepath.Join(first, "state"),
		Log: log, Now: officeDay, Drives: []setup.NamedDir{{Name: "shelf", Dir: drive}}})
	must(err)
	for i := range n {
		dir := filepath.Join(base, strconv.Itoa(i))
		conf := filepath.Join(dir, "office.toml")
		if i > 0 {
			out, err := exec.Command("cp", "-a", first, dir).CombinedOutput()
			if err != nil {
				b.Fatalf("cp: %v %s", err, out)
			}
			text, err := os.ReadFile(conf)
			must(err)
			must(os.WriteFile(conf, []byte(strings.ReplaceAll(string(text), first, dir)), 0o666))
		}
		all, faults := config.Load(conf)
		if len(faults) > 0 {
			b.Fatal(faults)
		}
		a, err := daemon.Open(all[0], daemon.Options{Log: log, Now: officeDay})
		must(err)
		if i == 0 {
			r, err := a.Mirror(b.Context(), daemon.MirrorOptions{}, nil)
			if err != nil || r.Wants() {
				b.Fatalf("%+v, %v", r, err)
			}
		} else if _, err := a.Tally(b.Context(), nil); err != nil {
			b.Fatal(err)
		}
		must(a.Close())
		configs = append(configs, conf)
	}
	return configs
}

// processor is the processor time that this process has used: other programs on the
// machine disturb it less than the time on the clock.
func processor(b *testing.B) time.Duration {
	var r unix.Rusage
	if err := unix.Getrusage(unix.RUSAGE_SELF, &r); err != nil {
		b.Fatal(err)
	}
	return time.Duration(r.Utime.Nano() + r.Stime.Nano())
}

// peakResident is the most memory this process ever had, in bytes.
func peakResident(b *testing.B) int64 {
	status, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return 0
	}
	for line := range strings.Lines(string(status)) {
		var kb int64
		if _, err := fmt.Sscanf(line, "VmHWM: %d kB", &kb); err == nil {
			return kb * 1000
		}
	}
	return 0
}

// archives is how many LINECAMP_ARCHIVES asks for, else as many as usual.
func archives(b *testing.B, usual int) int {
	s := os.Getenv("LINECAMP_ARCHIVES")
	if s == "" {
		return usual
	}
	n, err := strconv.Atoi(s)
	if err != nil {
		b.Fatal(err)
	}
	return n
}

// inMemory is a folder whose files are in memory, where the system has such a place with
// room for so many archives: a disk is not what is measured. Elsewhere what was just drawn
// is in the system's cache, as far as that reaches.
func inMemory(b *testing.B, n int) string {
	const files, bytes = 7_000, 16 << 20 // of an archive, its copy and its state, links counted
	var room unix.Statfs_t
	if err := unix.Statfs("/dev/shm", &room); err != nil || room.Ffree < uint64(n)*files || room.Bavail*uint64(room.Bsize)/3 < uint64(n)*bytes {
		return b.TempDir()
	}
	dir, err := os.MkdirTemp("/dev/shm", "linecamp-archives-")
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { os.RemoveAll(dir) })
	return dir
}
