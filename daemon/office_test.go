package daemon_test

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"linecamp/daemon"
	"linecamp/daemon/config"
	"linecamp/daemon/config/claims"
	"linecamp/daemon/event"
	"linecamp/daemon/setup"
	"linecamp/manifest/store/s3test"
)

// office is a machine with many small archives, each of six files and with a drive.
type office struct {
	t             *testing.T
	dir, settings string
	log           lines
}

// lines is a log that is written from many goroutines.
type lines struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lines) Write(b []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(b)
}

func (l *lines) all() []string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return strings.Split(l.b.String(), "\n")
}

// add sets one up, with a bucket where a URL is given.
func (o *office) add(name, url string) (cfg config.Archive) {
	o.t.Helper()
	dir := filepath.Join(o.dir, name)
	r := &ranch{t: o.t, dir: dir, folder: filepath.Join(dir, "monitoring")}
	for _, site := range []string{"Windmill/Stake 3", "North Draw/Post 1"} {
		for _, file := range []string{"plot.jpg", "landscape.jpg"} {
			r.photo(site + "/2026-06-21/" + file)
		}
		r.write(site+"/2026-06-21/notes.txt", "grass at "+name)
	}
	if err := os.MkdirAll(r.drive("shelf"), 0o755); err != nil {
		o.t.Fatal(err)
	}
	// Alone in its folder while it is set up: the rest are not read for each.
	made := filepath.Join(dir, name+".toml")
	s := setup.Options{Archive: name, Folder: r.folder, Config: made, State: filepath.Join(dir, "state"), Log: quiet(),
		Drives: []setup.NamedDir{{Name: "shelf", Dir: r.drive("shelf")}}}
	if url != "" {
		s.S3s, s.Region = []setup.NamedURL{{Name: "bucket", URL: url}}, "us-east-1"
	}
	if _, err := setup.Run(o.t.Context(), s); err != nil {
		o.t.Fatal(err)
	}
	file := filepath.Join(o.settings, name+".toml")
	if err := os.Rename(made, file); err != nil {
		o.t.Fatal(err)
	}
	all, faults := config.Load(file)
	if len(faults) > 0 {
		o.t.Fatal(faults)
	}
	return all[0]
}

// edit changes the settings of an archive.
func (o *office) edit(name string, change func(string) string) {
	o.t.Helper()
	file := filepath.Join(o.settings, name+".toml")
	b, err := os.ReadFile(file)
	if err == nil {
		err = os.WriteFile(file, []byte(change(string(b))), 0o600)
	}
	if err != nil {
		o.t.Fatal(err)
	}
}

// A night at an office: one archive's bucket hangs, one's settings reach for another's
// prefix, one's ledger is damaged, and one's state cannot be opened. All others have all
// their rounds, two at a time, within bounds of memory and descriptors, and nobody is
// told of another's trouble. LINECAMP_ARCHIVES says how many there are.
func TestANightAtAnOffice(t *testing.T) {
	many := 20
	if testing.Short() {
		many = 6
	}
	if s := os.Getenv("LINECAMP_ARCHIVES"); s != "" {
		var err error
		if many, err = strconv.Atoi(s); err != nil {
			t.Fatal(err)
		}
	}
	o := &office{t: t, dir: t.TempDir()}
	o.settings = filepath.Join(o.dir, "settings")
	if err := os.MkdirAll(o.settings, 0o755); err != nil {
		t.Fatal(err)
	}
	server := s3test.Fake(t)
	url, err := server.Bucket(t.Context(), "clients")
	if err != nil {
		t.Fatal(err)
	}
	t.Setenv("AWS_ACCESS_KEY_ID", server.Access)
	t.Setenv("AWS_SECRET_ACCESS_KEY", server.Secret)
	if err := os.WriteFile(filepath.Join(o.settings, config.MachineFile), []byte("[pool]\nslots = 2\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for i := range many {
		o.add(fmt.Sprintf("ranch-%03d", i), "")
	}
	victim := o.add("victim", url+"/victim")
	if err := claims.Note(victim.State, victim.Claims(), time.Now()); err != nil { // it was there before
		t.Fatal(err)
	}
	o.add("hostile", url+"/other")
	o.edit("hostile", func(s string) string { return strings.ReplaceAll(s, url+"/other", url+"/victim/extensions") })
	broken := o.add("shattered", "")
	if err := os.MkdirAll(broken.State, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(broken.State, "ledger.db"), []byte(strings.Repeat("not a ledger ", 1000)), 0o600); err != nil {
		t.Fatal(err)
	}
	stuck := o.add("stuck", "")
	if err := os.WriteFile(stuck.State, []byte("a file"), 0o600); err != nil {
		t.Fatal(err)
	}
	o.add("hanging", url+"/hanging")
	o.edit("hanging", func(s string) string { return strings.ReplaceAll(s, url, silent(t)) })

	served := many + 2 // the victim and the shattered one too
	ended, most := o.night(served)
	for name, n := range ended {
		switch {
		case name == "hostile" || name == "stuck":
			t.Errorf("%s had a round", name)
		case n != 2: // the first drill comes on its own day
			t.Errorf("%s had %d rounds", name, n)
		}
	}
	if len(ended) != served {
		t.Errorf("%d archives had rounds, want %d", len(ended), served)
	}
	t.Logf("%d archives: %d descriptors and %d MiB at most", served+3, most.files, most.memory>>20)
	if most.files > 200 || most.memory > 200<<20 {
		t.Errorf("it took %d descriptors and %d MiB at most", most.files, most.memory>>20)
	}
	o.privately("hanging", "hostile", "shattered", "stuck", "victim")
	if !strings.Contains(strings.Join(o.log.all(), "\n"), `archive=shattered "set aside"=`) {
		t.Error("nobody was told that a ledger was damaged")
	}
}

// silent is an address at which somebody takes connections and never answers.
func silent(t *testing.T) string {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	go func() {
		for {
			if _, err := l.Accept(); err != nil {
				return
			}
		}
	}()
	return "http://" + l.Addr().String() + "/clients"
}

type taken struct {
	files  int
	memory uint64
}

// night serves until so many archives were mirrored and checked.
func (o *office) night(served int) (ended map[string]int, most taken) {
	o.t.Helper()
	ctx, stop := context.WithTimeout(o.t.Context(), 5*time.Minute)
	defer stop()
	debug.FreeOSMemory() // what earlier tests of this process had does not count
	var mu sync.Mutex
	ended = map[string]int{}
	rounds := 0
	sink := func(e event.Told) {
		r, is := e.Event.(event.RoundEnded)
		if !is || r.Outcome == event.Stopped {
			return
		}
		mu.Lock()
		defer mu.Unlock()
		if r.Outcome == event.Failed && e.Archive != "hanging" {
			o.t.Errorf("%s: %+v", e.Archive, r)
		}
		if r.Round != "mend" && e.Archive != "hanging" {
			ended[e.Archive]++
			rounds++
		}
		most.look()
		if rounds >= 2*served {
			stop()
		}
	}
	text := slog.New(slog.NewTextHandler(&o.log, nil))
	err := daemon.Serve(ctx, daemon.ServeOptions{Config: o.settings, Settle: time.Millisecond, Options: daemon.Options{Log: text, Sinks: []event.Sink{sink}}})
	if err != nil {
		o.t.Error(err)
	}
	mu.Lock()
	defer mu.Unlock()
	return ended, most
}

// look takes note of what the process has just now.
func (m *taken) look() {
	if all, err := os.ReadDir("/proc/self/fd"); err == nil {
		m.files = max(m.files, len(all))
	}
	var s runtime.MemStats
	runtime.ReadMemStats(&s)
	m.memory = max(m.memory, s.Sys-s.HeapReleased)
}

// privately makes sure that no line of the log that is an archive's own, and nothing in
// its state folder or on its copy, names another one.
func (o *office) privately(names ...string) {
	o.t.Helper()
	for _, line := range o.log.all() {
		for _, name := range names {
			if strings.Contains(line, name) && strings.Contains(line, " archive=") && !strings.Contains(line, " archive="+name) {
				o.t.Errorf("of %s: %s", name, line)
			}
		}
	}
	err := filepath.WalkDir(o.dir, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() || strings.HasPrefix(path, o.settings) {
			return err
		}
		b, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		owner, _, _ := strings.Cut(strings.TrimPrefix(path, o.dir+string(filepath.Separator)), string(filepath.Separator))
		for _, name := range names {
			if name != owner && bytes.Contains(b, []byte(name)) && name != "hanging" { // a word that is also the program's
				o.t.Errorf("%s holds the name %s", path, name)
			}
		}
		return nil
	})
	if err != nil {
		o.t.Error(err)
	}
}
