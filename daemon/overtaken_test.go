package daemon_test

import (
	"bytes"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"linecamp/daemon"
	"linecamp/daemon/attention"
	"linecamp/daemon/event"
	"linecamp/daemon/service"
	"linecamp/daemon/setup"
)

// The service of a computer whose archive another one took over says so once, with the
// two ways on, and not every night: in its log, and as an event, which is what notices
// are made of. It records nothing, and `status` goes on saying it.
func TestTheOldComputersServiceSaysOnceThatAnotherRecords(t *testing.T) {
	r := newRanch(t, "shelf").setup()
	var log bytes.Buffer
	text := slog.New(slog.NewTextHandler(&log, nil))
	old, err := daemon.Open(r.load(), daemon.Options{Log: text, Now: r.clock, Sinks: []event.Sink{event.Log(text)}})
	if err != nil {
		t.Fatal(err)
	}
	night := func() {
		t.Helper()
		r.now = r.now.AddDate(0, 0, 1)
		if err := old.Round(t.Context(), service.Mirror); err != nil {
			t.Fatal(err)
		}
	}
	night()

	newer := r.set
	newer.Config, newer.State, newer.Folder = filepath.Join(r.dir, "new", "saltbush-draw.toml"), filepath.Join(r.dir, "new", "state"), filepath.Join(r.dir, "new", "monitoring")
	if err := os.CopyFS(newer.Folder, os.DirFS(r.folder)); err != nil {
		t.Fatal(err)
	}
	if _, err := setup.Run(t.Context(), newer); err != nil {
		t.Fatal(err)
	}
	if _, err := setup.TakeOver(t.Context(), setup.Options{Config: newer.Config, Log: quiet(), Now: r.clock}); err != nil {
		t.Fatal(err)
	}

	r.photo("Windmill/Stake 3/2026-06-20/plot.jpg")
	for range 5 {
		night()
	}
	if got := lacking(r.status(old), attention.OtherRecorder); len(got) != 1 {
		t.Errorf("status says it %d times", len(got))
	}
	old.Close() // everything is in the log then
	if n := strings.Count(log.String(), "kind="+string(attention.OtherRecorder)); n != 1 {
		t.Errorf("the log says it %d times", n)
	}
	if n := strings.Count(log.String(), "records this archive"); n != 1 {
		t.Errorf("the log says that another records %d times", n)
	}
	if !strings.Contains(log.String(), "linecamp intake FOLDER") || !strings.Contains(log.String(), "setup --take-over") {
		t.Error("the log does not offer both ways on")
	}
	arose := 0
	for e, err := range event.Read(filepath.Join(r.dir, "state")) {
		if err != nil {
			t.Fatal(err)
		}
		if a, ok := e.Event.(event.AttentionArose); ok && a.Kind == attention.OtherRecorder {
			arose++
		}
	}
	if arose != 1 {
		t.Errorf("%d events tell it", arose)
	}
}
