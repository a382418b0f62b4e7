package restore

import (
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"linecamp/verify/verifytest"
)

func TestRestoreNeverOverwrites(t *testing.T) {
	r, full := aHistory(t, 1)
	into := t.TempDir()
	mine := filepath.Join(into, base, "2019-06-21", "plot.jpg")
	verifytest.Write(t, mine, []byte("mine, and different..."), time.Unix(1e9, 0)) // as long as the one to restore
	at := filepath.Join(into, base, "2018-06-20", "plot.jpg")
	verifytest.Write(t, at, full["2018-06-20/plot.jpg"].Bytes, time.Unix(1e9, 0)) // the same, at another time
	if err := os.MkdirAll(filepath.Join(into, base, "2019-06-21", "empty.txt"), 0o777); err != nil {
		t.Fatal(err)
	}
	rep := run(t, from(r), Options{Sites: stake(r), Into: into})
	if len(rep.Failed) != 2 || rep.Already != 1 || !rep.Wants() {
		t.Errorf("%+v", rep)
	}
	if b, _ := os.ReadFile(mine); string(b) != "mine, and different..." {
		t.Errorf("overwritten: %q", b)
	}
	if st, _ := os.Stat(at); !st.ModTime().Equal(full["2018-06-20/plot.jpg"].Modified) {
		t.Errorf("the time of a file that is the same was not restored: %v", st.ModTime())
	}
}

func TestRestoreCleansOnlyItsOwn(t *testing.T) {
	r, full := aHistory(t, 1)
	into := t.TempDir()
	dir := filepath.Join(into, base, "2019-06-21")
	verifytest.Write(t, filepath.Join(dir, ".linecamp-restore-0123456789abcdef"), []byte("half"), time.Now())
	theirs := []string{".linecamp-restore-mine", ".linecamp-restore-0123456789ABCDEF", "x.tmp"}
	w := want(base, full)
	for _, n := range theirs {
		verifytest.Write(t, filepath.Join(dir, n), []byte("keep"), time.Unix(1e9, 0).UTC())
		w[base+"/2019-06-21/"+n] = "keep @2001-09-09T01:46:40Z"
	}
	run(t, from(r), Options{Sites: stake(r), Into: into})
	same(t, tree(t, into), w)
}

// A link in the target must not lead a write out of it.
func TestRestoreFollowsNoLinkOut(t *testing.T) {
	r, _ := aHistory(t, 1)
	outside := t.TempDir()
	for _, at := range []string{"Windmill", "Windmill/Stake 3", "Windmill/Stake 3/2019-06-21"} {
		into := t.TempDir()
		if err := os.MkdirAll(filepath.Join(into, filepath.Dir(at)), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.Symlink(outside, filepath.Join(into, at)); err != nil {
			t.Fatal("no symbolic links here: ", err)
		}
		rep := run(t, from(r), Options{Sites: stake(r), Into: into})
		if !rep.Wants() || len(rep.Failed) < 4 {
			t.Errorf("%s: %+v", at, rep)
		}
		if e, _ := os.ReadDir(outside); len(e) != 0 {
			t.Fatalf("%s: written outside: %v", at, e)
		}
	}
	// A link in a file's place is something else that is there.
	into := t.TempDir()
	if err := os.MkdirAll(filepath.Join(into, base, "2019-06-21"), 0o777); err != nil {
		t.Fatal(err)
	}
	target := filepath.Join(outside, "new.jpg")
	if err := os.Symlink(target, filepath.Join(into, base, "2019-06-21", "plot.jpg")); err != nil {
		t.Fatal(err)
	}
	rep := run(t, from(r), Options{Sites: stake(r), Into: into})
	if _, err := os.Lstat(target); err == nil || len(rep.Failed) != 1 {
		t.Errorf("written through a link, or not named: %+v", rep)
	}
}

func TestRefuse(t *testing.T) {
	for _, p := range []string{"", "..", "../x", "a/../../x", "a/..", "/etc/passwd", "a//b", "a/./b", ".", "a/", ".linecamp/record.json", ".linecamp",
		"a\x00b", "a/.linecamp-restore-0123456789abcdef"} {
		if refuse(p, p) == "" {
			t.Errorf("%q is taken", p)
		}
	}
	for _, p := range []string{"a", "a/b", "a/.linecamp", "...", "..a", "a..", " ", "caf\xe9.jpg", "a\\b", strings.Repeat("x", 255)} {
		if why := refuse(p, p); why != "" && runtime.GOOS != "windows" {
			t.Errorf("%q is refused: %s", p, why)
		}
	}
}

// The base comes from the record, which a forged copy may make say anything.
func TestRestoreHostileBase(t *testing.T) {
	for _, hostile := range []string{".linecamp", ".linecamp/x"} {
		r := verifytest.New(t, 1)
		s := verifytest.Stake
		s.Base = hostile
		r.Version(s, verifytest.Day(2019, 7, 1), verifytest.State{"plot.jpg": file("plot.jpg", "x", 1)})
		into := t.TempDir()
		rep := run(t, from(r), Options{Sites: stake(r), Into: into})
		if len(rep.Failed) != 1 || rep.Files != 0 || len(tree(t, into)) != 0 {
			t.Errorf("%s: %+v", hostile, rep)
		}
	}
}
