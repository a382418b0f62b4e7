package daemon_test

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/minio/minio-go/v7"

	"linecamp/daemon"
	"linecamp/daemon/config"
	"linecamp/daemon/setup"
	"linecamp/daemon/show/text"
	"linecamp/manifest/store/s3test"
)

// ranch is a small archive on real folders, set up as a person would.
type ranch struct {
	t      *testing.T
	dir    string
	folder string
	config string
	now    time.Time
	set    setup.Options
	server *s3test.Server
}

func newRanch(t *testing.T, drives ...string) *ranch {
	t.Helper()
	dir := t.TempDir()
	r := &ranch{t: t, dir: dir, folder: filepath.Join(dir, "monitoring"), config: filepath.Join(dir, "saltbush-draw.toml"),
		now: time.Date(2026, 11, 2, 12, 0, 0, 0, time.Local)}
	for _, site := range []string{"Windmill/Stake 3", "North Draw/Post 1"} {
		for year := 2023; year <= 2025; year++ {
			r.photo(fmt.Sprintf("%s/%d-06-21/plot.jpg", site, year))
			r.photo(fmt.Sprintf("%s/%d-06-21/landscape.jpg", site, year))
			r.write(fmt.Sprintf("%s/%d-06-21/notes.txt", site, year), "grass "+site+fmt.Sprint(year))
		}
	}
	r.set = setup.Options{Archive: "saltbush-draw", Folder: r.folder, Config: r.config, State: filepath.Join(dir, "state"), Log: quiet(), Now: r.clock}
	for _, d := range drives {
		if err := os.MkdirAll(r.drive(d), 0o755); err != nil {
			t.Fatal(err)
		}
		r.set.Drives = append(r.set.Drives, setup.NamedDir{Name: d, Dir: r.drive(d)})
	}
	return r
}

// bucket adds a copy in a bucket of a server inside this process.
func (r *ranch) bucket() *ranch {
	r.t.Helper()
	s := s3test.Fake(r.t)
	url, err := s.Bucket(r.t.Context(), "monitoring")
	if err != nil {
		r.t.Fatal(err)
	}
	r.t.Setenv("AWS_ACCESS_KEY_ID", s.Access)
	r.t.Setenv("AWS_SECRET_ACCESS_KEY", s.Secret)
	r.server = s
	r.set.S3s = append(r.set.S3s, setup.NamedURL{Name: "bucket", URL: url + "/saltbush-draw"})
	r.set.Region = s.Region
	return r
}

// setup makes the copies and the config.
func (r *ranch) setup() *ranch {
	r.t.Helper()
	if _, err := setup.Run(r.t.Context(), r.set); err != nil {
		r.t.Fatal(err)
	}
	return r
}

func quiet() *slog.Logger { return slog.New(slog.NewTextHandler(io.Discard, nil)) }

func (r *ranch) clock() time.Time { return r.now }

func (r *ranch) drive(name string) string { return filepath.Join(r.dir, "drives", name, "line-camp") }

func (r *ranch) write(path, text string) {
	r.t.Helper()
	file := filepath.Join(r.folder, filepath.FromSlash(path))
	if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
		r.t.Fatal(err)
	}
	if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
		r.t.Fatal(err)
	}
	// Long finished, not still being written.
	old := time.Date(2025, 12, 1, 8, 0, 0, 0, time.UTC)
	if err := os.Chtimes(file, old, old); err != nil {
		r.t.Fatal(err)
	}
}

func (r *ranch) photo(path string) {
	r.t.Helper()
	img := image.NewGray(image.Rect(0, 0, 16, 16))
	for i, b := range []byte(path) {
		img.SetGray(i%16, i/16, color.Gray{b})
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, nil); err != nil {
		r.t.Fatal(err)
	}
	r.write(path, b.String()+path) // what follows the picture makes it one of its own
}

func (r *ranch) load() config.Archive {
	r.t.Helper()
	all, errs := config.Load(r.config)
	if len(errs) > 0 {
		r.t.Fatal(errs)
	}
	return all[0]
}

func (r *ranch) open() *daemon.Archive {
	r.t.Helper()
	a, err := daemon.Open(r.load(), daemon.Options{Log: quiet(), Now: r.clock})
	if err != nil {
		r.t.Fatal(err)
	}
	r.t.Cleanup(func() { a.Close() })
	return a
}

func (r *ranch) mirror(a *daemon.Archive) daemon.MirrorReport {
	r.t.Helper()
	m, err := a.Mirror(r.t.Context(), daemon.MirrorOptions{}, nil)
	if err != nil {
		r.t.Fatal(err)
	}
	return m
}

// printed is a report in words.
func printed(r daemon.Report) string {
	var b bytes.Buffer
	text.Print(&b, r)
	return b.String()
}

var putOptions = minio.PutObjectOptions{}

// addCopy adds a drive to the config.
func (r *ranch) addCopy(name, dir string) {
	r.t.Helper()
	o := setup.Options{Config: r.config, Drives: []setup.NamedDir{{Name: name, Dir: dir}}, Log: quiet(), Now: r.clock}
	if _, err := setup.AddCopy(r.t.Context(), o); err != nil {
		r.t.Fatal(err)
	}
}
