package daemon_test

import (
	"bytes"
	"context"
	"math/rand/v2"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"linecamp/daemon"
	limit "linecamp/daemon/link"
	"linecamp/daemon/mirror/report"
	"linecamp/daemon/reach"
	"linecamp/manifest/store"
	"linecamp/manifest/store/s3test/link"
)

// setting changes the settings as a person would.
func (r *ranch) setting(from, to string) {
	r.t.Helper()
	b, err := os.ReadFile(r.config)
	if err != nil {
		r.t.Fatal(err)
	}
	if !bytes.Contains(b, []byte(from)) {
		r.t.Fatalf("no %q in the settings:\n%s", from, b)
	}
	if err := os.WriteFile(r.config, bytes.Replace(b, []byte(from), []byte(to), 1), 0o600); err != nil {
		r.t.Fatal(err)
	}
}

// TestLinkThatIsNeverOpenWhenARoundRuns: the service runs one when it opens, and where
// nothing comes for long, a person is told.
func TestLinkThatIsNeverOpenWhenARoundRuns(t *testing.T) {
	r := newRanch(t, "shelf").bucket().setup()
	r.setting("reread", "hours = [\"22:00-23:00\"]\nreread")
	at := func(day, hour int) { r.now = time.Date(2026, 11, day, hour, 30, 0, 0, time.Local) }
	at(2, 2)
	a := r.open()
	bucket := func() report.CopyState { return r.mirror(a).Copies[1] }
	wants := func() string {
		s, err := a.Status(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		for _, i := range s.Attention {
			if i.Copy == "bucket" {
				return i.What + " " + i.Next
			}
		}
		return ""
	}
	if c := bucket(); c.State != reach.Behind || c.Kept == "" || wants() != "" {
		t.Errorf("at half past two: %+v, %s", c, wants())
	}
	if got, want := a.Opens(), time.Date(2026, 11, 2, 22, 0, 0, 0, time.Local); !got.Equal(want) {
		t.Errorf("a round is due at %v, want %v", got, want)
	}
	if s, err := a.Status(t.Context()); err != nil || s.Next[0].Round != "mirror" || !s.Next[0].At.Equal(a.Opens()) {
		t.Errorf("the next rounds are %+v, %v", s.Next, err)
	}
	at(2+44, 2)
	if c := bucket(); c.State != reach.Behind || wants() != "" {
		t.Errorf("after 44 nights: %+v, %s", c, wants())
	}
	at(2+46, 2)
	if c := bucket(); c.State != reach.Behind || !strings.Contains(wants(), "Nothing came to it since November 2, 2026") {
		t.Errorf("after 46 nights: %+v, %s", c, wants())
	}
	at(2+46, 22)
	if c := bucket(); c.State != reach.Current || wants() != "" || !a.Opens().IsZero() {
		t.Errorf("in its hour: %+v, %s; then due at %v", c, wants(), a.Opens())
	}
	r.photo("Windmill/Stake 3/2026-06-21/plot.jpg")
	at(2+100, 2)
	if c := bucket(); c.State != reach.Behind || wants() != "" {
		t.Errorf("something new, long after: %+v, %s", c, wants())
	}
	r.setting("hours", "allowance = \"100 MB/month\"\nhours")
	a = r.open()
	if a.Opens().IsZero() {
		t.Error("with an allowance no round is due")
	}
	if err := a.Ledger.Spend("link of "+a.Config.Copies[1].ID, 100e6, r.now); err != nil {
		t.Fatal(err)
	}
	if !a.Opens().IsZero() {
		t.Errorf("with nothing left of the allowance a round is due at %v", a.Opens())
	}
}

// TestUploadGoesOnNextNightAndAtAnotherAddress has the hours of a link end between two
// parts of a large file, the process of the next night killed after another part, and
// the bucket move: each part that was answered is sent once.
func TestUploadGoesOnNextNightAndAtAnotherAddress(t *testing.T) {
	r := newRanch(t, "shelf").bucket()
	old, new := link.New(t, r.server), link.New(t, r.server)
	r.set.S3s[0].URL = strings.Replace(r.set.S3s[0].URL, r.server.URL, old.Server().URL, 1)
	r.setup()
	r.setting("reread", "hours = [\"22:00-06:00\"]\nreread")
	big := make([]byte, 66<<20) // four parts of 16 MiB, and a rest
	rand.NewChaCha8([32]byte{}).Read(big)
	r.write("Windmill/Stake 3/2025-06-21/around.tif", string(big))

	var clock atomic.Int64
	clock.Store(time.Date(2026, 11, 2, 23, 0, 0, 0, time.Local).Unix())
	var mu sync.Mutex
	sent := map[string]int{} // parts that were answered, by their number
	after := func(n int, then func()) link.Rule {
		var count atomic.Int64
		return func(w http.ResponseWriter, req *http.Request, next http.Handler) {
			part := req.URL.Query().Get("partNumber")
			next.ServeHTTP(w, req)
			if part == "" {
				return
			}
			mu.Lock()
			sent[part]++
			mu.Unlock()
			if count.Add(1) == int64(n) {
				then()
			}
		}
	}
	round := func(ctx context.Context) (daemon.MirrorReport, error) {
		a, err := daemon.Open(r.load(), daemon.Options{Log: quiet(), Now: func() time.Time { return time.Unix(clock.Load(), 0) }})
		if err != nil {
			t.Fatal(err)
		}
		defer a.Close()
		return a.Mirror(ctx, daemon.MirrorOptions{}, nil)
	}

	old.Answer(after(2, func() { clock.Store(time.Date(2026, 11, 3, 6, 30, 0, 0, time.Local).Unix()) }))
	rep, err := round(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if c := rep.Copies[1]; c.State != reach.Behind || !strings.Contains(c.Kept, "until 22:00") || c.Error != "" || rep.Wants() {
		t.Errorf("as the hours ended: %+v", c)
	}

	clock.Store(time.Date(2026, 11, 3, 23, 0, 0, 0, time.Local).Unix())
	ctx, kill := context.WithCancel(t.Context())
	old.Answer(after(2, kill)) // the answer to the second may be lost with the process
	if _, err := round(ctx); err == nil {
		t.Error("the round that was killed ended well")
	}

	r.setting(old.Server().URL, new.Server().URL)
	clock.Add(3600)
	new.Answer(after(0, nil))
	rep, err = round(t.Context())
	if err != nil || rep.Copies[1].State != reach.Current {
		t.Fatalf("at the new address: %+v, %v", rep, err)
	}
	for _, part := range []string{"1", "2", "3", "4", "5"} {
		if sent[part] != 1 && !(part == "4" && sent[part] == 2) {
			t.Errorf("part %s was sent %d times", part, sent[part])
		}
	}
}

// TestMendOfALargeFileDoesNotWait: neither the hours of a link nor what is left of its
// allowance keep good bytes back from where damage is.
func TestMendOfALargeFileDoesNotWait(t *testing.T) {
	r := newRanch(t, "shelf").bucket().setup()
	const name = "Windmill/Stake 3/2025-06-21/around.tif"
	r.write(name, strings.Repeat("large ", 65<<20/6)) // more than one PUT takes
	a := r.open()
	r.mirror(a)
	a.Close()
	r.setting("reread", "hours = [\"22:00-23:00\"]\nallowance = \"1 MB/month\"\nreread")
	r.now = time.Date(2026, 11, 2, 12, 0, 0, 0, time.Local)
	a = r.open()
	bucket := a.Config.Copies[1]
	if err := a.Ledger.Spend("link of "+bucket.ID, 100e6, r.now); err != nil {
		t.Fatal(err)
	}
	root, err := bucket.Open(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer root.Close()
	key, now := "", store.Info{}
	for info, err := range root.List(t.Context(), "") {
		if err != nil {
			t.Fatal(err)
		}
		if strings.HasSuffix(info.Key, "/around.tif") {
			key, now = info.Key, info
		}
	}
	if _, err := root.Replace(t.Context(), key, store.Bytes([]byte("rot")), &now); err != nil {
		t.Fatal(err)
	}
	if v, err := a.Verify(t.Context(), daemon.VerifyOptions{Copy: "bucket", Only: daemon.OnlyRot, Quick: true}, nil); err != nil || len(v.Copies[0].Damage) != 1 {
		t.Fatalf("%+v, %v", v, err)
	}
	m, err := a.Mend(t.Context(), daemon.MendOptions{Copy: "bucket"}, nil)
	if err != nil || len(m.Mended) != 1 || len(m.Unmended) != 0 {
		t.Errorf("%+v, %v", m, err)
	}
}

// TestAllowanceOfALink: a tenth of it is kept for reading the copy again, and not a byte
// more is read; a restore is not held up, and is counted; a state that was lost assumes
// that the month's share of days is used.
func TestAllowanceOfALink(t *testing.T) {
	r := newRanch(t, "shelf").bucket().setup()
	a := r.open()
	r.mirror(a)
	a.Close()
	r.setting("reread", "allowance = \"1 MB/month\"\nreread")
	a = r.open()
	bucket := a.Config.Copies[1]
	way := func(a *daemon.Archive) *limit.Link { return limit.Of(bucket, a.Ledger, r.clock) }
	left := func(a *daemon.Archive) int64 {
		t.Helper()
		n, err := way(a).Left()
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	spend := func(bytes int64) {
		t.Helper()
		if err := a.Ledger.Spend("link of "+bucket.ID, bytes, r.now); err != nil {
			t.Fatal(err)
		}
	}
	left(a) // from here on it is counted
	spend(left(a) + 1000)
	r.photo("Windmill/Stake 3/2026-06-21/plot.jpg")
	if c := r.mirror(a).Copies[1]; c.State != reach.Behind || c.Kept == "" {
		t.Errorf("with only the tenth left a photo went: %+v", c)
	}
	if v := r.verify(a, daemon.VerifyOptions{Copy: "bucket"}); v.Copies[0].ReadBack.Files != 18 {
		t.Errorf("with only the tenth left %d of 18 files were read back", v.Copies[0].ReadBack.Files)
	}
	spend(100_000)
	r.now = r.now.Add(time.Hour)
	if v := r.verify(a, daemon.VerifyOptions{Copy: "bucket"}); v.Copies[0].ReadBack.Bytes != 0 {
		t.Errorf("with nothing left %d bytes were read back", v.Copies[0].ReadBack.Bytes)
	}
	before := left(a)
	back, err := a.Restore(t.Context(), daemon.RestoreOptions{From: "bucket", Everything: true, Into: filepath.Join(r.dir, "back")}, nil)
	if err != nil || back.Files != 18 || len(back.Failed) > 0 {
		t.Errorf("with nothing left a restore: %+v, %v", back, err)
	}
	if counted := before - left(a); counted < back.Bytes {
		t.Errorf("%d bytes were brought back, and %d counted", back.Bytes, counted)
	}

	a.Close()
	if err := os.RemoveAll(r.set.State); err != nil {
		t.Fatal(err)
	}
	r.now = time.Date(2026, 11, 17, 12, 0, 0, 0, time.Local) // the copy exists since noon of the 2nd
	a = r.open()
	r.mirror(a)
	if n := left(a); n < 300_000 || n > 400_000 { // the copy was read anew
		t.Errorf("after half of the month and the loss of the state %d bytes are left of 900,000", n)
	}
}
