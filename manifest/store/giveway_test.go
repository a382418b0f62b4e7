package store_test

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/crashtest"
	"linecamp/manifest/store/drive"
)

// Three versions of a site, and what the archive has in place of those from one on.
type twoHistories struct {
	from int
	late [4]*site // as of each version, of what stands in the way
	ours *site    // up to the version below from, and then
	next *manifest.Draft
}

func (h *twoHistories) begin(t *testing.T, r store.Root) {
	s := newSite()
	h.ours = newSite()
	for n := 1; n <= 3; n++ {
		files := map[string]string{}
		for y := range n {
			files[fmt.Sprintf("%d/plot.jpg", 2018+y)] = fmt.Sprintf("plot of %d", 2018+y)
		}
		s.store(t, r, s.next(t, nil, files))
		h.late[n] = &site{s.inv, s.content}
		if n < h.from {
			h.ours = &site{s.inv, s.content}
		}
	}
	h.next = h.ours.next(t, nil, map[string]string{"2018/plot.jpg": "plot of 2018", "2018/ours.jpg": "ours"})
}

// byHand runs the commands that a copy's README.txt gives for a site's folder, and
// reports which of the two failed.
func byHand(t *testing.T, dir string) (list, content bool) {
	t.Helper()
	readme, err := os.ReadFile(filepath.Join(dir, "README.txt"))
	must(t, err)
	commands := regexp.MustCompile(`(?m)^  (sha256sum -c inventory.*)\n  (sed -n .*)$`).FindSubmatch(readme)
	if commands == nil {
		t.Fatal("README.txt gives no commands")
	}
	ok := func(command []byte) bool {
		c := exec.Command("sh", "-c", string(command))
		c.Dir = filepath.Join(dir, object)
		return c.Run() == nil
	}
	return ok(commands[1]), ok(commands[2])
}

func recoveredByHand(t *testing.T, dir string) error {
	t.Helper()
	readme, err := os.ReadFile(filepath.Join(dir, "README.txt"))
	must(t, err)
	c := exec.Command("sh", "-s", dir, filepath.Join(crashtest.Folder(t), "back"))
	c.Stdin = bytes.NewReader(readme[bytes.Index(readme, []byte("#!/bin/sh")):])
	if out, err := c.CombinedOutput(); err != nil {
		return fmt.Errorf("%w: %s", err, out)
	}
	return nil
}

// Versions give way to the archive's while the world stops at each operation: the
// process is killed, or the power cut. Whoever checks by hand finds the site whole, Lock
// puts right what is half done, and the archive's version takes the place.
func TestVersionsGiveWayWheneverTheWorldStops(t *testing.T) {
	seeds := 3
	if testing.Short() {
		seeds = 1
	}
	stops := 0
	for from := 1; from <= 3; from++ {
		for _, each := range []bool{false, true} {
			for seed := -1; seed < seeds; seed++ { // -1 is a kill
				for at := 1; ; at++ {
					name := fmt.Sprintf("from version %d, syncing each %v, seed %d, stopped at %d", from, each, seed, at)
					if t.Failed() || !giveWayStoppedAt(t, name, from, each, seed, at) {
						break
					}
					stops++
				}
			}
		}
	}
	if t.Logf("%d stops", stops); stops < 150 {
		t.Errorf("the world stopped only %d times", stops)
	}
}

func giveWayStoppedAt(t *testing.T, name string, from int, each bool, seed, at int) (stopped bool) {
	ctx, dir := t.Context(), crashtest.Folder(t)
	defer os.RemoveAll(dir)
	r, err := drive.New(dir)
	must(t, err)
	must(t, r.Init(ctx, testID))
	h := &twoHistories{from: from}
	h.begin(t, r)
	disk, err := crashtest.New(dir)
	must(t, err)
	disk.Each = each
	unlock, err := r.Lock(ctx)
	must(t, err)
	r.WrapDisk(disk.Wrap)
	disk.StopAt(at)
	err = r.GiveWay(ctx, object, from)
	_, stopped = disk.Done()
	log := disk.Log()
	if stopped != (err != nil) && !strings.HasPrefix(log[len(log)-1], "remove") {
		t.Errorf("%s: %v", name, err)
	}
	if stopped && seed < 0 {
		seenByHand(t, name, dir, h)
	}
	unlock()
	must(t, r.Close())
	disk.Kill()
	if seed >= 0 {
		must(t, disk.Cut(uint64(seed)))
	}

	again, err := drive.Open(dir, testID.CopyID)
	must(t, err)
	defer again.Close()
	again.WrapDisk(disk.Wrap)
	unlock, err = again.Lock(ctx)
	must(t, err)
	unlock()
	switch inv, err := store.Head(ctx, again, object); {
	case errors.Is(err, store.ErrNoObject):
		if _, err := os.Lstat(filepath.Join(dir, object)); !os.IsNotExist(err) || from > 1 {
			t.Errorf("%s: what is left of the site after Lock: %v", name, err)
		}
	case err != nil:
		t.Errorf("%s: %v", name, err)
	case inv.Head() == 3:
		(&site{h.late[3].inv, h.late[3].content}).intact(t, again)
	default:
		(&site{h.ours.inv, h.ours.content}).intact(t, again)
	}
	if _, err := os.Lstat(filepath.Join(dir, object)); err == nil && seed <= 0 {
		if list, content := byHand(t, dir); !list || !content {
			t.Errorf("%s: after Lock, checked by hand: the list %v, the content %v", name, list, content)
		}
		if err := recoveredByHand(t, dir); err != nil {
			t.Errorf("%s: after Lock: %v", name, err)
		}
	}

	unlock, err = again.Lock(ctx)
	must(t, err)
	must(t, again.GiveWay(ctx, object, from))
	unlock()
	h.ours.store(t, again, h.next)
	h.ours.intact(t, again)
	for _, k := range keys(t, again, store.StagingFolder) {
		t.Errorf("%s: %s is left over", name, k)
	}
	if seed < 0 {
		quarantined(t, name, again, h)
	}
	if t.Failed() {
		t.Logf("%s: %q", name, log)
	}
	return stopped
}

// seenByHand checks a drive as the kill left it. The two files at the top of a site are
// replaced one after the other, so for a moment the list has the digest of the other one.
func seenByHand(t *testing.T, name, dir string, h *twoHistories) {
	t.Helper()
	if _, err := os.Lstat(filepath.Join(dir, object)); err != nil && h.from == 1 {
		return
	}
	list, content := byHand(t, dir)
	if !content {
		t.Errorf("%s: the content does not pass by hand", name)
	}
	if list {
		return
	}
	below := h.late[h.from-1].inv.Encode()
	inv, err := os.ReadFile(filepath.Join(dir, object, "inventory.json"))
	must(t, err)
	side, err := os.ReadFile(filepath.Join(dir, object, "inventory.json.sha256"))
	must(t, err)
	if !bytes.Equal(inv, below) || !bytes.Equal(side, manifest.Sidecar(h.late[3].inv.Encode())) {
		t.Errorf("%s: the list does not pass by hand", name)
	}
}

// quarantined wants every byte of what gave way to be in quarantine, each version by the
// digest of its manifest, and nothing else.
func quarantined(t *testing.T, name string, r store.Root, h *twoHistories) {
	t.Helper()
	var want []string
	for n := h.from; n <= 3; n++ {
		top := n
		if h.from == 1 {
			top = 3
		}
		folder := "extensions/linecamp-quarantine/late-" + manifest.Sum(h.late[top].inv.Encode()).String()[:8] + "/" + object + "/"
		v := fmt.Sprintf("v%d/", n)
		want = append(want, folder+v+"inventory.json", folder+v+"inventory.json.sha256")
		for p, d := range h.late[3].inv.Paths(n) {
			want = append(want, folder+p)
			if b := readAll(t, r, folder+p); !bytes.Equal(b, h.late[3].content[d]) {
				t.Errorf("%s: %s holds %q", name, folder+p, b)
			}
		}
		if h.from == 1 && n == 3 {
			want = append(want, folder+"inventory.json", folder+"inventory.json.sha256", folder+"0=ocfl_object_1.1")
		}
	}
	slices.Sort(want)
	if got := keys(t, r, "extensions/linecamp-quarantine"); !slices.Equal(got, want) {
		t.Errorf("%s: in quarantine are %q, and not %q", name, got, want)
	}
}

// What came under a number after its version gave way stays, whatever a marker says that
// an earlier program passed over.
func TestWhatCameSinceDoesNotGiveWay(t *testing.T) {
	for from := 1; from <= 3; from++ {
		r, dir := driveIn(t)
		h := &twoHistories{from: from}
		h.begin(t, r)
		unlock, err := r.Lock(t.Context())
		must(t, err)
		marker := "extensions/linecamp-staging/" + object + fmt.Sprintf(".v%d.leaving", from)
		var kept []byte
		r.WrapDisk(func(d drive.Disk) drive.Disk {
			return besidesMarker{d, func() {
				if b, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(marker))); err == nil {
					kept = b
				}
			}}
		})
		must(t, r.GiveWay(t.Context(), object, from))
		unlock()
		h.ours.store(t, r, h.next)
		if len(kept) == 0 {
			t.Fatal("there was no marker")
		}
		must(t, os.MkdirAll(filepath.Join(dir, "extensions/linecamp-staging"), 0o777))
		must(t, os.WriteFile(filepath.Join(dir, filepath.FromSlash(marker)), kept, 0o666))
		unlock, err = r.Lock(t.Context())
		must(t, err)
		unlock()
		h.ours.intact(t, r)
	}
}

type besidesMarker struct {
	drive.Disk
	look func()
}

func (d besidesMarker) Rename(from, to string) error {
	d.look()
	return d.Disk.Rename(from, to)
}

// Where the manifest of the version below rotted, nothing moves; and where it rotted
// after a crash half way, the drive can be locked, and Lock goes on after the mend.
func TestGivingWayWaitsForAMend(t *testing.T) {
	r, dir := driveIn(t)
	h := &twoHistories{from: 2}
	h.begin(t, r)
	bend := func() {
		file := filepath.Join(dir, object, "v1/inventory.json")
		b, err := os.ReadFile(file)
		must(t, err)
		b[len(b)/2] ^= 1
		must(t, os.WriteFile(file, b, 0o666))
	}
	before := keys(t, r, "")
	bend()
	unlock, err := r.Lock(t.Context())
	must(t, err)
	wantErr(t, r.GiveWay(t.Context(), object, 2), store.ErrDamaged)
	if after := keys(t, r, ""); !slices.Equal(after, before) {
		t.Errorf("before %q, and afterwards %q", before, after)
	}
	bend() // and so it is whole again
	disk, err := crashtest.New(dir)
	must(t, err)
	r.WrapDisk(disk.Wrap)
	disk.StopAt(10)
	if err := r.GiveWay(t.Context(), object, 2); !errors.Is(err, crashtest.ErrStopped) {
		t.Fatalf("%v", err)
	}
	unlock()
	disk.Kill()
	bend()
	unlock, err = r.Lock(t.Context())
	must(t, err)
	unlock()
	bend()
	unlock, err = r.Lock(t.Context())
	must(t, err)
	unlock()
	h.ours.intact(t, r)
}
