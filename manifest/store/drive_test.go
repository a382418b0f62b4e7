package store_test

import (
	"bufio"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/drive"
)

// driveIn makes a root in a new folder and returns it with its folder.
func driveIn(t testing.TB) (*drive.Drive, string) {
	dir := t.TempDir()
	d, err := drive.New(dir)
	must(t, err)
	t.Cleanup(func() { d.Close() })
	must(t, d.Init(t.Context(), testID))
	return d, dir
}

func TestOpenDrive(t *testing.T) {
	_, good := driveIn(t)
	empty, full, file := t.TempDir(), t.TempDir(), filepath.Join(t.TempDir(), "file")
	must(t, os.WriteFile(file, nil, 0o666))
	must(t, os.WriteFile(filepath.Join(full, "holiday.jpg"), nil, 0o666))
	fresh := t.TempDir() // a new drive, which is there, and is not empty
	must(t, os.Mkdir(filepath.Join(fresh, "lost+found"), 0o700))
	_, damaged := driveIn(t)
	must(t, os.WriteFile(filepath.Join(damaged, filepath.FromSlash(store.IdentityKey)), []byte(`{"copy":`), 0o666))
	for _, test := range []struct {
		name, folder, id string
		want             error
	}{
		{"right", good, testID.CopyID, nil},
		{"any", good, "", nil},
		{"another copy", good, otherCopy, store.ErrOtherRoot},
		{"missing", filepath.Join(empty, "gone"), "", store.ErrNotHere},
		{"missing with its parent", filepath.Join(empty, "gone", "too"), "", store.ErrNotHere},
		{"empty mount point", empty, testID.CopyID, store.ErrNotHere},
		{"a file", file, "", store.ErrNotAFolder},
		{"other things", full, "", store.ErrNoRoot},
		{"new drive", fresh, testID.CopyID, store.ErrNoRoot},
		{"damaged", damaged, testID.CopyID, store.ErrNoRoot},
	} {
		d, err := drive.Open(test.folder, test.id)
		if err == nil {
			d.Close()
		}
		if !errors.Is(err, test.want) {
			t.Errorf("%s: %v, want %v", test.name, err, test.want)
		}
		if err != nil && (!strings.Contains(err.Error(), test.folder) || strings.Contains(err.Error(), "\n")) {
			t.Errorf("%s: the message does not name the place in one line: %v", test.name, err)
		}
	}
	if entries, err := os.ReadDir(empty); err != nil || len(entries) > 0 {
		t.Errorf("opening made %v in an empty folder", entries)
	}
}

func TestNewDrive(t *testing.T) {
	dir := t.TempDir()
	d, err := drive.New(filepath.Join(dir, "line-camp"))
	must(t, err)
	must(t, d.Init(t.Context(), testID))
	d.Close()
	_, err = drive.New(filepath.Join(dir, "no", "line-camp"))
	wantErr(t, err, store.ErrNotHere)
}

// The check that README.txt gives must work as printed, with nothing but a
// shell, sed and sha256sum, and must notice a flipped bit.
func TestReadmeCheck(t *testing.T) {
	r, dir := driveIn(t)
	s := newSite()
	s.store(t, r, s.next(t, nil, map[string]string{
		"2018/plot.jpg": "plot 18", "2018/two words & more's.jpg": "sky", "2018/§ é.txt": "note", "2018/none": "",
	}))
	s.store(t, r, s.next(t, nil, map[string]string{"2019/plot.jpg": "plot 19"}))
	var commands []string
	readme, err := os.ReadFile(filepath.Join(dir, "README.txt"))
	must(t, err)
	check, _, _ := strings.Cut(string(readme), "\nBringing everything back") // a script of its own
	for line := range strings.Lines(check) {
		if line = strings.TrimSpace(line); strings.HasPrefix(line, "sed -n") || strings.HasPrefix(line, "sha256sum -c") {
			commands = append(commands, line)
		}
	}
	if len(commands) != 2 {
		t.Fatalf("README.txt gives the commands %q", commands)
	}
	run := func() (string, error) {
		cmd := exec.Command("sh", "-ec", strings.Join(commands, "\n"))
		cmd.Dir = filepath.Join(dir, object)
		out, err := cmd.CombinedOutput()
		return string(out), err
	}
	out, err := run()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	if n := strings.Count(out, ": OK"); n != 1+len(s.inv.Content) {
		t.Errorf("%d of %d files were checked:\n%s", n, 1+len(s.inv.Content), out)
	}
	must(t, os.WriteFile(filepath.Join(dir, object, "v1/content/2018/plot.jpg"), []byte("pl0t 18"), 0o666))
	if out, err := run(); err == nil || !strings.Contains(out, "v1/content/2018/plot.jpg: FAILED") {
		t.Errorf("a flipped bit passed: %v\n%s", err, out)
	}
}

// The seal's check in README.txt: the digest of the first N lines.
func TestReadmeSealCheck(t *testing.T) {
	r, dir := driveIn(t)
	seal := sealOf(t, 5000)
	must(t, store.WriteSeal(t.Context(), r, seal))
	for _, n := range []int{1, 4096, 4097, 5000} {
		cmd := exec.Command("sh", "-c", fmt.Sprintf("cat *.txt | head -n %d | sha256sum", n))
		cmd.Dir = filepath.Join(dir, filepath.FromSlash(store.SealFolder))
		out, err := cmd.Output()
		must(t, err)
		if got := strings.Fields(string(out))[0]; got != seal.DigestOf(n).String() {
			t.Errorf("%d lines: sha256sum says %s, we %s", n, got, seal.DigestOf(n))
		}
	}
}

func TestDriveLeftovers(t *testing.T) {
	r, dir := driveIn(t)
	s := newSite()
	s.store(t, r, s.next(t, nil, map[string]string{"2018/plot.jpg": "plot 18"}))
	write := func(key, text string) {
		name := filepath.Join(dir, filepath.FromSlash(key))
		must(t, os.MkdirAll(filepath.Dir(name), 0o777))
		must(t, os.WriteFile(name, []byte(text), 0o666))
	}
	const staging = "extensions/linecamp-staging/"
	write(staging+object+"/v2/content/2019/plot.jpg", "plot 19")       // whole: used again
	write(staging+object+"/v2/content/2019/sky.jpg", "sky")            // torn: written anew
	write(staging+object+"/v2/content/2019/note.txt", "n0te 19")       // right size, wrong bytes
	write(staging+object+"/v2/content/gone/old.jpg", "not named")      // pruned with its folder
	write(staging+object+"/v2/inventory.json", "torn")                 // a commit that was cut off
	write(staging+object+"/inventory.json", "torn")                    //
	write(staging+object+"/v1/content/2018/plot.jpg", "older version") // cleared
	write(staging+"new.QWERTY", "torn off Create")                     // cleared by Lock
	draft := s.next(t, nil, map[string]string{"2018/plot.jpg": "plot 18", "2019/plot.jpg": "plot 19", "2019/sky.jpg": "sky 19", "2019/note.txt": "note 19"})
	s.store(t, r, draft)
	s.intact(t, r)
	for _, k := range keys(t, r, "extensions") {
		if strings.Contains(k, "staging") || strings.Contains(k, "quarantine") {
			t.Errorf("%s is left over", k)
		}
	}
	if _, err := os.Stat(filepath.Join(dir, filepath.FromSlash(staging))); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("the staging folder is still there: %v", err)
	}
}

// Content that was staged before, that the inventory names, and that nobody can
// Put any more, is kept if it is right and dropped if not.
func TestDriveLeftoversNobodyHas(t *testing.T) {
	r, dir := driveIn(t)
	s := newSite()
	staged := filepath.Join(dir, "extensions", "linecamp-staging", object, "v1", "content")
	must(t, os.MkdirAll(staged, 0o777))
	must(t, os.WriteFile(filepath.Join(staged, "right.jpg"), []byte("right"), 0o666))
	must(t, os.WriteFile(filepath.Join(staged, "torn.jpg"), []byte("to"), 0o666))
	draft := s.next(t, nil, map[string]string{"right.jpg": "right", "torn.jpg": "torn"})
	s.store(t, r, draft, "v1/content/right.jpg", "v1/content/torn.jpg")
	s.intact(t, r, "v1/content/torn.jpg")
}

// An object's folder without any committed version, as a rename that a crash
// tore may leave it, goes to quarantine, and nothing of it is lost.
func TestDriveTornObject(t *testing.T) {
	r, dir := driveIn(t)
	torn := filepath.Join(dir, object, "v1", "content")
	must(t, os.MkdirAll(torn, 0o777))
	must(t, os.WriteFile(filepath.Join(torn, "half.jpg"), []byte("ha"), 0o666))
	s := newSite()
	s.store(t, r, s.next(t, nil, map[string]string{"half.jpg": "half"}))
	s.intact(t, r)
	kept := keys(t, r, "extensions/linecamp-quarantine")
	if len(kept) != 1 || !strings.HasSuffix(kept[0], "/"+object+"/v1/content/half.jpg") {
		t.Errorf("in quarantine: %q", kept)
	}
}

func TestDriveLinksStayInside(t *testing.T) {
	r, dir := driveIn(t)
	ctx := t.Context()
	outside := t.TempDir()
	must(t, os.WriteFile(filepath.Join(outside, "secret"), []byte("secret"), 0o666))
	symlink(t, outside, filepath.Join(dir, "escape"))
	symlink(t, filepath.Join(outside, "secret"), filepath.Join(dir, "link"))
	for _, key := range []string{"escape/secret", "link"} {
		if _, _, err := r.Open(ctx, key); err == nil {
			t.Errorf("%s was read", key)
		}
		if _, err := r.Stat(ctx, key); err == nil {
			t.Errorf("%s was described", key)
		}
		if _, err := r.Create(ctx, key, store.Bytes([]byte("x"))); err == nil {
			t.Errorf("%s was written", key)
		}
		if err := r.Mend(ctx, "escape/new", store.Bytes([]byte("x")), ""); err == nil {
			t.Error("a mend went outside")
		}
	}
	symlink(t, outside, filepath.Join(dir, object))
	s := newSite()
	if err := s.tryStore(ctx, r, s.next(t, nil, map[string]string{"a": "b"})); err != nil {
		t.Log(err)
	}
	entries, err := os.ReadDir(outside)
	must(t, err)
	if b, err := os.ReadFile(filepath.Join(outside, "secret")); err != nil || string(b) != "secret" || len(entries) != 1 {
		t.Errorf("outside now holds %v, %q, %v", entries, b, err)
	}
}

// Two processes: the lock holds between them, and ends with the one that holds
// it, however it ends.
func TestDriveLockBetweenProcesses(t *testing.T) {
	if dir := os.Getenv("STORE_TEST_LOCK"); dir != "" {
		d, err := drive.Open(dir, "")
		must(t, err)
		_, err = d.Lock(t.Context())
		must(t, err)
		fmt.Println("locked")
		bufio.NewReader(os.Stdin).ReadByte() // until killed
		return
	}
	r, dir := driveIn(t)
	cmd := exec.Command(os.Args[0], "-test.run=^TestDriveLockBetweenProcesses$", "-test.v")
	cmd.Env = append(os.Environ(), "STORE_TEST_LOCK="+dir)
	_, err := cmd.StdinPipe()
	must(t, err)
	out, err := cmd.StdoutPipe()
	must(t, err)
	must(t, cmd.Start())
	defer cmd.Process.Kill()
	for lines := bufio.NewScanner(out); ; {
		if !lines.Scan() {
			t.Fatal("the other process ended")
		}
		if lines.Text() == "locked" {
			break
		}
	}
	_, err = r.Lock(t.Context())
	wantErr(t, err, store.ErrBusy)
	if !strings.Contains(err.Error(), "another linecamp is writing to it") {
		t.Error(err)
	}
	must(t, cmd.Process.Kill())
	cmd.Wait()
	unlock, err := r.Lock(t.Context())
	must(t, err)
	unlock()
}

func TestDriveSpecialFiles(t *testing.T) {
	r, dir := driveIn(t)
	if runtime.GOOS != "linux" {
		t.Skip("special files are made with mkfifo, tried on Linux only")
	}
	if out, err := exec.Command("mkfifo", filepath.Join(dir, "pipe")).CombinedOutput(); err != nil {
		t.Skipf("no mkfifo here: %v: %s", err, out)
	}
	if _, _, err := r.Open(t.Context(), "pipe"); err == nil { // and does not wait for a writer
		t.Error("a pipe was opened as a file")
	}
	if got := keys(t, r, ""); !slices.Contains(got, "pipe") {
		t.Error("a pipe is not listed, so nobody learns of it")
	}
}

// Reading past the cache gives the bytes of the file, at every size around the
// steps in which it drops what it read.
func TestOpenFresh(t *testing.T) {
	r, _ := driveIn(t)
	for _, size := range []int{0, 1, 4096, 8<<20 - 1, 8 << 20, 8<<20 + 1, 17 << 20} {
		want := manyBytes(size)
		key := fmt.Sprintf("f/%d", size)
		_, err := r.Create(t.Context(), key, store.Bytes(want))
		must(t, err)
		if got := readAll(t, r, key); manifest.Sum(got) != manifest.Sum(want) {
			t.Errorf("%d bytes read back differently", size)
		}
	}
}
