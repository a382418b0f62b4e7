//go:build !windows

package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/manifest/store/crashtest"
	"linecamp/manifest/store/drive"
	"linecamp/manifest/store/s3"
	"linecamp/manifest/store/s3test"
)

// kills is how often the program is killed in the test below.
const kills = 100

// TestKilledAgainAndAgain kills the real program while it mirrors a growing
// archive to a drive and to a real S3 server, at moments that nobody chose. In
// the end both copies hold everything that ever was reported as kept, and
// everything the working folder has; no file is there that no manifest names.
func TestKilledAgainAndAgain(t *testing.T) {
	y := newYard(t)
	if out, status := y.run(y.setup...); status != 0 {
		t.Fatalf("setup: status %d\n%s", status, out)
	}
	y.visit()
	y.complete()
	usual := 300 * time.Millisecond
	done, ended := 0, 0
	for done < kills {
		y.visit()
		if rand.IntN(12) == 0 {
			y.loseState()
		}
		began := time.Now()
		if y.killed(time.Duration(rand.Int64N(int64(usual)))) {
			done++
		} else if ended++; ended > 3*kills {
			t.Fatalf("%d runs ended before they were killed, and only %d were killed", ended, done)
		} else {
			usual = (usual + time.Since(began)) / 2
		}
		if done%20 == 19 {
			began := time.Now()
			y.complete()
			usual = max(usual, time.Since(began))
		}
	}
	y.complete()
	t.Logf("%d kills and %d runs that ended before, a usual round takes %v; the state was lost %d times; %d files in %d versions",
		done, ended, usual.Round(time.Millisecond), y.losses, len(y.kept), y.versions())
	y.whole()
}

// yard is a working folder with a drive, a bucket and the built program.
type yard struct {
	t       *testing.T
	program string
	dir     string
	env     []string
	setup   []string
	server  *s3test.Server
	visits  int
	lost    bool // the state was lost since the last round that ended
	losses  int
	kept    map[manifest.Digest]string // every file a round that ended well reported as kept
}

func newYard(t *testing.T) *yard {
	srv := s3test.Real(t)
	if _, err := srv.Bucket(context.Background(), bucketName); err != nil {
		t.Fatal(err)
	}
	y := &yard{t: t, dir: crashtest.Folder(t), server: srv, kept: map[manifest.Digest]string{}}
	y.program = filepath.Join(t.TempDir(), "linecamp")
	if out, err := exec.Command("go", "build", "-o", y.program, ".").CombinedOutput(); err != nil {
		t.Fatalf("building the program: %v\n%s", err, out)
	}
	y.env = []string{"HOME=" + y.path("home"), "PATH=" + os.Getenv("PATH"), "TZ=UTC", "LC_ALL=C",
		"LINECAMP_CONFIG=" + y.path("settings"), "XDG_CONFIG_HOME=" + y.path("home/settings"), "XDG_STATE_HOME=" + y.path("home/state"),
		"AWS_ACCESS_KEY_ID=" + srv.Access, "AWS_SECRET_ACCESS_KEY=" + srv.Secret}
	y.setup = []string{"setup", "--yes", "--archive", "saltbush-draw", "--folder", y.path("field"), "--state", y.path("state"),
		"--drive", "shelf=" + y.path("shelf"), "--s3", "bucket=" + y.bucket(), "--credentials", "env", "--region", srv.Region}
	for _, d := range []string{"home", "field"} {
		y.must(os.Mkdir(y.path(d), 0o777))
	}
	return y
}

func (y *yard) path(name string) string { return filepath.Join(y.dir, filepath.FromSlash(name)) }
func (y *yard) bucket() string          { return y.server.URL + "/" + bucketName + "/draw" }

func (y *yard) must(err error) {
	y.t.Helper()
	if err != nil {
		y.t.Fatal(err)
	}
}

// visit adds a visit of two sites, of which one gets a new name or an edit to
// an older note now and then.
func (y *yard) visit() {
	y.visits++
	day := time.Date(2009, 6, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, 11*y.visits).Format(time.DateOnly)
	for _, site := range []string{"Windmill/Stake " + fmt.Sprint(1+y.visits%3), "Draw/Stake 9"} {
		for _, name := range []string{"plot.jpg", "landscape.jpg", "notes.txt"} {
			b := make([]byte, 200+rand.IntN(60_000))
			for i := range b {
				b[i] = byte(rand.Uint32())
			}
			y.write(site+"/"+day+"/"+name, b)
		}
		if y.visits%7 == 0 {
			y.write(site+"/"+day+"/notes.txt", []byte("rewritten after visit "+fmt.Sprint(y.visits)))
		}
		if y.visits%9 == 0 {
			y.must(os.Rename(y.path("field/"+site+"/"+day+"/plot.jpg"), y.path("field/"+site+"/"+day+"/plot again.jpg")))
		}
	}
}

// write writes a file that has settled.
func (y *yard) write(name string, b []byte) {
	full := y.path("field/" + name)
	y.must(os.MkdirAll(filepath.Dir(full), 0o777))
	y.must(os.WriteFile(full, b, 0o666))
	at := time.Now().Add(-48 * time.Hour)
	y.must(os.Chtimes(full, at, at))
}

func (y *yard) loseState() {
	y.must(os.RemoveAll(y.path("state")))
	y.lost = true
	y.losses++
	if out, status := y.run("setup", "--take-over"); status != 0 {
		y.t.Fatalf("taking over with a new state folder: status %d\n%s", status, out)
	}
}

func (y *yard) command(args ...string) (*exec.Cmd, *strings.Builder) {
	cmd := exec.Command(y.program, args...)
	out := &strings.Builder{}
	cmd.Env, cmd.Dir, cmd.Stdout, cmd.Stderr = y.env, y.dir, out, out
	return cmd, out
}

// run runs the program to its end.
func (y *yard) run(args ...string) (out string, status int) {
	y.t.Helper()
	cmd, b := y.command(args...)
	err := cmd.Run()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		y.t.Fatal(err)
	}
	return b.String(), cmd.ProcessState.ExitCode()
}

func (y *yard) mirrorArgs() []string {
	if y.lost { // what changed while nobody remembered waits for a person's word
		return []string{"mirror", "--accept-changes"}
	}
	return []string{"mirror"}
}

// killed lets a round begin and kills it; false where it had ended before.
func (y *yard) killed(after time.Duration) bool {
	y.t.Helper()
	cmd, out := y.command(y.mirrorArgs()...)
	y.must(cmd.Start())
	timer := time.AfterFunc(after, func() { cmd.Process.Kill() })
	cmd.Wait()
	timer.Stop()
	if ws, ok := cmd.ProcessState.Sys().(syscall.WaitStatus); ok && ws.Signaled() && ws.Signal() == syscall.SIGKILL {
		return true
	}
	if status := cmd.ProcessState.ExitCode(); status != 0 {
		y.t.Fatalf("a round that was not killed ended with status %d:\n%s", status, out)
	}
	y.reported()
	return false
}

// complete lets a round come to its end, which must find nothing that wants a
// person.
func (y *yard) complete() {
	y.t.Helper()
	out, status := y.run(y.mirrorArgs()...)
	if status != 0 {
		y.t.Fatalf("status %d:\n%s", status, out)
	}
	y.reported()
}

// reported notes what the working folder has as kept.
func (y *yard) reported() {
	y.lost = false
	for d, name := range y.field() {
		y.kept[d] = name
	}
}

// field is what the working folder has.
func (y *yard) field() map[manifest.Digest]string {
	y.t.Helper()
	all := map[manifest.Digest]string{}
	y.must(filepath.WalkDir(y.path("field"), func(name string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		b, err := os.ReadFile(name)
		all[manifest.Sum(b)] = name
		return err
	}))
	return all
}

// copies opens both copies.
func (y *yard) copies() []store.Root {
	y.t.Helper()
	drive, err := drive.Open(y.path("shelf"), "")
	y.must(err)
	y.t.Cleanup(func() { drive.Close() })
	bucket, err := s3.Open(context.Background(), s3.Options{URL: y.bucket(), Region: y.server.Region,
		Access: y.server.Access, Secret: y.server.Secret, Fence: true})
	y.must(err)
	return []store.Root{drive, bucket}
}

func (y *yard) versions() int {
	log, err := store.ReadSeal(context.Background(), y.copies()[0])
	y.must(err)
	n := 0
	for _, l := range log.Lines() {
		if l.What == seal.Version {
			n++
		}
	}
	return n
}

// whole has the program check everything, and then reads both copies.
func (y *yard) whole() {
	out, status := y.run("verify", "--only", "rot", "--json")
	var rep struct {
		Copies []struct {
			Copy               string
			Damage             []any
			Behind, Unfinished []any
		}
	}
	if err := json.Unmarshal([]byte(out), &rep); err != nil || status != 0 || len(rep.Copies) != 3 {
		y.t.Fatalf("verify: status %d, %v\n%s", status, err, out)
	}
	for _, c := range rep.Copies {
		if len(c.Damage)+len(c.Behind)+len(c.Unfinished) > 0 {
			y.t.Errorf("%s: %+v", c.Copy, c)
		}
	}
	if out, status := y.run("verify", "--root", y.path("shelf")); status != 0 {
		y.t.Errorf("the drive as an OCFL storage root: status %d\n%s", status, out)
	}
	for _, root := range y.copies() {
		y.wholeCopy(root)
	}
}

func (y *yard) wholeCopy(root store.Root) {
	ctx := context.Background()
	seal, err := store.ReadSeal(ctx, root)
	y.must(err)
	known, content, state := map[string]bool{}, map[manifest.Digest]bool{}, map[manifest.Digest]bool{}
	for id, n := range seal.Heads() {
		slug := id[strings.LastIndexByte(id, ':')+1:]
		inv, err := store.Head(ctx, root, slug)
		y.must(err)
		if inv.Head() != n {
			y.t.Errorf("%s: %s is at version %d, the seal says %d", root.Name(), slug, inv.Head(), n)
		}
		for _, d := range inv.State(inv.Head()) {
			state[d] = true
		}
		folders := []string{slug}
		for v := 1; v <= inv.Head(); v++ {
			folders = append(folders, fmt.Sprintf("%s/v%d", slug, v))
		}
		for _, f := range folders {
			known[f+"/inventory.json"], known[f+"/inventory.json.sha256"] = true, true
		}
		known[slug+"/0=ocfl_object_1.1"] = true
		for d, paths := range inv.Content {
			for _, p := range paths {
				known[slug+"/"+p] = true
				b, _, err := store.ReadSmall(ctx, root, slug+"/"+p, 1<<20)
				if err != nil || manifest.Sum(b) != d {
					y.t.Errorf("%s: %s/%s is not what its manifest says: %v", root.Name(), slug, p, err)
				}
				content[d] = true
			}
		}
	}
	for d, name := range y.kept {
		if !content[d] {
			y.t.Errorf("%s: %s was reported as kept and is not there", root.Name(), name)
		}
	}
	for d, name := range y.field() {
		if !state[d] {
			y.t.Errorf("%s: %s is not in the newest state of any site", root.Name(), name)
		}
	}
	for info, err := range root.List(ctx, "") {
		y.must(err)
		top, _, inside := strings.Cut(info.Key, "/")
		ours := !inside || top == "extensions" && !strings.HasPrefix(info.Key, "extensions/linecamp-staging/")
		if !ours && !known[info.Key] {
			y.t.Errorf("%s: no manifest names %s", root.Name(), info.Key)
		}
	}
}
