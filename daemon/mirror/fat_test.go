package mirror

import (
	"context"
	"os"
	"path"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
	"unicode/utf16"

	"linecamp/daemon/mirror/report"
	"linecamp/daemon/reach"
	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/drive"
	"linecamp/verify"
	"linecamp/verify/restore"
	"linecamp/verify/rot"
)

// fat is a drive with the rules of FAT32 with long names, after Microsoft's
// "FAT: General Overview of On-Disk Format" 1.03 and the naming rules beside it:
// names are told apart without regard to case, may not hold certain characters
// nor end in a dot or a space, and have at most 255 UTF-16 units; times are kept
// to two seconds; there are no hard links; a file has a largest size.
type fat struct {
	drive.Disk
	t    *testing.T
	root string
	most int64

	mu sync.Mutex // looking for a name and making it is one step
}

// real finds what a name stands for on the drive, whatever its case.
func (f *fat) real(name string) (string, error) {
	done := "."
	for _, e := range strings.Split(path.Clean(name), "/") {
		if e == "." {
			continue
		}
		if strings.ContainsAny(e, "\"*/:<>?\\|") || strings.IndexFunc(e, func(r rune) bool { return r < 0x20 }) >= 0 ||
			strings.TrimRight(e, ". ") != e || len(utf16.Encode([]rune(e))) > 255 {
			f.t.Errorf("FAT has no such name: %q", name)
			return "", syscall.EINVAL
		}
		entries, _ := os.ReadDir(filepath.Join(f.root, done))
		for _, x := range entries {
			if strings.EqualFold(x.Name(), e) {
				e = x.Name()
			}
		}
		done = path.Join(done, e)
	}
	return done, nil
}

// on runs do with the real name.
func (f *fat) on(name string, do func(string) error) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	name, err := f.real(name)
	if err != nil {
		return err
	}
	return do(name)
}

func (f *fat) Mkdir(name string) error      { return f.on(name, f.Disk.Mkdir) }
func (f *fat) Remove(name string) error     { return f.on(name, f.Disk.Remove) }
func (f *fat) SyncFolder(name string) error { return f.on(name, f.Disk.SyncFolder) }
func (f *fat) Link(from, to string) error   { return syscall.EPERM }

func (f *fat) Rename(from, to string) error {
	return f.on(from, func(from string) error {
		to, err := f.real(to)
		if err != nil {
			return err
		}
		return f.Disk.Rename(from, to)
	})
}

func (f *fat) Create(name string) (drive.File, error) { return f.open(name, f.Disk.Create) }
func (f *fat) Update(name string) (drive.File, error) { return f.open(name, f.Disk.Update) }

func (f *fat) open(name string, how func(string) (drive.File, error)) (file drive.File, err error) {
	err = f.on(name, func(name string) error {
		d, err := how(name)
		file = &fatFile{File: d, f: f, name: filepath.Join(f.root, name)}
		return err
	})
	if err != nil {
		return nil, err
	}
	return file, nil
}

type fatFile struct {
	drive.File
	f    *fat
	name string
	size int64
}

func (w *fatFile) Write(b []byte) (int, error) {
	if w.size += int64(len(b)); w.size > w.f.most {
		return 0, syscall.EFBIG // as Linux answers beyond 4 GiB - 1
	}
	return w.File.Write(b)
}

func (w *fatFile) Close() error {
	if err := w.File.Close(); err != nil {
		return err
	}
	st, err := os.Stat(w.name)
	if err != nil {
		return err
	}
	even := st.ModTime().Truncate(2 * time.Second)
	return os.Chtimes(w.name, even, even)
}

// A copy on FAT: names that FAT does not have or cannot tell apart, and a file
// too large for it, are kept elsewhere or said to be missing; all the rest is
// mirrored, verified, mended and restored as on any drive.
func TestACopyOnFAT(t *testing.T) {
	const most = 64 << 10 // stands for 4 GiB - 1: the model refuses as FAT does
	r := newRanch(t, "shelf", "stick")
	shelf, stick := r.copies[0], r.copies[1]
	stick.root.(*drive.Drive).WrapDisk(func(d drive.Disk) drive.Disk {
		return &fat{Disk: d, t: t, root: stick.path, most: most}
	})
	const site = "North/Windmill"
	r.visit(site, "2019-06-21")
	for _, name := range []string{"Plot.JPG", "PLOT.jpg", "why?.jpg", "a:b.jpg", "ends in a dot.", "con.jpg", "AUX", " leading.jpg", "Grüße.jpg", "GRÜSSE.jpg", "tab\there.txt", strings.Repeat("long", 60) + ".txt"} {
		r.write(site+"/2019-06-21/"+name, "bytes of "+name)
	}
	r.write(site+"/2019-06-21 /trailing.txt", "a folder that ends in a space")
	r.write(site+"/2019-06-21/panorama.tif", strings.Repeat("wide ", most/4))
	first := r.mirror()
	for range 2 { // more versions, and nothing new
		r.visit(site, r.now.Format("2006-01-02"))
		r.mirror()
	}
	rep := r.mirror()
	for i, c := range rep.Copies {
		// The first round says it, and so do those after it.
		for _, c := range []report.CopyState{first.Copies[i], c} {
			state, short, text := reach.Current, 0, ""
			if c.Copy == "stick" {
				state, short, text = reach.Behind, 1, "short of 1 file, too large for its file system"
			}
			if c.State != state || c.Error != text || len(c.TooLarge) != short || len(c.Missing) != 0 {
				t.Errorf("%s is %s: %s; it lacks %q, and too large are %q", c.Copy, c.State, c.Error, c.Missing, c.TooLarge)
			}
		}
	}

	ctx := context.Background()
	rot := func() (damage []verify.Damage) {
		t.Helper()
		v, err := rot.Check(ctx, verify.Copy{Name: "stick", ID: stick.id, Root: stick.root}, rot.Options{Allowance: -1, Memory: r.led})
		must(t, err)
		return v.Damage
	}
	if d := rot(); len(d) != 1 || !strings.HasSuffix(d[0].Path, "panorama.tif") || d[0].Kind != verify.Gone {
		t.Errorf("on a good copy on FAT: %+v", d)
	}

	// Rot, mended from the other copy where no second name can be given.
	inv := head(t, stick.root, "north--windmill")
	key := "north--windmill/" + inv.Content[inv.State(1)["2019-06-21/landscape.jpg"]][0]
	must(t, os.WriteFile(filepath.Join(stick.path, filepath.FromSlash(key)), []byte("rotten"), 0o666))
	if d := rot(); len(d) != 2 {
		t.Errorf("after rot: %+v", d)
	}
	good, _, err := store.ReadSmall(ctx, shelf.root, key, most)
	must(t, err)
	must(t, stick.root.Mend(ctx, key, store.Bytes(good), ""))
	if d := rot(); len(d) != 1 {
		t.Errorf("after mending: %+v", d)
	}

	into := t.TempDir()
	back, err := restore.Run(ctx, []restore.Source{{Name: "stick", Root: stick.root}}, restore.Options{Everything: true, Into: into})
	must(t, err)
	if len(back.Failed) != 1 || !strings.HasSuffix(back.Failed[0].Path, "panorama.tif") {
		t.Errorf("not restored: %+v", back.Failed)
	}
	must(t, filepath.WalkDir(r.folder, func(name string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() || d.Name() == "panorama.tif" {
			return err
		}
		rel, _ := filepath.Rel(r.folder, name)
		want, err := os.ReadFile(name)
		must(t, err)
		if got, err := os.ReadFile(filepath.Join(into, rel)); err != nil || manifest.Sum(got) != manifest.Sum(want) {
			t.Errorf("%q did not come back: %v", rel, err)
		}
		return nil
	}))
}
