package restore

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"syscall"
	"testing"
	"testing/iotest"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/verify"
	"linecamp/verify/verifytest"
)

func TestRestoreWithoutRecord(t *testing.T) {
	r := verifytest.New(t, 1)
	s := verifytest.State{"2019-06-21/plot.jpg": file("2019-06-21/plot.jpg", "one", 1)}
	inv := r.Version(verifytest.Stake, verifytest.Day(2019, 7, 1), s)
	verifytest.Remove(t, r.Path(0, inv.Slug()+"/"+inv.Content[inv.State(1)[manifest.RecordPath]][0]))
	into := t.TempDir()
	rep := run(t, from(r), Options{Sites: stake(r), Into: into})
	b, err := os.ReadFile(filepath.Join(into, "windmill--stake-3/2019-06-21/plot.jpg"))
	if err != nil || string(b) != "one" {
		t.Errorf("%q, %v", b, err)
	}
	if !rep.Wants() || len(rep.Failed) != 1 || !strings.Contains(rep.Failed[0].Reason, "its time is not") {
		t.Errorf("%+v", rep)
	}
}

func TestRestoreAsked(t *testing.T) {
	r, _ := aHistory(t, 1)
	for _, o := range []Options{
		{Sites: stake(r)}, {Into: "x"}, {Sites: stake(r), Everything: true, Into: "x"},
		{Sites: stake(r), Into: "x", Year: "last"}, {Sites: stake(r), Into: "x", On: "soon"}, {Sites: stake(r), Into: "x", On: "2019-06-21", EveryVersion: true},
	} {
		if o.Into != "" {
			o.Into = filepath.Join(t.TempDir(), o.Into)
		}
		if _, err := Run(context.Background(), from(r), o); !errors.Is(err, ErrAsked) {
			t.Errorf("%+v: %v", o, err)
		}
		if _, err := os.Stat(o.Into); o.Into != "" && err == nil {
			t.Errorf("%+v made a folder", o)
		}
	}
	at := filepath.Join(t.TempDir(), "file")
	verifytest.Write(t, at, []byte("x"), time.Now())
	if _, err := Run(context.Background(), from(r), Options{Sites: stake(r), Into: at}); !errors.Is(err, ErrInto) {
		t.Errorf("into a file: %v", err)
	}
	if _, err := Run(context.Background(), from(r), Options{Sites: stake(r), Into: filepath.Join(r.Dirs[0], "windmill--stake-3", "new")}); !errors.Is(err, ErrInto) {
		t.Errorf("into a copy: %v", err)
	}
	if _, err := Run(context.Background(), nil, Options{Sites: stake(r), Into: t.TempDir()}); !errors.Is(err, store.ErrNotHere) {
		t.Errorf("without copies: %v", err)
	}
	rep := run(t, from(r), Options{Sites: []verify.Site{{Object: "no--such"}}, Into: t.TempDir()})
	if len(rep.Failed) != 1 {
		t.Errorf("no such object: %+v", rep)
	}
}

func TestRestoreTwiceAtOnce(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("no locks here")
	}
	r, _ := aHistory(t, 1)
	into := t.TempDir()
	tg, err := openTarget(into, into)
	if err != nil {
		t.Fatal(err)
	}
	defer tg.close()
	if _, err := Run(context.Background(), from(r), Options{Sites: stake(r), Into: into}); !errors.Is(err, ErrInto) {
		t.Errorf("error %v", err)
	}
}

// reader is a root whose reading can be interfered with.
type reader struct {
	store.Root
	open func(key string) io.ReadCloser // nil: as it is
}

func (r *reader) Open(ctx context.Context, key string) (io.ReadCloser, store.Info, error) {
	f, info, err := r.Root.Open(ctx, key)
	if err == nil {
		if other := r.open(key); other != nil {
			f.Close()
			return other, info, nil
		}
	}
	return f, info, err
}

func TestRestoreStopsWithItsContext(t *testing.T) {
	r, _ := aHistory(t, 1)
	ctx, cancel := context.WithCancel(context.Background())
	src := &reader{r.Copies[0].Root, func(key string) io.ReadCloser {
		if strings.Contains(key, "/content/2") {
			cancel()
		}
		return nil
	}}
	into := t.TempDir()
	_, err := Run(ctx, []Source{{"drive1", src}}, Options{Sites: stake(r), Into: into})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("error %v", err)
	}
	for p := range tree(t, into) {
		if isTemp(filepath.Base(p)) {
			t.Errorf("left behind: %s", p)
		}
	}
}

// A drive that fails while it is read falls back like one that is damaged.
func TestRestoreReadErrors(t *testing.T) {
	r, full := aHistory(t, 2)
	bad := &reader{r.Copies[0].Root, func(key string) io.ReadCloser {
		if strings.Contains(key, "/content/") && !strings.Contains(key, "record") {
			return io.NopCloser(io.MultiReader(bytes.NewReader([]byte("plo")), iotest.ErrReader(syscall.EIO)))
		}
		return nil
	}}
	into := t.TempDir()
	rep := run(t, []Source{{"drive1", bad}, {"drive2", r.Copies[1].Root}}, Options{Sites: stake(r), Into: into})
	if rep.Wants() || len(rep.Trouble) != 1 {
		t.Errorf("%+v", rep)
	}
	same(t, tree(t, into), want(base, full))
	into = t.TempDir()
	rep = run(t, []Source{{"drive1", bad}}, Options{Sites: stake(r), Into: into})
	if len(rep.Failed) != len(full) || rep.Files != 0 || len(tree(t, into)) != 0 {
		t.Errorf("%+v", rep)
	}
}

// When the last copy is pulled out, the restore stops and says so.
func TestRestorePulledOut(t *testing.T) {
	r, full := aHistory(t, 1)
	n := 0
	src := &reader{r.Copies[0].Root, func(key string) io.ReadCloser {
		if strings.Contains(key, "/content/2") {
			if n++; n == 2 {
				os.RemoveAll(r.Dirs[0])
			}
			if n >= 2 {
				return io.NopCloser(iotest.ErrReader(syscall.EIO))
			}
		}
		return nil
	}}
	rep, err := Run(context.Background(), []Source{{"drive1", src}}, Options{Sites: stake(r), Into: t.TempDir(), Workers: 1})
	if !errors.Is(err, store.ErrNotHere) {
		t.Errorf("error %v, report %+v", err, rep)
	}
	if len(rep.Failed) >= len(full) {
		t.Errorf("%d files listed", len(rep.Failed))
	}
}

// Where one call does not sync all, every folder that got a file is, and those
// above it.
func TestSyncFolders(t *testing.T) {
	into := t.TempDir()
	at, err := openTarget(into, into)
	if err != nil {
		t.Fatal(err)
	}
	defer at.close()
	d := &delivery{target: at, mustSync: true}
	for _, p := range []string{"a/b", "a", "."} {
		f, err := d.folder(p)
		if err != nil {
			t.Fatal(err)
		}
		d.release(f)
	}
	if err := d.syncFolders(); err != nil {
		t.Error(err)
	}
	if err := os.Remove(filepath.Join(into, "a/b")); err != nil {
		t.Fatal(err)
	}
	if err := d.syncFolders(); err == nil {
		t.Error("a folder that is gone was synced")
	}
}

// A target that was made is a name in its parent, and so are the parents made.
func TestSyncFoldersAboveTheTarget(t *testing.T) {
	above := t.TempDir()
	into := filepath.Join(above, "a", "b")
	at, err := openTarget(into, into)
	if err != nil {
		t.Fatal(err)
	}
	defer at.close()
	if want := []string{filepath.Join(above, "a"), above}; !slices.Equal(at.grown, want) {
		t.Errorf("grown %q, want %q", at.grown, want)
	}
	d := &delivery{target: at, mustSync: true}
	if err := d.syncFolders(); err != nil {
		t.Error(err)
	}
	at.grown = append(at.grown, filepath.Join(above, "gone"))
	if err := d.syncFolders(); err == nil {
		t.Error("a folder that is gone was synced")
	}
	again, err := openTarget(above, above)
	if err != nil {
		t.Fatal(err)
	}
	defer again.close()
	if len(again.grown) > 0 {
		t.Errorf("grown %q, though nothing was made", again.grown)
	}
}
