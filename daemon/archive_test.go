package daemon_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"linecamp/daemon"
	"linecamp/daemon/attention"
	"linecamp/daemon/reach"
	"linecamp/manifest/store"
	"linecamp/verify"
	"linecamp/verify/history"
)

// Every report is what the command wants of one.
var _ = []daemon.Report{
	daemon.TallyReport{}, daemon.MirrorReport{}, daemon.VerifyReport{}, daemon.MendReport{},
	daemon.HistoryReport{}, daemon.RestoreReport{}, daemon.Status{},
}

func (r *ranch) status(a *daemon.Archive) daemon.Status {
	r.t.Helper()
	s, err := a.Status(r.t.Context())
	if err != nil {
		r.t.Fatal(err)
	}
	return s
}

func (r *ranch) verify(a *daemon.Archive, o daemon.VerifyOptions) daemon.VerifyReport {
	r.t.Helper()
	v, err := a.Verify(r.t.Context(), o, nil)
	if err != nil {
		r.t.Fatal(err)
	}
	return v
}

// spoil flips a bit in the middle of a file and leaves size and time as they were.
func (r *ranch) spoil(file string) {
	r.t.Helper()
	info, err := os.Stat(file)
	if err != nil {
		r.t.Fatal(err)
	}
	b, err := os.ReadFile(file)
	if err != nil {
		r.t.Fatal(err)
	}
	b[len(b)/2] ^= 1
	if err := os.WriteFile(file, b, 0o644); err != nil {
		r.t.Fatal(err)
	}
	if err := os.Chtimes(file, info.ModTime(), info.ModTime()); err != nil {
		r.t.Fatal(err)
	}
}

const plot2024 = "windmill--stake-3/v1/content/2024-06-21/plot.jpg"

func TestMirrorVerifyStatus(t *testing.T) {
	r := newRanch(t, "shelf").bucket().setup()
	a := r.open()
	before := r.status(a)
	for _, c := range before.Copies {
		if c.State != "behind" || c.LastCurrent != nil || c.LastVerified != nil {
			t.Errorf("before the first round, %s is %+v", c.Copy, c)
		}
	}

	m := r.mirror(a)
	for _, c := range m.Copies {
		if c.State != "current" || c.Files != 18 {
			t.Errorf("%s is %s with %d files, want current with 18: %s", c.Copy, c.State, c.Files, c.Error)
		}
	}
	if again := r.mirror(a); again.Made != 0 || again.Copies[0].Files+again.Copies[1].Files != 0 {
		t.Errorf("a second round did something: %+v", again)
	}
	ta, err := a.Tally(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	var told struct{ Sites []struct{ ID, Site string } }
	if b, err := json.Marshal(ta); err != nil || json.Unmarshal(b, &told) != nil || len(told.Sites) != 2 {
		t.Fatalf("%s %v", b, err)
	}
	for _, s := range told.Sites {
		if want := map[string]string{"Stake 3": "linecamp:saltbush-draw:windmill--stake-3", "Post 1": "linecamp:saltbush-draw:north-draw--post-1"}[s.Site]; s.ID != want {
			t.Errorf("the tally gives %s the id %q, want %q", s.Site, s.ID, want)
		}
	}

	s := r.status(a)
	if s.Copies[0].State != "current" || s.Copies[0].LastCurrent == nil || s.Copies[0].Files != 18 {
		t.Errorf("after the round, shelf is %+v", s.Copies[0])
	}
	if s.Copies[0].LastVerified != nil {
		t.Errorf("nothing was read back, and last_verified is %v", s.Copies[0].LastVerified)
	}
	if c := s.Copies[1]; c.Confirmed+c.ReadBack.Files != 18 {
		t.Errorf("bucket: %d confirmed and %d read back, want 18 in all", c.Confirmed, c.ReadBack.Files)
	}

	r.now = r.now.Add(time.Hour)
	if v := r.verify(a, daemon.VerifyOptions{}); len(v.Copies) != 3 || v.Copies[0].ReadBack.Files != 18 {
		t.Errorf("verify: %s", printed(v))
	}
	s = r.status(a)
	for _, c := range s.Copies {
		if c.LastVerified == nil || !c.LastVerified.Equal(r.now) || c.ReadBack.Files != 18 {
			t.Errorf("after verify, %s is %+v", c.Copy, c)
		}
	}
	if s.Years.Whole != 6 || s.YearsJudged == nil {
		t.Errorf("years: %+v", s.Years)
	}
	if len(s.Next) != 3 || s.Next[0].Round != "mirror" || !s.Next[0].At.After(r.now) {
		t.Errorf("next rounds: %+v", s.Next)
	}
}

// The keys that scripts rely on, as the command contract has them.
func TestStatusJSON(t *testing.T) {
	r := newRanch(t, "shelf").setup()
	b, err := json.Marshal(r.status(r.open()))
	if err != nil {
		t.Fatal(err)
	}
	var got struct {
		Archive string
		Copies  []map[string]any
		Damage  *int
		Years   map[string]int
		Next    []map[string]any
	}
	if err := json.Unmarshal(b, &got); err != nil {
		t.Fatal(err)
	}
	for _, k := range []string{"copy", "kind", "state", "last_current", "last_verified", "last_drill", "files", "bytes"} {
		if _, ok := got.Copies[0][k]; !ok {
			t.Errorf("a copy has no %q: %s", k, b)
		}
	}
	for _, k := range []string{"whole", "short", "skipped", "recoverable", "lost", "due", "explained"} {
		if _, ok := got.Years[k]; !ok {
			t.Errorf("years has no %q: %s", k, b)
		}
	}
	if got.Damage == nil || got.Archive != "saltbush-draw" || len(got.Next) != 3 {
		t.Errorf("status is %s", b)
	}
}

func TestStateFolderLost(t *testing.T) {
	r := newRanch(t, "shelf", "barn").bucket().setup()
	a := r.open()
	r.mirror(a)
	a.Close()
	if err := os.RemoveAll(r.set.State); err != nil {
		t.Fatal(err)
	}
	r.now = r.now.Add(time.Hour)
	a = r.open()
	m := r.mirror(a)
	if m.Made != 0 {
		t.Errorf("%d versions were made for nothing", m.Made)
	}
	for _, c := range m.Copies {
		if c.State != "current" || c.Files != 0 {
			t.Errorf("%s is %s and got %d files: %s", c.Copy, c.State, c.Files, c.Error)
		}
	}
	// A new state folder may stand beside the one that recorded. Nobody but a
	// person knows that it does not.
	r.photo("Windmill/Stake 3/2026-06-20/plot.jpg")
	r.now = r.now.Add(time.Hour)
	if m := r.mirror(a); m.Made != 0 || !strings.Contains(printed(m), "another state folder records this archive") {
		t.Errorf("a state folder that nobody named records: %s", printed(m))
	}
	if _, err := a.TakeOver(t.Context()); err != nil {
		t.Fatal(err)
	}
	if m := r.mirror(a); m.Made != 1 || m.Wants() {
		t.Errorf("it does not record after a person's word: %s", printed(m))
	}
}

func TestDriveAway(t *testing.T) {
	r := newRanch(t, "shelf", "barn").setup()
	a := r.open()
	r.mirror(a)
	if err := os.Rename(filepath.Dir(r.drive("barn")), filepath.Join(r.dir, "in the truck")); err != nil {
		t.Fatal(err)
	}
	r.now = r.now.AddDate(0, 0, 13)
	r.verify(a, daemon.VerifyOptions{}) // no round is late; years are missing
	m := r.mirror(a)
	if m.Copies[1].State != "away" || len(m.Attention) != 1 || m.Attention[0].Kind != attention.Years {
		t.Errorf("after 13 days: %s", printed(m))
	}
	if v := r.verify(a, daemon.VerifyOptions{Only: daemon.OnlyRot}); !v.Copies[1].Away || len(v.Attention) != 1 {
		t.Errorf("after 13 days: %s", printed(v))
	}
	r.now = r.now.AddDate(0, 0, 2)
	m = r.mirror(a)
	if m.Copies[1].State != "unreachable" || !m.Wants() {
		t.Errorf("after 15 days: %s", printed(m))
	}
	s := r.status(a)
	if text := printed(s); s.Copies[1].State != "unreachable" || !s.Wants() || !strings.Contains(text, "when last seen on Mon Nov 2, 2026") || !strings.Contains(text, "last seen 15 days ago") {
		t.Errorf("after 15 days: %s", text)
	}
	if s.Copies[1].Files != 18 {
		t.Errorf("what was known of it is gone: %+v", s.Copies[1])
	}
	// It comes back.
	if err := os.Rename(filepath.Join(r.dir, "in the truck"), filepath.Dir(r.drive("barn"))); err != nil {
		t.Fatal(err)
	}
	if m := r.mirror(a); m.Copies[1].State != "current" {
		t.Errorf("back again: %s", printed(m))
	}
}

// Two drives take turns in the same folder; which one is there is told by id.
func TestSwappedDrives(t *testing.T) {
	r := newRanch(t, "shelf").setup()
	place, odd := r.drive("shelf"), filepath.Join(r.dir, "odd months")
	move := func(from, to string) {
		t.Helper()
		if err := os.Rename(from, to); err != nil {
			t.Fatal(err)
		}
	}
	a := r.open()
	r.mirror(a)
	a.Close()
	move(place, odd)
	if err := os.Mkdir(place, 0o755); err != nil {
		t.Fatal(err)
	}
	r.addCopy("even", place)
	a = r.open()
	m := r.mirror(a)
	if m.Copies[0].State != "away" || m.Copies[1].State != "current" || m.Copies[1].Files != 18 {
		t.Errorf("the even month: %s", printed(m))
	}
	move(place, filepath.Join(r.dir, "even months"))
	move(odd, place)
	m = r.mirror(a)
	if m.Copies[0].State != "current" || m.Copies[1].State != "away" {
		t.Errorf("the odd month: %s", printed(m))
	}
}

// Another archive's drive in the place of ours is never written to.
func TestStrangeDrive(t *testing.T) {
	r, other := newRanch(t, "shelf", "barn").setup(), newRanch(t, "shelf").setup()
	a := r.open()
	r.mirror(a)
	if err := os.RemoveAll(r.drive("barn")); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(other.drive("shelf"), r.drive("barn")); err != nil {
		t.Fatal(err)
	}
	r.photo("Windmill/Stake 3/2026-06-20/plot.jpg")
	m := r.mirror(a)
	if m.Copies[0].State != "current" || m.Copies[1].State != "failed" || !m.Wants() {
		t.Errorf("with a strange drive: %s", printed(m))
	}
	if _, err := os.Stat(filepath.Join(r.drive("barn"), "windmill--stake-3")); !errors.Is(err, fs.ErrNotExist) {
		t.Error("something was written to a strange drive")
	}
}

func TestDamageIsFoundAndMended(t *testing.T) {
	r := newRanch(t, "shelf", "barn").setup()
	a := r.open()
	r.mirror(a)
	bad := filepath.Join(r.drive("shelf"), filepath.FromSlash(plot2024))
	good, err := os.ReadFile(bad)
	if err != nil {
		t.Fatal(err)
	}
	r.spoil(bad)
	v := r.verify(a, daemon.VerifyOptions{Only: daemon.OnlyRot})
	if d := v.Copies[0].Damage; len(d) != 1 || d[0].Kind != verify.Altered || d[0].Path != "Windmill/Stake 3/2024-06-21/plot.jpg" {
		t.Fatalf("verify: %s", printed(v))
	}
	if s := r.status(a); s.Damage != 1 || !s.Wants() {
		t.Errorf("status knows of %d damaged files", s.Damage)
	}
	// A restore goes round it.
	into := filepath.Join(r.dir, "back")
	back, err := a.Restore(t.Context(), daemon.RestoreOptions{Site: "Stake 3", Into: into}, nil)
	if err != nil || len(back.Failed) > 0 || back.Files != 9 {
		t.Errorf("restore: %v %s", err, printed(back))
	}
	mended, err := a.Mend(t.Context(), daemon.MendOptions{}, nil)
	if err != nil || len(mended.Mended) != 1 || mended.Mended[0].From == "" || mended.Wants() {
		t.Fatalf("mend: %v %+v", err, mended)
	}
	if got, err := os.ReadFile(bad); err != nil || !bytes.Equal(got, good) {
		t.Errorf("the mended file differs (%v)", err)
	}
	if s := r.status(a); s.Damage != 0 {
		t.Errorf("after mending, status knows of %d damaged files", s.Damage)
	}
	if v := r.verify(a, daemon.VerifyOptions{Only: daemon.OnlyRot}); v.Wants() {
		t.Errorf("after mending: %s", printed(v))
	}
	// Nothing is known to be wrong: mend looks for itself.
	r.spoil(bad)
	if mended, err = a.Mend(t.Context(), daemon.MendOptions{Copy: "shelf"}, nil); err != nil || len(mended.Mended) != 1 {
		t.Errorf("mend by itself: %v %+v", err, mended)
	}
}

// What was found bad in a bucket stays known until it was read again.
func TestDamageInBucketIsNotForgotten(t *testing.T) {
	r := newRanch(t, "shelf").bucket().setup()
	a := r.open()
	r.mirror(a)
	client, err := r.server.Client()
	if err != nil {
		t.Fatal(err)
	}
	settings, err := filepath.Glob(filepath.Join(r.drive("shelf"), "extensions/linecamp-settings/*.toml"))
	if err != nil || len(settings) != 1 {
		t.Fatal(settings, err)
	}
	for _, name := range []string{filepath.Join(r.drive("shelf"), filepath.FromSlash(plot2024)), settings[0]} {
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		b[7] ^= 1
		key, err := filepath.Rel(r.drive("shelf"), name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := client.PutObject(t.Context(), "monitoring", "saltbush-draw/"+filepath.ToSlash(key), bytes.NewReader(b), int64(len(b)), "", "", putOptions); err != nil {
			t.Fatal(err)
		}
	}
	if v := r.verify(a, daemon.VerifyOptions{Copy: "bucket"}); len(v.Copies[0].Damage) != 2 {
		t.Fatalf("verify: %s", printed(v))
	}
	r.now = r.now.Add(time.Hour)
	r.verify(a, daemon.VerifyOptions{Copy: "bucket", Quick: true})
	if s := r.status(a); s.Damage != 2 {
		t.Errorf("after a quick check, %d damaged files are on record, want 2", s.Damage)
	}
	if m, err := a.Mend(t.Context(), daemon.MendOptions{}, nil); err != nil || len(m.Mended) != 2 {
		t.Fatalf("mend: %v %+v", err, m)
	}
	r.verify(a, daemon.VerifyOptions{Copy: "bucket"})
	if s := r.status(a); s.Damage != 0 {
		t.Errorf("after mending, %d damaged files are on record", s.Damage)
	}
}

// The bucket is read within its allowance, and goes on where it stopped once
// the next window begins.
func TestRereadAllowance(t *testing.T) {
	r := newRanch(t, "shelf").bucket().setup()
	text, err := os.ReadFile(r.config)
	if err != nil {
		t.Fatal(err)
	}
	small := strings.Replace(string(text), `"2GB/month"`, `"4kB/day"`, 1)
	if small == string(text) {
		t.Fatal("the config names no allowance")
	}
	if err := os.WriteFile(r.config, []byte(small), 0o644); err != nil {
		t.Fatal(err)
	}
	a := r.open()
	r.mirror(a)
	seen := 0
	for day := range 12 {
		v := r.verify(a, daemon.VerifyOptions{Copy: "bucket"})
		again := r.verify(a, daemon.VerifyOptions{Copy: "bucket"})
		// The manifests are read beside it; the allowance is for the photos.
		if read := v.Copies[0].ReadBack.Bytes + again.Copies[0].ReadBack.Bytes; read > 4000 {
			t.Errorf("day %d: %d bytes of photos were read back, and 4000 are allowed", day, read)
		}
		now := r.status(a).Copies[1].ReadBack.Files
		if day == 0 && now == 18 {
			t.Fatal("all was read at once")
		}
		if now <= seen {
			t.Errorf("day %d: still %d files are read back, the longest unread do not come first", day, now)
		}
		if seen = now; seen == 18 {
			return
		}
		r.now = r.now.AddDate(0, 0, 1)
	}
	t.Errorf("after twelve days, %d of 18 files are read back", seen)
}

func TestHistoryAndRoots(t *testing.T) {
	r := newRanch(t, "shelf", "barn").setup()
	a := r.open()
	r.mirror(a)
	r.photo("Windmill/Stake 3/2026-06-20/plot.jpg")
	if err := os.Rename(r.drive("shelf"), r.drive("shelf")+"-away"); err != nil {
		t.Fatal(err)
	}
	r.now = r.now.Add(time.Hour)
	r.mirror(a) // barn alone has the second version
	if err := os.Rename(r.drive("shelf")+"-away", r.drive("shelf")); err != nil {
		t.Fatal(err)
	}
	h, err := a.History(t.Context(), "stake", "")
	if err != nil || len(h.Versions) != 2 {
		t.Errorf("the history has %d versions, want the 2 of the copy that has most (%v)", len(h.Versions), err)
	}
	if h, err = a.History(t.Context(), "stake", "shelf"); err != nil || len(h.Versions) != 1 {
		t.Errorf("the history of shelf has %d versions, want 1 (%v)", len(h.Versions), err)
	}
	if _, err := a.History(t.Context(), "stake", "attic"); !errors.Is(err, reach.ErrNoCopy) {
		t.Errorf("a copy nobody has: %v", err)
	}
	if _, err := a.History(t.Context(), "corral", ""); !errors.Is(err, history.ErrNoSite) {
		t.Errorf("a site nobody has: %v", err)
	}

	root := reach.RootAccess{Root: r.drive("barn")}
	if h, err = daemon.HistoryFrom(t.Context(), root, "Stake 3"); err != nil || len(h.Versions) != 2 || h.Archive != "saltbush-draw" {
		t.Errorf("from the root: %+v %v", h, err)
	}
	back, err := daemon.RestoreFrom(t.Context(), root, daemon.RestoreOptions{Everything: true, Into: filepath.Join(r.dir, "all")}, nil)
	if err != nil || back.Files != 19 || back.Wants() {
		t.Errorf("from the root: %s %v", printed(back), err)
	}
	v, err := daemon.VerifyFrom(t.Context(), root, daemon.VerifyOptions{}, nil)
	if err != nil || v.Wants() || v.Copies[0].ReadBack.Files != 19 {
		t.Errorf("from the root: %s %v", printed(v), err)
	}
	if _, err := daemon.HistoryFrom(t.Context(), reach.RootAccess{Root: r.folder}, "Stake 3"); !errors.Is(err, store.ErrNoRoot) {
		t.Errorf("from a folder that is no copy: %v", err)
	}
}

func TestIsRoot(t *testing.T) {
	t.Chdir(t.TempDir())
	for _, name := range []string{"drive1", "shelf"} {
		if err := os.Mkdir(name, 0o777); err != nil {
			t.Fatal(err)
		}
	}
	for from, want := range map[string]bool{
		"": false, "shelf": false, "shelf-drive": false, "drive1": true, "/media/line-camp": true, "./shelf": true, ".": true,
		"https://s3.example.net/monitoring/saltbush-draw": true, `D:\line-camp`: true,
	} {
		if got := reach.IsRoot(from, []string{"shelf"}); got != want {
			t.Errorf("IsRoot(%q) is %v", from, got)
		}
	}
}

func TestOnlyOneCopy(t *testing.T) {
	r := newRanch(t, "shelf", "barn").setup()
	a := r.open()
	m, err := a.Mirror(t.Context(), daemon.MirrorOptions{Copy: "barn"}, nil)
	if err != nil || len(m.Copies) != 1 || m.Copies[0].Copy != "barn" {
		t.Errorf("mirror --copy: %v %s", err, printed(m))
	}
	if _, err := os.Stat(filepath.Join(r.drive("shelf"), "windmill--stake-3")); !errors.Is(err, fs.ErrNotExist) {
		t.Error("the other copy was written to")
	}
	if m := r.mirror(a); m.Copies[0].State != "current" || m.Copies[1].State != "current" {
		t.Errorf("then all: %s", printed(m))
	}
	if v := r.verify(a, daemon.VerifyOptions{Copy: "barn"}); len(v.Copies) != 1 || len(v.Years) != 0 {
		t.Errorf("verify --copy: %s", printed(v))
	}
	if _, err := a.Verify(t.Context(), daemon.VerifyOptions{Copy: "attic"}, nil); !errors.Is(err, reach.ErrNoCopy) {
		t.Errorf("verify of a copy nobody has: %v", err)
	}
}

func TestWorkingFolderGone(t *testing.T) {
	r := newRanch(t, "shelf", "barn").setup()
	a := r.open()
	r.mirror(a)
	if err := os.Rename(r.folder, r.folder+"-unmounted"); err != nil {
		t.Fatal(err)
	}
	m := r.mirror(a)
	if m.Made != 0 || !m.Wants() || m.Copies[0].State != "current" {
		t.Errorf("without the working folder: %s", printed(m))
	}
}
