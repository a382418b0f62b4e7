package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"sync"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"

	"linecamp/daemon"
	"linecamp/daemon/config"
	"linecamp/daemon/event"
	"linecamp/daemon/many"
	"linecamp/daemon/service"
	"linecamp/daemon/setup"
)

// BenchmarkNight has the service run the mirror round of many archives with nothing new
// in any, and then looks at all of them at once, as `linecamp status` does. Both are held
// against walking the archives' folders and reading their state folders. LINECAMP_ARCHIVES
// says how many, 40 by itself; 500 is the office meant, and takes some minutes and 14 GB to
// draw.
func BenchmarkNight(b *testing.B) {
	n := archives(b, 40)
	base := inMemory(b, n)
	settings := drawNight(b, base, n)
	all, faults := config.Load(settings)
	if len(all) != n || len(faults) > 0 {
		b.Fatalf("%d archives, %v", len(all), faults)
	}
	b.ResetTimer()
	for range b.N {
		var night, least, leastUsed, used, anew, look time.Duration
		quickest := func(of *time.Duration, took time.Duration) {
			if *of == 0 || took < *of {
				*of = took
			}
		}
		for i := range 3 { // others at work on the machine make single ones slow
			var reading time.Duration
			before := processor(b)
			for i := range n {
				reading += leastReading(b, filepath.Join(base, strconv.Itoa(i), "office.toml"))
			}
			quickest(&least, reading)
			quickest(&leastUsed, processor(b)-before)
			before = processor(b)
			morning := officeDay().AddDate(0, 0, i+1)
			quickest(&night, quietNight(b, settings, n, morning.Add(-3*time.Hour)))
			quickest(&used, processor(b)-before)
			quickest(&anew, lookAtAll(b, all, morning, false))
			if n >= 40 { // fewer are all looked at anew, whether the service runs or not
				quickest(&look, lookAtAll(b, all, morning, true))
			}
		}
		b.ReportMetric(night.Seconds(), "s/night")
		b.ReportMetric(least.Seconds(), "s-walk-and-read")
		b.ReportMetric(night.Seconds()/least.Seconds(), "x-walk-and-read")
		b.ReportMetric(used.Seconds()*1000/float64(n), "ms-processor/archive")
		b.ReportMetric(used.Seconds()/leastUsed.Seconds(), "x-processor")
		if look > 0 {
			b.ReportMetric(look.Seconds(), "s/status")
		}
		b.ReportMetric(anew.Seconds(), "s/status-anew")
		b.ReportMetric(float64(peakResident(b))/(1<<20), "MiB-peak")
	}
}

// lookAtAll is `linecamp status`, where the rounds have just been or with a service that
// ran them last night.
func lookAtAll(b *testing.B, all []config.Archive, now time.Time, served bool) time.Duration {
	b.Helper()
	for _, cfg := range all { // the sign of life that the service leaves
		file := filepath.Join(cfg.State, "service.json")
		text, process := fmt.Sprintf(`{"process": %d, "began": %q}`, os.Getpid(), now.Format(time.RFC3339)), now
		if !served {
			process = now.Add(-time.Hour)
		}
		if err := errors.Join(os.WriteFile(file, []byte(text), 0o600), os.Chtimes(file, process, process)); err != nil {
			b.Fatal(err)
		}
	}
	began := time.Now()
	of := many.Status(b.Context(), all, daemon.Options{Log: slog.New(slog.NewTextHandler(io.Discard, nil)), Now: func() time.Time { return now }, Among: len(all)})
	for _, cfg := range all {
		if s, err := of(cfg); err != nil || s.Wants() || served != (s.AsOf != nil) {
			b.Fatalf("%+v, %v", s, err)
		}
	}
	return time.Since(began)
}

// quietNight is how long the rounds of all archives take that are due on one night.
func quietNight(b *testing.B, settings string, n int, at time.Time) time.Duration {
	b.Helper()
	ctx, stop := context.WithCancel(b.Context())
	defer stop()
	var mu sync.Mutex
	var began, ended time.Time
	done := 0
	took := func(t event.Told) {
		mu.Lock()
		defer mu.Unlock()
		switch e := t.Event.(type) {
		case event.RoundBegan:
			if began.IsZero() {
				began = time.Now()
			}
		case event.RoundEnded:
			if ended = time.Now(); e.Round != service.Mirror || e.Outcome != event.Well {
				b.Errorf("%s: %+v", t.Archive, e)
			}
			if done++; done == n {
				stop()
			}
		}
	}
	start := time.Now()
	err := daemon.Serve(ctx, daemon.ServeOptions{Config: settings, Options: daemon.Options{
		Log: slog.New(slog.NewTextHandler(io.Discard, nil)), Now: func() time.Time { return at.Add(time.Since(start)) }, Sinks: []event.Sink{took}}})
	mu.Lock()
	defer mu.Unlock()
	if err != nil || done != n {
		b.Fatalf("%d rounds, %v", done, err)
	}
	return ended.Sub(began)
}

// drawNight draws one folder, and copies it for each archive. Each has a drive and a state
// of its own, and was mirrored and checked.
func drawNight(b *testing.B, base string, n int) (settings string) {
	b.Helper()
	log := slog.New(slog.NewTextHandler(io.Discard, nil))
	drawn := filepath.Join(base, "drawn")
	settings = filepath.Join(base, "settings")
	if err := drawRegular(drawn, officeSites, officeFirst, officeEnd); err != nil {
		b.Fatal(err)
	}
	var all errgroup.Group
	all.SetLimit(2)
	for i := range n {
		all.Go(func() error {
			dir := filepath.Join(base, strconv.Itoa(i))
			name := fmt.Sprintf("ranch-%03d", i)
			if err := os.MkdirAll(filepath.Join(dir, "drive"), 0o777); err != nil {
				return err
			}
			if out, err := exec.Command("cp", "-a", drawn, filepath.Join(dir, "folder")).CombinedOutput(); err != nil {
				return fmt.Errorf("cp: %w %s", err, out)
			}
			r, err := setup.Run(b.Context(), setup.Options{Archive: name, Folder: filepath.Join(dir, "folder"), Config: filepath.Join(settings, name+".toml"),
				State: filepath.Join(dir, "state"), Log: log, Now: officeDay, Drives: []setup.NamedDir{{Name: "shelf", Dir: filepath.Join(dir, "drive")}}})
			if err != nil {
				return err
			}
			cfgs, faults := config.Load(r.Config)
			if len(faults) > 0 {
				return faults[0]
			}
			a, err := daemon.Open(cfgs[0], daemon.Options{Log: log, Now: officeDay, Among: n})
			if err != nil {
				return err
			}
			defer a.Close()
			if r, err := a.Mirror(b.Context(), daemon.MirrorOptions{}, nil); err != nil || r.Wants() {
				return fmt.Errorf("%+v, %w", r, err)
			}
			for _, kind := range []string{service.Verify, service.Drill} { // they have their own nights
				end, err := a.Begin(kind, true)
				if err == nil {
					err = end(b.Context(), false, nil)
				}
				if err != nil {
					return err
				}
			}
			return nil
		})
	}
	if err := all.Wait(); err != nil {
		b.Fatal(err)
	}
	return settings
}
