package ledger

import (
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"testing"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/facts"
	"linecamp/manifest/walk"
	"linecamp/verify"
)

var (
	_ walk.Cache    = (*Ledger)(nil)
	_ verify.Memory = (*Ledger)(nil)
)

func open(t testing.TB, dir string) *Ledger {
	t.Helper()
	l, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func shut(t testing.TB, l *Ledger) {
	t.Helper()
	if err := l.Close(); err != nil {
		t.Error(err)
	}
}

func ok(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func day(n int) time.Time { return time.Date(2026, 7, n, 2, 30, 0, 123456789, time.UTC) }

func some(name string) walk.Known {
	return walk.Known{Name: name, Size: int64(len(name)), Modified: day(1), Changed: day(2), Inode: 7,
		SHA256: manifest.Sum([]byte(name)), XXH64: 1 << 63, Facts: facts.Facts{Taken: "2019-06-21T10:11:12", Camera: "Longspur Optical Pocket 8", Turn: 6, Width: 4000, Height: 3000}}
}

func held(path, bytes string) verify.Held {
	return verify.Held{Path: path, SHA256: manifest.Sum([]byte(bytes)), Size: int64(len(bytes))}
}

func TestFoldersAreRemembered(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "a folder with ? and # and %20 and 'é'")
	l := open(t, dir)
	odd := "pasture/\xff\n/2019-06-21"
	want := []walk.Known{some("plot.jpg"), {Name: "\xfe", Modified: time.Date(1601, 1, 1, 0, 0, 0, 1, time.UTC)}, {Name: "far", Modified: time.Date(2446, 5, 10, 0, 0, 0, 0, time.UTC)}, {}}
	check := func(l *Ledger) {
		t.Helper()
		for _, at := range []string{odd, ""} {
			got, err := l.Folder(at)
			ok(t, err)
			if !reflect.DeepEqual(got, want) {
				t.Errorf("%q: got %+v, want %+v", at, got, want)
			}
		}
		for _, at := range []string{"pasture", "pasture/\xff\n", "z", "forgotten"} {
			if got, err := l.Folder(at); err != nil || got != nil {
				t.Errorf("%q: got %v, %v; want nothing", at, got, err)
			}
		}
		if got, err := l.Folder("empty"); err != nil || got == nil || len(got) != 0 {
			t.Errorf("a folder without files: got %v, %v", got, err)
		}
	}
	ok(t, l.SetFolder("forgotten", want))
	ok(t, l.Flush())
	if got, err := l.Folder("forgotten"); err != nil || len(got) != len(want) {
		t.Errorf("before it is forgotten: %v, %v", got, err)
	}
	ok(t, l.SetFolder(odd, want[:1]))
	ok(t, l.SetFolder(odd, want))
	ok(t, l.SetFolder("", want))
	ok(t, l.SetFolder("empty", []walk.Known{}))
	ok(t, l.SetFolder("forgotten", nil))
	check(l) // not written yet
	ok(t, l.Flush())
	check(l) // written
	shut(t, l)
	l = open(t, dir)
	defer shut(t, l)
	check(l) // read again
	if l.SetAside() != "" {
		t.Error("a sound ledger was set aside")
	}
}

func TestFoldersAcrossPages(t *testing.T) {
	l := open(t, t.TempDir())
	defer shut(t, l)
	name := func(i int) string { return fmt.Sprintf("s/%05d", i) }
	const n = 3 * pageRows
	for i := 0; i < n; i += 2 {
		ok(t, l.SetFolder(name(i), []walk.Known{some(name(i))}))
	}
	ok(t, l.Flush())
	for _, step := range []int{1, 7, n - 1} { // 7 and n-1 jump about
		for i, at := 0, 0; i < n; i, at = i+1, (at+step)%n {
			got, err := l.Folder(name(at))
			ok(t, err)
			if at%2 == 0 && (len(got) != 1 || got[0].Name != name(at)) || at%2 == 1 && got != nil {
				t.Fatalf("%s: got %v", name(at), got)
			}
		}
	}
	ok(t, l.SetFolder(name(1), []walk.Known{some("new")}))
	ok(t, l.Flush())
	if got, err := l.Folder(name(1)); err != nil || len(got) != 1 {
		t.Errorf("a folder written after its page was read: %v, %v", got, err)
	}
}

func TestFirstSightsLastAWeek(t *testing.T) {
	dir := t.TempDir()
	l := open(t, dir)
	now := time.Now().UTC()
	first := now.Add(-6 * 24 * time.Hour)
	see := func(path string, at, want time.Time) {
		t.Helper()
		if got, err := l.FirstSeen(path, at); err != nil || !got.Equal(want) {
			t.Errorf("%s: got %v, %v; want %v", path, got, err, want)
		}
	}
	see("s/a", first, first)
	see("s/b", first, first)
	see("s/a", now, first)
	see("old", now.Add(-8*24*time.Hour), now.Add(-8*24*time.Hour))
	ok(t, l.SetFolder("s", []walk.Known{some("b")})) // b is settled
	see("s/b", now, now)
	ok(t, l.SetFolder("s", []walk.Known{some("b")}))
	shut(t, l)
	l = open(t, dir)
	defer func() { shut(t, l) }()
	see("s/a", now, first)
	see("s/b", now, now)
	see("old", now, now)
	see("s/a", first.Add(sightKept+time.Second), first.Add(sightKept+time.Second))
	// Seen while the clock ran ahead: it would wait for years.
	ahead := now.AddDate(12, 0, 0)
	see("s/c", ahead, ahead)
	see("s/c", now, now)
}

func TestFiguresOfACopy(t *testing.T) {
	l := open(t, t.TempDir())
	defer shut(t, l)
	check := func(want Figures) {
		t.Helper()
		if got, err := l.Figures("shelf"); err != nil || total(got) != want {
			t.Errorf("got %+v, %v; want %+v", got, err, want)
		}
	}
	check(Figures{})
	a, b, c := held("v1/content/a", "aa"), held("v2/content/b", "bbb"), held("v1/content/c", "c")
	record := held("v1/content/"+manifest.RecordPath, "{}")
	a.ReadBack, b.ReadBack, b.Confirmed, c.Confirmed = day(3), day(2), day(9), day(4)
	a.Files, b.Files, c.Files = 1, 3, 1 // three equal photos are stored once
	ok(t, l.Remember("shelf", "one", []verify.Held{a, b, record}))
	check(Figures{Files: 4, Bytes: 11, ReadBackFiles: 4, ReadBackBytes: 11, OldestReadBack: day(2)})
	ok(t, l.Remember("shelf", "two", []verify.Held{c}))
	check(Figures{Files: 5, Bytes: 12, ReadBackFiles: 4, ReadBackBytes: 11, OldestReadBack: day(2), Confirmed: 1})
	ok(t, l.Remember("other", "two", []verify.Held{c}))
	ok(t, l.ForgetCopy("shelf"))
	check(Figures{})
	if got, err := l.Held("other", "two"); err != nil || len(got) != 1 {
		t.Errorf("the other copy: %v, %v", got, err)
	}
}

func total(all map[string]Figures) (sum Figures) {
	for _, f := range all {
		sum = sum.Plus(f)
	}
	return sum
}

func TestCopiesAndRounds(t *testing.T) {
	dir := t.TempDir()
	l := open(t, dir)
	ok(t, l.SetCommitted("shelf", "one", 3))
	ok(t, l.SetCommitted("shelf", "one", 2))
	ok(t, l.SetCommitted("shelf", "two", 1))
	ok(t, l.SetCommitted("shelf", "three", 1))
	ok(t, l.SetCommitted("shelf", "three", 0))
	seen := CopySeen{LastReachable: day(1), LastCurrent: day(2), AwaySince: day(3), State: "away", Error: "not plugged in"}
	ok(t, l.SetSeen("shelf", CopySeen{State: "current"}))
	ok(t, l.SetSeen("shelf", seen))
	damage := []verify.Damage{{Site: "s", Path: "p\n", Version: 4, Kind: "altered", Detail: "d", Copy: "shelf", Object: "o", Content: "c"}, {Path: "a", Copy: "shelf"}}
	ok(t, l.SetDamage("shelf", []verify.Damage{{Path: "gone by now"}}))
	ok(t, l.SetDamage("shelf", damage))
	ok(t, l.SetDamage("bucket", []verify.Damage{{Path: "z"}}))
	counts := map[string]int{"whole": 9, "lost": 0}
	ok(t, l.SetYears(counts, day(5)))
	ok(t, l.SetValue("k", "1"))
	ok(t, l.SetValue("k", ""))
	first, err := l.Begin("mirror", day(1))
	ok(t, err)
	ok(t, l.End(first, day(2), "well", "all"))
	second, err := l.Begin("mirror", day(3))
	ok(t, err)
	_, err = l.Begin("verify", day(4))
	ok(t, err)
	shut(t, l)

	l = open(t, dir)
	defer shut(t, l)
	if got, err := l.Committed("shelf"); err != nil || !reflect.DeepEqual(got, map[string]int{"one": 2, "two": 1}) {
		t.Errorf("committed: %v, %v", got, err)
	}
	if got, err := l.Seen("shelf"); err != nil || got != seen {
		t.Errorf("seen: %+v, %v", got, err)
	}
	if got, err := l.Seen("never"); err != nil || got != (CopySeen{}) {
		t.Errorf("never seen: %+v, %v", got, err)
	}
	if got, err := l.Damage(); err != nil || !reflect.DeepEqual(got, append([]verify.Damage{{Path: "z", Copy: "bucket"}}, damage...)) {
		t.Errorf("damage: %+v, %v", got, err)
	}
	if got, at, err := l.Years(); err != nil || !at.Equal(day(5)) || !reflect.DeepEqual(got, counts) {
		t.Errorf("years: %v, %v, %v", got, at, err)
	}
	if got, there, err := l.Value("k"); err != nil || there || got != "" {
		t.Errorf("value: %q, %v, %v", got, there, err)
	}
	if _, there, err := l.Value("other"); err != nil || there {
		t.Errorf("no value: %v, %v", there, err)
	}
	if got, there, err := l.LastRound("mirror"); err != nil || !there || got != (Round{ID: second, Kind: "mirror", Began: day(3)}) {
		t.Errorf("last round: %+v, %v, %v", got, there, err)
	}
	ok(t, l.End(second, day(4), "failed", "why"))
	if got, _, err := l.LastRound("mirror"); err != nil || !got.Ended.Equal(day(4)) || got.Outcome != "failed" || got.Detail != "why" {
		t.Errorf("ended round: %+v, %v", got, err)
	}
	if _, there, err := l.LastRound("mend"); err != nil || there {
		t.Errorf("no round: %v, %v", there, err)
	}
}

func TestDownloadsAreCounted(t *testing.T) {
	l := open(t, t.TempDir())
	defer shut(t, l)
	zone := time.FixedZone("Nepal", 5*3600+45*60) // its midnight is on a quarter hour
	midnight := time.Date(2026, 7, 1, 0, 0, 0, 0, zone)
	ok(t, l.Spend("bucket", 1, midnight.Add(-time.Second)))
	ok(t, l.Spend("bucket", 10, midnight))
	ok(t, l.Spend("bucket", 100, midnight.Add(time.Minute)))
	ok(t, l.Spend("other", 1000, midnight))
	for since, want := range map[time.Time]int64{midnight: 110, midnight.Add(-time.Hour): 111, midnight.Add(time.Hour): 0, {}: 111} {
		if got, err := l.Spent("bucket", since); err != nil || got != want {
			t.Errorf("since %v: got %d, %v; want %d", since, got, err, want)
		}
	}
}

func TestOnlyItsOwnerReadsTheLedger(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("rights are kept otherwise on Windows")
	}
	dir := t.TempDir()
	l := open(t, dir)
	defer shut(t, l)
	ok(t, l.SetValue("k", "v"))
	for _, name := range []string{"ledger.db", "ledger.db-wal", "ledger.db-shm"} {
		info, err := os.Stat(filepath.Join(dir, name))
		ok(t, err)
		if info.Mode().Perm() != 0o600 {
			t.Errorf("%s has rights %v", name, info.Mode())
		}
	}
}
