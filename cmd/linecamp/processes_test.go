package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/minio/minio-go/v7"

	"linecamp/manifest/store/drive"
	"linecamp/manifest/store/s3test"
)

// machine is one computer as linecamp sees it: its own settings, its own state
// and its own id. Each run of it is a process of its own.
type machine struct {
	t   *testing.T
	env []string
}

func newMachine(t *testing.T, name, author string, env ...string) *machine {
	t.Helper()
	home := t.TempDir()
	state := filepath.Join(home, "state")
	check(t, os.MkdirAll(filepath.Join(state, "linecamp"), 0o700))
	check(t, os.WriteFile(filepath.Join(state, "linecamp", "machine.json"), fmt.Appendf(nil, "{%q: %q, %q: %q}", "author", author, "machine", name), 0o600))
	return &machine{t, append(append(os.Environ(), env...),
		"HOME="+home, "USERPROFILE="+home, "LocalAppData="+state, "XDG_STATE_HOME="+state,
		"XDG_CONFIG_HOME="+filepath.Join(home, "settings"), "LINECAMP_CONFIG="+filepath.Join(home, "settings"))}
}

// ran is what came of one run.
type ran struct {
	status   int
	out, err string
}

func (m *machine) run(args ...string) ran {
	var out, errs strings.Builder
	cmd := exec.Command("linecamp", args...)
	cmd.Env, cmd.Stdout, cmd.Stderr = m.env, &out, &errs
	var ended *exec.ExitError
	if err := cmd.Run(); err != nil && !errors.As(err, &ended) {
		m.t.Errorf("linecamp %v: %v", args, err)
		return ran{status: -1}
	}
	return ran{cmd.ProcessState.ExitCode(), out.String(), errs.String()}
}

// must runs it and wants one of the statuses.
func (m *machine) must(statuses []int, args ...string) ran {
	m.t.Helper()
	r := m.run(args...)
	if !slices.Contains(statuses, r.status) {
		m.t.Fatalf("linecamp %v ended with status %d\n%s%s", args, r.status, r.out, r.err)
	}
	return r
}

func check(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// mirrored is what these tests read of a mirror report.
type mirrored struct {
	Copies []struct{ Copy, State, Error string }
	Made   int `json:"versions_made"`
}

func (r ran) mirrored(t testing.TB) (m mirrored) {
	if err := json.Unmarshal([]byte(r.out), &m); err != nil {
		t.Errorf("status %d: %v\n%s%s", r.status, err, r.out, r.err)
	}
	return m
}

// addVisit gives each of a number of sites a visit in a year.
func addVisit(t testing.TB, folder string, sites, year int) {
	t.Helper()
	finished := time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC) // not still being written
	for i := range sites {
		for _, name := range []string{"plot.jpg", "landscape.jpg"} {
			file := filepath.Join(folder, "North Draw", fmt.Sprintf("Post %d", i+1), fmt.Sprintf("%d-06-20", year), name)
			check(t, os.MkdirAll(filepath.Dir(file), 0o755))
			check(t, os.WriteFile(file, []byte("picture "+file), 0o644))
			check(t, os.Chtimes(file, finished, finished))
		}
	}
}

// Many processes for the same drive at once: they take turns where they share a
// state folder; where they do not, as two users, one is told that the other is
// writing. Nothing is recorded twice.
func TestProcessesShareADrive(t *testing.T) {
	const sites, author = 12, "5b0e9d3c-0b1f-4c55-8d5e-6f1f3f0a7b21"
	dir := t.TempDir()
	folder, shelf := filepath.Join(dir, "field"), filepath.Join(dir, "shelf")
	addVisit(t, folder, sites, 2023)
	// The second has a state folder of its own, and so is another author.
	one, two := newMachine(t, "office", author), newMachine(t, "office", author)
	for _, m := range []*machine{one, two} {
		m.must([]int{0}, "setup", "--yes", "--archive", "saltbush-draw", "--folder", folder, "--drive", "shelf="+shelf)
	}

	// While somebody has the drive, a round says so and writes nothing.
	held, err := drive.Open(shelf, "")
	check(t, err)
	unlock, err := held.Lock(t.Context())
	check(t, err)
	r := one.must([]int{3}, "mirror", "--json").mirrored(t)
	if c := r.Copies[0]; r.Made != 0 || c.State != "failed" || !strings.Contains(c.Error, "another linecamp is writing") {
		t.Errorf("with the drive in use: %+v", r)
	}
	unlock()
	held.Close()

	for year := 2023; year <= 2025; year++ {
		addVisit(t, folder, sites, year)
		var all sync.WaitGroup
		var mu sync.Mutex
		made := 0
		if year == 2023 { // so it is the one that records
			made = one.must([]int{0}, "mirror", "--json").mirrored(t).Made
		}
		for range 3 {
			for _, m := range []*machine{one, two} {
				all.Go(func() {
					r := m.run("mirror", "--json")
					if r.status != 0 && r.status != 3 {
						t.Errorf("status %d\n%s%s", r.status, r.out, r.err)
						return
					}
					mu.Lock()
					defer mu.Unlock()
					made += r.mirrored(t).Made
				})
			}
		}
		all.Wait()
		made += one.must([]int{0}, "mirror", "--json").mirrored(t).Made // it may have been turned away
		if r := two.must([]int{3}, "mirror", "--json").mirrored(t); r.Made != 0 {
			t.Errorf("%d: the second state folder recorded: %+v", year, r)
		}
		if made != sites {
			t.Errorf("%d: %d versions were made for %d sites", year, made, sites)
		}
	}
	one.must([]int{0}, "verify", "--only", "rot")
	two.must([]int{3}, "verify", "--only", "rot")
	seal, err := os.ReadFile(filepath.Join(shelf, "extensions", "linecamp-seal", "log", "00000.txt"))
	check(t, err)
	if n := strings.Count(string(seal), " version "); n != 3*sites {
		t.Errorf("the seal names %d versions, not %d", n, 3*sites)
	}
}

// A machine takes an archive over while another is in the middle of recording
// in the same bucket. Whoever wins each step, no key of a version ever changes
// or goes, the old machine ends and is told, and the new one goes on.
func TestTakeOverInTheMiddleOfARound(t *testing.T) {
	srv := s3test.Real(t)
	url, err := srv.Bucket(t.Context(), bucketName)
	check(t, err)
	keys := []string{"AWS_ACCESS_KEY_ID=" + srv.Access, "AWS_SECRET_ACCESS_KEY=" + srv.Secret}
	const sites = 15
	for round := range 3 {
		t.Run(fmt.Sprint(round), func(t *testing.T) {
			prefix := fmt.Sprintf("draw-%d", round)
			bucket := url + "/" + prefix
			dir := t.TempDir()
			folder := filepath.Join(dir, "field")
			addVisit(t, folder, sites, 2023)
			office := newMachine(t, "office", "5b0e9d3c-0b1f-4c55-8d5e-6f1f3f0a7b21", keys...)
			barn := newMachine(t, "barn", "6fd8f5d6-22dc-4fd8-9d0a-5a2f0e4ff3a1", keys...)
			for _, m := range []*machine{office, barn} {
				m.must([]int{0}, "setup", "--yes", "--archive", "saltbush-draw", "--folder", folder, "--s3", "bucket="+bucket, "--region", srv.Region)
				m.must([]int{0, 3}, "mirror")
			}

			addVisit(t, folder, sites, 2024)
			begun := len(versionKeys(t, srv, prefix))
			done := make(chan ran, 1)
			go func() { done <- office.run("mirror", "--json") }()
			seen := versionKeys(t, srv, prefix)
			for len(seen) < begun+3+7*round && len(done) == 0 { // until it is under way
				seen = versionKeys(t, srv, prefix)
			}
			for tries := 0; ; tries++ {
				r := barn.run("setup", "--take-over")
				if r.status == 0 {
					break
				}
				if tries == 50 || !strings.Contains(r.err, "another computer") {
					t.Fatalf("taking over ended with status %d\n%s%s", r.status, r.out, r.err)
				}
			}
			taken := versionKeys(t, srv, prefix)
			r := <-done
			old := r.mirrored(t)
			t.Logf("the old machine ended with status %d, having made %d of %d versions", r.status, old.Made, sites)
			if r.status != 0 && r.status != 3 {
				t.Errorf("the old machine ended with status %d\n%s%s", r.status, r.out, r.err)
			}
			unchanged(t, seen, taken)

			now := barn.must([]int{0}, "mirror", "--json").mirrored(t)
			if made := old.Made + now.Made; made != sites && made != sites-1 {
				// A version that the old machine had committed and not sealed is sealed by
				// the new one, and counted by neither.
				t.Errorf("%d and %d versions were made for %d sites", old.Made, now.Made, sites)
			}
			unchanged(t, taken, versionKeys(t, srv, prefix))

			addVisit(t, folder, sites, 2025)
			back := office.must([]int{3}, "mirror", "--json")
			if back.mirrored(t).Made != 0 || !strings.Contains(back.out, "another computer records this archive: barn") || !strings.Contains(back.out, "setup --take-over") {
				t.Errorf("the old machine came back: %s", back.out)
			}
			if m := barn.must([]int{0}, "mirror", "--json").mirrored(t); m.Made != sites {
				t.Errorf("the new machine went on with %+v", m)
			}
			barn.must([]int{0}, "verify", "--only", "rot")
			var restored struct {
				Files  int
				Failed []any
			}
			r = barn.must([]int{0}, "restore", "--everything", "--into", filepath.Join(dir, "back"), "--from", bucket, "--region", srv.Region, "--json")
			check(t, json.Unmarshal([]byte(r.out), &restored))
			if restored.Files != 3*2*sites || len(restored.Failed) != 0 {
				t.Errorf("restored %+v", restored)
			}
		})
	}
}

// versionKeys are the keys inside versions, which nobody may ever change, with
// their ETags.
func versionKeys(t testing.TB, srv *s3test.Server, prefix string) map[string]string {
	t.Helper()
	core, err := srv.Client()
	check(t, err)
	keys := map[string]string{}
	for o := range core.Client.ListObjects(context.Background(), bucketName, minio.ListObjectsOptions{Prefix: prefix + "/", Recursive: true}) {
		check(t, o.Err)
		if slices.ContainsFunc([]string{"/v1/", "/v2/", "/v3/"}, func(v string) bool { return strings.Contains(o.Key, v) }) {
			keys[o.Key] = o.ETag
		}
	}
	return keys
}

func unchanged(t testing.TB, before, after map[string]string) {
	t.Helper()
	for key, etag := range before {
		if after[key] != etag {
			t.Errorf("%s was %s and is %q", key, etag, after[key])
		}
	}
}
