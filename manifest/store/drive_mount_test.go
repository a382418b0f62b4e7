package store_test

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"testing"
	"time"

	"linecamp/manifest/store"
	"linecamp/manifest/store/drive"
	"linecamp/manifest/store/mounttest"
)

// mounted makes a small file system of its own, or skips.
func mounted(t *testing.T, options string) string {
	t.Helper()
	if runtime.GOOS != "linux" || os.Getuid() != 0 {
		t.Skip("a file system of its own can be mounted only by root on Linux")
	}
	dir := t.TempDir()
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", options, "tmpfs", dir).CombinedOutput(); err != nil {
		t.Skipf("no tmpfs can be mounted here: %v: %s", err, out)
	}
	t.Cleanup(func() { exec.Command("umount", "-l", dir).Run() })
	return dir
}

func TestDriveFull(t *testing.T) {
	dir := mounted(t, "size=1m")
	r, err := drive.New(dir)
	must(t, err)
	defer r.Close()
	must(t, r.Init(t.Context(), testID))
	s := newSite()
	s.store(t, r, s.next(t, nil, map[string]string{"2018/plot.jpg": "plot 18"}))
	files := map[string]string{"2018/plot.jpg": "plot 18", "2019/fits.jpg": "small", "2019/large.jpg": string(manyBytes(2 << 20))}
	draft := s.next(t, nil, files)
	err = s.tryStore(t.Context(), r, draft)
	wantErr(t, err, store.ErrFull)
	t.Log(err)
	s.intact(t, r) // what was stored stays, and nothing half is shown
	if out, err := exec.Command("mount", "-o", "remount,size=16m", dir).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	s.store(t, r, draft) // more room: it carries on
	s.intact(t, r)
}

func TestDriveReadOnly(t *testing.T) {
	dir := mounted(t, "size=4m")
	r, err := drive.New(dir)
	must(t, err)
	defer r.Close()
	must(t, r.Init(t.Context(), testID))
	s := newSite()
	s.store(t, r, s.next(t, nil, map[string]string{"2018/plot.jpg": "plot 18"}))
	if out, err := exec.Command("mount", "-o", "remount,ro", dir).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	err = s.tryStore(t.Context(), r, s.next(t, nil, map[string]string{"2019/plot.jpg": "plot 19"}))
	wantErr(t, err, store.ErrReadOnly)
	t.Log(err)
	_, err = r.Create(t.Context(), "a", store.Bytes(nil))
	wantErr(t, err, store.ErrReadOnly)
	wantErr(t, r.Mend(t.Context(), object+"/v1/content/2018/gone", store.Bytes(nil), ""), store.ErrReadOnly)
	s.intact(t, r) // and reading goes on
}

// A drive that is taken away while it is open, and the empty mount point that
// is left: nothing is written to the disk below.
func TestDriveGone(t *testing.T) {
	dir := mounted(t, "size=4m")
	r, err := drive.New(dir)
	must(t, err)
	must(t, r.Init(t.Context(), testID))
	s := newSite()
	if out, err := exec.Command("umount", "-l", dir).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	// The open drive still is the old one, whatever stands at its path.
	s.store(t, r, s.next(t, nil, map[string]string{"2018/plot.jpg": "plot 18"}))
	must(t, r.Close())
	_, err = drive.Open(dir, testID.CopyID)
	wantErr(t, err, store.ErrNotHere)
	if entries, err := os.ReadDir(dir); err != nil || len(entries) > 0 {
		t.Errorf("below the mount point: %v, %v", entries, err)
	}
}

func TestFindDriveMounted(t *testing.T) {
	dir := mounted(t, "size=4m")
	folder := filepath.Join(dir, "line-camp")
	r, err := drive.New(folder)
	must(t, err)
	id := testID
	id.CopyID = "7b1d0a52-5b0c-4d2e-8f0a-1c2d3e4f5a6b"
	must(t, r.Init(t.Context(), id))
	r.Close()
	got, err := drive.Find(t.Context(), id.CopyID, "/media/office/line-camp")
	must(t, err)
	if got != folder {
		t.Errorf("found at %s, want %s", got, folder)
	}
	_, err = drive.Find(t.Context(), "00000000-0000-0000-0000-000000000000", "/media/office/line-camp")
	wantErr(t, err, store.ErrNotHere)
}

// A mount that hangs, whosever it is, neither hides a drive nor holds up whoever
// looks for one.
func TestFindDriveWhileAMountHangs(t *testing.T) {
	first := mounted(t, "size=4m")
	stuck := filepath.Join(first, "stuck")
	must(t, os.Mkdir(stuck, 0o777))
	end, err := mounttest.Hang(stuck)
	if err != nil {
		t.Skip("no file system can be made to hang here:", err)
	}
	t.Cleanup(func() { must(t, end()) })
	dir := mounted(t, "size=4m")
	folder := filepath.Join(dir, "line-camp")
	r, err := drive.New(folder)
	must(t, err)
	id := testID
	id.CopyID = "c1a0e9a4-0f2b-4d6c-9a51-5c3f0d1e2b7a"
	must(t, r.Init(t.Context(), id))
	r.Close()
	got, err := drive.Find(t.Context(), id.CopyID, "/media/office/line-camp")
	must(t, err)
	if got != folder {
		t.Errorf("found at %s, want %s", got, folder)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 200*time.Millisecond)
	defer cancel()
	_, err = drive.Find(ctx, "00000000-0000-0000-0000-000000000000", "/media/office/line-camp")
	wantErr(t, err, context.DeadlineExceeded)
}
