package daemon_test

import (
	"bytes"
	"context"
	"io/fs"
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
	"linecamp/daemon/attention"
	"linecamp/daemon/config"
	"linecamp/daemon/event"
	"linecamp/daemon/notice"
	"linecamp/daemon/notice/desk"
	"linecamp/daemon/notice/mailtest"
	"linecamp/daemon/reach"
	"linecamp/daemon/show/text/letter"
	"linecamp/manifest/store/s3test/link"
)

// TestNightAtARanch goes through a bad night and those after it: the link is narrow and is
// cut, its allowance ends, the drive is away, and the mail server takes nothing. No night
// loses a photo or asks for a person in vain; in the end every photo is on both copies,
// and one notice was sent.
func TestNightAtARanch(t *testing.T) {
	r := newRanch(t, "shelf").bucket()
	way := link.New(t, r.server)
	r.set.S3s[0].URL = strings.Replace(r.set.S3s[0].URL, r.server.URL, way.Server().URL, 1)
	var clock atomic.Int64
	at := func(month time.Month, day, hour int) time.Time {
		return time.Date(2026, month, day, hour, 0, 0, 0, time.Local)
	}
	clock.Store(at(11, 20, 12).Unix())
	now := func() time.Time { return time.Unix(clock.Load(), 0) }
	r.set.Now = now
	r.setup()
	mail := &mailtest.Server{Refuses: mailtest.Refusal(451, "Not now")}
	smtp, ca, stop, err := mail.Start(t.TempDir(), config.TLSStart, "127.0.0.1")
	if err != nil {
		t.Fatal(err)
	}
	defer stop()
	r.setting("reread", "hours = [\"22:00-06:00\"]\nrate = \"40 Mbit/s\"\nallowance = \"2600 kB/month\"\nreread")
	r.setting("\"0 4 * * 0\"", "\"0 4 1 7 *\"") // no check is due in this test
	r.setting("[schedule]", "[notice]\nto = \"office@ranch.example\"\nfrom = \"linecamp@ranch.example\"\nsmtp = \""+smtp+"\"\ntls = \"starttls\"\nca_file = \""+ca+"\"\n\n[schedule]")

	rnd := rand.NewChaCha8([32]byte{})
	visit := func(site, day string) {
		for _, view := range []string{"plot", "landscape"} {
			b := make([]byte, 200_000)
			rnd.Read(b)
			r.write(site+"/"+day+"/"+view+".jpg", string(b))
		}
	}
	for _, site := range []string{"Windmill/Stake 3", "North Draw/Post 1", "South Draw/Post 2"} {
		visit(site, "2026-06-20")
		visit(site, "2026-09-20")
	}

	ctx, over := context.WithCancel(t.Context())
	turned := make(chan struct{}, 1)
	told := desk.New(ctx, desk.Options{Words: letter.Write, Config: r.config, Now: now, Log: quiet(), Turned: func() {
		select {
		case turned <- struct{}{}:
		default: // nobody has taken the last one yet
		}
	}})
	told.Set([]config.Archive{r.load()})
	// looked has the desk look once things have settled, and waits until it has, and has
	// tried to tell what there is.
	looked := func(dir string, tells bool) {
		t.Helper()
		since := now()
		for range 20 {
			clock.Add(61 * 60)
			told.Take(event.Told{Archive: "saltbush-draw", Event: event.RoundBegan{}})
			select {
			case <-turned: // or one that was under way; then the next is waited for
			case <-t.Context().Done():
			}
			book, err := notice.Load(dir)
			if err != nil {
				t.Fatal(err)
			}
			w := book.Ways["e-mail to <office@ranch.example>"]
			tried := w != nil && (!w.Last.Before(since) || w.Failing != nil && w.Failing.Next.After(since))
			if book.Looked.After(since) && tried == tells {
				return
			}
		}
		t.Fatalf("%v: the desk did not look, or it did not tell: %v", since, tells)
	}

	// night runs the round of one, and the look of the desk an hour later. It reports
	// the exit statuses of the round and of `linecamp status` in the morning.
	tells := true
	broke := false // whether the service tries the bucket again in the same night
	night := func(when time.Time) (rep daemon.MirrorReport, round, morning bool) {
		t.Helper()
		clock.Store(when.Unix())
		// The desk hears of the round once it is over: the last event of the evening before
		// (see looked) may have been left over, and is a day old by this clock, so that the
		// first one of tonight would have it look at once, in the middle of the round.
		roundOver := make(chan struct{})
		ended := sync.OnceFunc(func() { close(roundOver) })
		hears := func(e event.Told) {
			<-roundOver
			told.Take(e)
		}
		a, err := daemon.Open(r.load(), daemon.Options{Log: quiet(), Now: now, Sinks: []event.Sink{hears}})
		if err != nil {
			t.Fatal(err)
		}
		defer a.Close()
		defer ended()
		rep, err = a.Mirror(t.Context(), daemon.MirrorOptions{}, nil)
		if err != nil {
			t.Fatal(err)
		}
		broke = a.Broke()
		ended()
		looked(a.Dir, tells)
		s, err := a.Status(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		return rep, rep.Wants(), s.Wants()
	}

	var photos atomic.Int64
	way.Answer(func(w http.ResponseWriter, req *http.Request, next http.Handler) {
		if strings.HasSuffix(req.URL.Path, ".jpg") && req.Method == http.MethodPut && photos.Add(1) == 4 {
			go way.Cut() // it waits for connections that wait for this answer
			link.Drop()
		}
		next.ServeHTTP(w, req)
	})
	rep, round, morning := night(at(11, 20, 23))
	if rep.Copies[0].State != reach.Current || rep.Copies[1].State != reach.Unreachable || !round || !morning || !broke {
		t.Errorf("with the link cut: %+v, wants %v, in the morning %v", rep.Copies, round, morning)
	}

	way.Answer(nil)
	way.Mend()
	drive, drawer := r.drive("shelf"), r.drive("shelf")+" in a drawer"
	if err := os.Rename(drive, drawer); err != nil {
		t.Fatal(err)
	}
	visit("Windmill/Stake 3", "2026-11-19")
	for day := 21; day < 24; day++ {
		rep, round, morning = night(at(11, day, 23))
		// What is new is on no copy: that is told.
		if rep.Copies[0].State != reach.Away || rep.Copies[1].State != reach.Behind || rep.Copies[1].Kept == "" || !round || !morning || broke {
			t.Errorf("on day %d: %+v, wants %v, in the morning %v", day, rep.Copies, round, morning)
		}
		for _, i := range rep.Attention {
			if i.Kind != attention.NotRecorded && i.Kind != attention.NoticeUnsent {
				t.Errorf("on day %d: %+v", day, i)
			}
		}
	}

	if err := os.Rename(drawer, drive); err != nil {
		t.Fatal(err)
	}
	rep, _, _ = night(at(11, 26, 23))
	if c := rep.Copies; c[0].State != reach.Current || c[1].State != reach.Behind || rep.Report.Wants() || len(rep.Attention) != 1 || rep.Attention[0].Kind != attention.NoticeUnsent {
		t.Errorf("with the drive back: %+v, %+v", c, rep.Attention)
	}
	mail.Refuse(nil)
	night(at(12, 1, 23))
	tells = false // nothing more
	rep, round, morning = night(at(12, 2, 23))
	if rep.Copies[0].State != reach.Current || rep.Copies[1].State != reach.Current || round || morning {
		t.Errorf("in the new month: %+v, wants %v, in the morning %v", rep.Copies, round, morning)
	}
	over()
	told.Wait()
	letters := mail.Letters()
	if len(letters) != 1 {
		t.Fatalf("%d notices were sent, want 1: %s", len(letters), letters)
	}
	for _, said := range []string{"No notice could be sent since", "bucket is out of reach", "are not recorded yet"} {
		if text := strings.ReplaceAll(string(letters[0]), "=\r\n", ""); !strings.Contains(text, said) {
			t.Errorf("the notice does not say %q:\n%s", said, text)
		}
	}

	a := r.open()
	for _, name := range []string{"shelf", "bucket"} {
		into := filepath.Join(t.TempDir(), name)
		back, err := a.Restore(t.Context(), daemon.RestoreOptions{From: name, Everything: true, Into: into}, nil)
		if err != nil || len(back.Failed) > 0 {
			t.Fatalf("from %s: %+v, %v", name, back, err)
		}
		err = filepath.WalkDir(r.folder, func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				return err
			}
			rel, err := filepath.Rel(r.folder, path)
			if err != nil {
				return err
			}
			want, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			if got, err := os.ReadFile(filepath.Join(into, rel)); err != nil || !bytes.Equal(got, want) {
				t.Errorf("%s does not have %s: %v", name, rel, err)
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
}
