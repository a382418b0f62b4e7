package store_test

import (
	"errors"
	"net/http"
	"os"
	"strings"
	"testing"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/drive"
	"linecamp/manifest/store/s3"
	"linecamp/manifest/store/s3test"
)

var errKilled = errors.New("killed")

// killer lets a number of operations through and then none: what a process
// does to a drive until it is killed. half makes the last write a torn one.
type killer struct {
	drive.Disk
	left *int
	half bool
}

func (k killer) alive() error {
	*k.left--
	if *k.left < 0 {
		return errKilled
	}
	return nil
}

func (k killer) Mkdir(name string) error { return k.run(func() error { return k.Disk.Mkdir(name) }) }
func (k killer) Rename(a, b string) error {
	return k.run(func() error { return k.Disk.Rename(a, b) })
}
func (k killer) Link(a, b string) error   { return k.run(func() error { return k.Disk.Link(a, b) }) }
func (k killer) Remove(name string) error { return k.run(func() error { return k.Disk.Remove(name) }) }
func (k killer) SyncFolder(name string) error {
	return k.run(func() error { return k.Disk.SyncFolder(name) })
}
func (k killer) SyncAll() error { return k.run(k.Disk.SyncAll) }

func (k killer) run(do func() error) error {
	if err := k.alive(); err != nil {
		return err
	}
	return do()
}

func (k killer) Create(name string) (drive.File, error) { return k.file(k.Disk.Create, name) }
func (k killer) Update(name string) (drive.File, error) { return k.file(k.Disk.Update, name) }

func (k killer) file(open func(string) (drive.File, error), name string) (drive.File, error) {
	if err := k.alive(); err != nil {
		return nil, err
	}
	f, err := open(name)
	if err != nil {
		return nil, err
	}
	return killedFile{f, k}, nil
}

type killedFile struct {
	drive.File
	k killer
}

func (f killedFile) Write(p []byte) (int, error) {
	if err := f.k.alive(); err != nil {
		if f.k.half && *f.k.left == -1 {
			f.File.Write(p[:len(p)/2])
		}
		return 0, err
	}
	return f.File.Write(p)
}

func (f killedFile) Truncate(n int64) error {
	return f.k.run(func() error { return f.File.Truncate(n) })
}
func (f killedFile) Sync() error { return f.k.run(f.File.Sync) }

// sealed is how many lines the seal of that copy has in the end, the last in a file
// of its own.
const sealed = 67

// The life of a small copy, step by step; each step may run again after it was
// cut off, and then does what is left.
func lifeSteps(t *testing.T) (*site, []func(r store.Root) error) {
	s := newSite()
	ctx := t.Context()
	first := map[string]string{"2018/plot.jpg": "plot 18", "2018/sky.jpg": "sky 18"}
	second := map[string]string{"2018/plot.jpg": "plot 18", "2019/plot.jpg": "plot 19", "2019/none.txt": ""}
	version := func(n int, files map[string]string) func(store.Root) error {
		var draft *manifest.Draft
		return func(r store.Root) error {
			if s.inv.Head() >= n {
				return nil
			}
			if draft == nil {
				draft = s.next(t, nil, files)
			}
			if inv, err := store.Head(ctx, r, object); err == nil && inv.Head() >= n {
				s.inv = draft.Inventory
				return nil
			}
			if err := s.tryStore(ctx, r, draft); err != nil {
				return err
			}
			s.inv = draft.Inventory
			return nil
		}
	}
	locked := func(do func(store.Root) error) func(store.Root) error {
		return func(r store.Root) error {
			unlock, err := r.Lock(ctx)
			if err != nil {
				return err
			}
			defer unlock()
			return do(r)
		}
	}
	return s, []func(store.Root) error{
		version(1, first),
		locked(func(r store.Root) error { return store.WriteSeal(ctx, r, sealOf(t, 1)) }),
		version(2, second),
		locked(func(r store.Root) error { return store.WriteSeal(ctx, r, sealOf(t, 2)) }),
		locked(func(r store.Root) error { return store.WriteSeal(ctx, r, sealOf(t, 63)) }),
		locked(func(r store.Root) error { return store.WriteSeal(ctx, r, sealOf(t, 66)) }), // into a file that takes no more then
		locked(func(r store.Root) error { return store.WriteSeal(ctx, r, sealOf(t, sealed)) }),
		locked(func(r store.Root) error {
			return r.Mend(ctx, object+"/v1/content/2018/sky.jpg", store.Bytes([]byte("sky 18")), "")
		}),
	}
}

// The same over S3, where a request may fail before the service saw it, or
// after, with the response lost.
func TestS3CutOffAtEveryRequest(t *testing.T) {
	srv := s3test.Fake(t)
	total := 0
	for _, after := range []bool{false, true} {
		for at := 0; ; at++ {
			if done := cutOffAt(t, srv, at, after); done {
				break
			}
			total++
			if at > 2000 {
				t.Fatal("this does not end")
			}
		}
	}
	t.Logf("%d cuts", total)
	if total < 40 {
		t.Errorf("only %d requests to be cut off at", total)
	}
}

func cutOffAt(t *testing.T, srv *s3test.Server, at int, after bool) (done bool) {
	t.Helper()
	left := -1 // no cut yet
	p := s3Place(t, srv, func(o *s3.Options) {
		o.Transport = roundTripper(func(r *http.Request) (*http.Response, error) {
			switch {
			case left < 0:
				return http.DefaultTransport.RoundTrip(r)
			case left == 0: // and dead from here on, in a way that is not tried again
				if after {
					after = false
					if resp, err := http.DefaultTransport.RoundTrip(r); err == nil {
						resp.Body.Close()
					}
				}
				return answer(r, http.StatusTeapot, "application/xml", "<Error><Code>Killed</Code></Error>"), nil
			}
			left--
			return http.DefaultTransport.RoundTrip(r)
		})
	})
	r := p.made(t)
	s, steps := lifeSteps(t)
	left = at
	step := 0
	for ; step < len(steps) && steps[step](r) == nil; step++ {
	}
	if step == len(steps) {
		return true
	}
	left = -1
	again := p.open()
	if s.inv.Head() > 0 {
		inv, err := store.Head(t.Context(), again, object)
		if err != nil || inv.Head() < s.inv.Head() {
			t.Fatalf("cut at %d: version %d was kept and is gone: %v", at, s.inv.Head(), err)
		}
	}
	for i := step; i < len(steps); i++ {
		if err := steps[i](again); err != nil {
			t.Fatalf("cut at %d: step %d again: %v", at, i, err)
		}
	}
	if _, err := store.Settle(t.Context(), again, object); err != nil {
		t.Fatalf("cut at %d: %v", at, err)
	}
	s.intact(t, again)
	seal, err := store.ReadSeal(t.Context(), again)
	must(t, err)
	if seal.Len() != sealed || seal.Digest() != sealOf(t, sealed).Digest() {
		t.Fatalf("cut at %d: the seal has %d lines", at, seal.Len())
	}
	return false
}

// Killed at every single operation, and started again: everything is whole, and
// nothing that was reported as kept is missing at any time.
func TestDriveKilledAtEveryOperation(t *testing.T) {
	total := 0
	for _, half := range []bool{false, true} {
		for at := 0; ; at++ {
			if done := killedAt(t, at, half); done {
				break
			}
			total++
			if at > 2000 {
				t.Fatal("this does not end")
			}
		}
	}
	t.Logf("%d kills", total)
	if total < 100 {
		t.Errorf("only %d points to be killed at: the disk is not what is written through", total)
	}
}

// memoryDir is a folder in memory where the system has one: these tests sync
// thousands of times, and what a sync does to a disk is not their question.
func memoryDir(t *testing.T) string {
	dir, err := os.MkdirTemp("/dev/shm", "linecamp-test-")
	if err != nil {
		return t.TempDir()
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	return dir
}

func killedAt(t *testing.T, at int, half bool) (done bool) {
	t.Helper()
	dir := memoryDir(t)
	r, err := drive.New(dir)
	must(t, err)
	must(t, r.Init(t.Context(), testID))
	left := at
	r.WrapDisk(func(d drive.Disk) drive.Disk { return killer{d, &left, half} })
	s, steps := lifeSteps(t)
	step := 0
	for ; step < len(steps); step++ {
		if err := steps[step](r); err != nil {
			if !errors.Is(err, errKilled) {
				t.Fatalf("killed at %d: step %d: %v", at, step, err)
			}
			break
		}
	}
	if step == len(steps) {
		return true
	}
	r.Close()
	again, err := drive.Open(dir, testID.CopyID)
	must(t, err)
	defer again.Close()
	if s.inv.Head() > 0 { // reported as kept, so there before any repair
		inv, err := store.Head(t.Context(), again, object)
		if err != nil || inv.Head() < s.inv.Head() {
			t.Fatalf("killed at %d: version %d was kept and is gone: %v", at, s.inv.Head(), err)
		}
	}
	for i := step; i < len(steps); i++ {
		if err := steps[i](again); err != nil {
			t.Fatalf("killed at %d: step %d again: %v", at, i, err)
		}
	}
	s.intact(t, again)
	seal, err := store.ReadSeal(t.Context(), again)
	must(t, err)
	if seal.Len() != sealed || seal.Digest() != sealOf(t, sealed).Digest() {
		t.Fatalf("killed at %d: the seal has %d lines", at, seal.Len())
	}
	for _, k := range keys(t, again, "extensions") {
		if strings.Contains(k, "linecamp-staging") || strings.Contains(k, "linecamp-quarantine") {
			t.Fatalf("killed at %d: %s is left over", at, k)
		}
	}
	return false
}
