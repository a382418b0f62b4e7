// Package mounttest makes real file systems in image files and mounts them, so that
// tests can do to a drive what people do: plug it in elsewhere, swap it, fill it,
// pull it out. Begin with [Kinds] and [New].
//
// Only root on Linux can do that. Which file systems there are depends on the
// kernel: ext4 is asked for always, the others where the kernel knows them or a
// FUSE program stands in.
package mounttest

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"time"
)

// TB is what is needed of testing.TB.
type TB interface {
	Helper()
	Cleanup(func())
	TempDir() string
	Skip(args ...any)
	Logf(format string, args ...any)
	Fatalf(format string, args ...any)
}

// Kind is a file system that can be mounted here.
type Kind struct {
	Name  string // ext4, xfs, btrfs, exfat
	mkfs  []string
	mount string // the program or kernel type that mounts it
	fuse  bool
	mb    int64 // the smallest image its maker accepts, in MiB
}

var known = []Kind{
	{Name: "ext4", mkfs: []string{"mkfs.ext4", "-q", "-F"}, mount: "ext4", mb: 16},
	{Name: "xfs", mkfs: []string{"mkfs.xfs", "-q", "-f"}, mount: "xfs", mb: 320},
	{Name: "btrfs", mkfs: []string{"mkfs.btrfs", "-q", "-f"}, mount: "btrfs", mb: 128},
	{Name: "vfat", mkfs: []string{"mkfs.vfat"}, mount: "vfat", mb: 64},
	{Name: "exfat", mkfs: []string{"mkfs.exfat"}, mount: "exfat", mb: 64},
	// The same format by a program, where the kernel does not know it.
	{Name: "exfat", mkfs: []string{"mkfs.exfat"}, mount: "mount.exfat-fuse", fuse: true, mb: 64},
}

// Kinds are the file systems that can be mounted here, ext4 first. It skips the
// test where nothing can be mounted at all.
func Kinds(t TB) []Kind {
	t.Helper()
	if runtime.GOOS != "linux" || os.Geteuid() != 0 {
		t.Skip("only root on Linux can mount a file system")
	}
	kernel, err := os.ReadFile("/proc/filesystems")
	if err != nil {
		t.Fatalf("which file systems the kernel knows: %v", err)
	}
	var kinds []Kind
	var lacking []string
	for _, k := range known {
		if slices.ContainsFunc(kinds, func(o Kind) bool { return o.Name == k.Name }) {
			continue
		}
		switch _, err := exec.LookPath(k.mkfs[0]); {
		case err != nil:
			lacking = append(lacking, k.Name+" (no "+k.mkfs[0]+")")
		case k.fuse:
			_, device := os.Stat("/dev/fuse")
			if _, err := exec.LookPath(k.mount); err != nil || device != nil {
				lacking = append(lacking, k.Name+" through FUSE")
				continue
			}
			kinds = append(kinds, k)
		case !slices.Contains(strings.Fields(string(kernel)), k.mount):
			lacking = append(lacking, k.Name+" in the kernel")
		default:
			kinds = append(kinds, k)
		}
	}
	if len(lacking) > 0 {
		t.Logf("not mounted here: %s", strings.Join(lacking, ", "))
	}
	if len(kinds) == 0 || kinds[0].Name != "ext4" {
		t.Skip("ext4 cannot be made or mounted here")
	}
	probe, err := New(kinds[0], filepath.Join(t.TempDir(), "probe.img"))
	if err == nil {
		if err = probe.Mount(t.TempDir()); err == nil {
			err = probe.Unmount()
		}
	}
	if err != nil {
		t.Skip("no image can be mounted here:", err)
	}
	return kinds
}

// Disk is a file system in an image file.
type Disk struct {
	kind  Kind
	image string
	dir   string // where it is mounted, "" while it is not
	loop  string // the loop device a FUSE program was given
}

// New makes an image with an empty file system, as small as it can be.
func New(k Kind, image string) (*Disk, error) {
	f, err := os.OpenFile(image, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return nil, err
	}
	if err := errors.Join(f.Truncate(k.mb<<20), f.Close()); err != nil {
		return nil, err
	}
	return &Disk{kind: k, image: image}, run(append(slices.Clone(k.mkfs), image)...)
}

// Dir is where it is mounted, "" while it is not.
func (d *Disk) Dir() string { return d.dir }

// Mount mounts it at a folder that is there.
func (d *Disk) Mount(dir string) error {
	if !d.kind.fuse {
		if err := run("mount", "-t", d.kind.mount, "-o", "loop", d.image, dir); err != nil {
			return err
		}
		d.dir = dir
		return nil
	}
	out, err := exec.Command("losetup", "-f", "--show", d.image).Output()
	if err != nil {
		return fmt.Errorf("losetup: %w", err)
	}
	d.loop = strings.TrimSpace(string(out))
	if err := run(d.kind.mount, d.loop, dir); err != nil {
		run("losetup", "-d", d.loop)
		return err
	}
	d.dir = dir
	return nil
}

// Unmount takes it away; it fails while something on it is open.
func (d *Disk) Unmount() error { return d.unmount() }

// PullOut takes it away at once; what has it open keeps a drive nobody can see.
func (d *Disk) PullOut() error { return d.unmount("-l") }

func (d *Disk) unmount(how ...string) error {
	if d.dir == "" {
		return nil
	}
	err := umount(append(how, d.dir)...)
	if err != nil {
		return err
	}
	d.dir = ""
	if d.loop != "" {
		run("losetup", "-d", d.loop)
		d.loop = ""
	}
	return nil
}

// Remount changes how it may be used: "ro" or "rw".
func (d *Disk) Remount(how string) error {
	if d.kind.fuse { // FUSE has no remounting: a second mount over it stands in
		if how == "rw" {
			return umount(d.dir)
		}
		return errors.Join(run("mount", "--bind", d.dir, d.dir), run("mount", "-o", "remount,bind,ro", d.dir))
	}
	return run("mount", "-o", "remount,"+how, d.dir)
}

// umount takes a mount away. A program that a test beside this one is just starting
// has, until it runs, all that this process has open, so the mount may be busy for
// a moment.
func umount(args ...string) error {
	err := run(append([]string{"umount"}, args...)...)
	for try := 0; try < 50 && err != nil && strings.Contains(err.Error(), "busy"); try++ {
		time.Sleep(100 * time.Millisecond)
		err = run(append([]string{"umount"}, args...)...)
	}
	return err
}

// Fill takes all the space there is but for about leave bytes, in a file of
// the given name, and returns what frees it again.
func (d *Disk) Fill(name string, leave int64) (free func() error, err error) {
	path := filepath.Join(d.dir, name)
	f, err := os.Create(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	var size int64
	for chunk := make([]byte, 1<<20); len(chunk) > 1<<12; { // smaller bites towards the end
		for i := range chunk {
			chunk[i] = byte(i*7 + int(size>>12)) // nothing that could be packed away
		}
		n, err := f.Write(chunk)
		size += int64(n)
		if err == nil {
			err = f.Sync()
		}
		if err != nil {
			chunk = chunk[:len(chunk)/2]
		}
	}
	if err := f.Truncate(max(0, size-leave)); err != nil {
		return nil, err
	}
	f.Sync()
	return func() error { return os.Remove(path) }, nil
}

func run(args ...string) error {
	out, err := exec.Command(args[0], args[1:]...).CombinedOutput()
	if err != nil {
		return fmt.Errorf("%s: %w: %s", strings.Join(args, " "), err, strings.TrimSpace(string(out)))
	}
	return nil
}
