package ranch

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image/jpeg"
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"

	"linecamp/cmd/ranchdemo/ranch/exif"
)

// ErrNotEmpty: a ranch is only ever drawn into a new or an empty folder.
var ErrNotEmpty = errors.New("the folder is not empty")

// Drawn counts what Draw wrote.
type Drawn struct {
	Photos, Notes int
	Bytes         int64
}

// quality is a pocket camera's: small files that still look well.
const quality = 82

// Draw writes the ranch below dir, on every core. The folder must be empty or
// not exist. Canceled, it stops after the pictures it is painting.
func (r *Ranch) Draw(ctx context.Context, dir string) (Drawn, error) {
	if there, err := os.ReadDir(dir); err == nil && len(there) > 0 {
		return Drawn{}, fmt.Errorf("%s: %w; name a new one", dir, ErrNotEmpty)
	}
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return Drawn{}, fmt.Errorf("making the ranch's folder: %w", err)
	}
	var mu sync.Mutex
	var done Drawn
	write := func(name string, b []byte, when time.Time, photo bool) error {
		if err := WriteFile(filepath.Join(dir, filepath.FromSlash(name)), b, when); err != nil {
			return fmt.Errorf("drawing %s: %w", name, err)
		}
		mu.Lock()
		defer mu.Unlock()
		if photo {
			done.Photos++
		} else {
			done.Notes++
		}
		done.Bytes += int64(len(b))
		return nil
	}
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(runtime.GOMAXPROCS(0))
	for _, v := range r.Visits {
		g.Go(func() error { return r.DrawVisit(ctx, v, write) })
	}
	if err := g.Wait(); err != nil {
		return done, err
	}
	if n := len(r.Visits); n > 0 && !planTime.After(r.Visits[n-1].Time) {
		return done, write(planName, []byte(grazingPlan(planYear)), planTime, false)
	}
	return done, nil
}

// planName lies in a pasture's folder and so serves both of its stakes.
var planName = fmt.Sprintf("North Flat/grazing plan %d.txt", planYear)

// DrawVisit paints one visit's pictures and writes its notes. The card was
// read and the notes typed up the same afternoon, which is the files' time.
func (r *Ranch) DrawVisit(ctx context.Context, v *Visit, write func(string, []byte, time.Time, bool) error) error {
	y, m, day := v.Time.Date()
	typed := time.Date(y, m, day, 15, 10+v.Time.Minute()/2, v.Time.Second(), 0, Zone)
	views := []string{"plot", "landscape"}
	if v.NoLandscape {
		views = views[:1]
	}
	for i, view := range views {
		if err := ctx.Err(); err != nil {
			return err
		}
		b, err := r.Picture(v, view)
		if err != nil {
			return err
		}
		if err := write(v.Folder()+"/"+view+".jpg", b, typed.Add(time.Duration(i)*time.Second), true); err != nil {
			return err
		}
	}
	if v.NoNote {
		return nil
	}
	return write(v.Folder()+"/notes.txt", []byte(v.notes(r.Seed)), typed.Add(11*time.Minute), false)
}

// Picture is one view of a visit as a JPEG with its Exif segment: "plot" or
// "landscape".
func (r *Ranch) Picture(v *Visit, view string) ([]byte, error) {
	b, err := r.Plain(v, view)
	if err != nil {
		return nil, fmt.Errorf("encoding %s %s: %w", v.Folder(), view, err)
	}
	return exif.With(b, v.Shot(r.Seed, view))
}

// Plain is a picture without anything that a camera would have written.
func (r *Ranch) Plain(v *Visit, view string) ([]byte, error) {
	m := Landscape
	if view == "plot" {
		m = Plot
	}
	var b bytes.Buffer
	err := jpeg.Encode(&b, m(r.Seed, v), &jpeg.Options{Quality: quality})
	return b.Bytes(), err
}

// WriteFile writes a file with the time when, and the folders above it.
func WriteFile(path string, b []byte, when time.Time) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		return err
	}
	if err := os.WriteFile(path, b, 0o666); err != nil {
		return err
	}
	return os.Chtimes(path, when, when)
}
