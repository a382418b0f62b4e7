package daemon_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"linecamp/daemon"
	"linecamp/daemon/attention"
	"linecamp/daemon/config"
)

// A machine that only keeps a client's archive says so when nothing new came for
// longer than its settings allow, whatever else is well.
func TestKeeperNoticesThatAClientIsQuiet(t *testing.T) {
	r := newRanch(t, "shelf").setup()
	a := r.open()
	if _, err := a.Mirror(t.Context(), daemon.MirrorOptions{}, nil); err != nil {
		t.Fatal(err)
	}
	a.Close()
	b, err := os.ReadFile(r.config)
	if err != nil {
		t.Fatal(err)
	}
	keeper := filepath.Join(r.dir, "keeper.toml")
	var lines []string
	for line := range strings.Lines(string(b)) {
		if !strings.HasPrefix(line, "folder") && !strings.HasPrefix(line, "state") {
			lines = append(lines, line)
		}
	}
	text := "state = '" + filepath.Join(r.dir, "keeper") + "'\n" + strings.Join(lines, "") + "\n[notice]\nquiet = '30d'\n"
	if err := os.WriteFile(keeper, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	all, faults := config.Load(keeper)
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	k, err := daemon.Open(all[0], daemon.Options{Log: quiet(), Now: r.clock})
	if err != nil {
		t.Fatal(err)
	}
	defer k.Close()
	quietFor := func() (said string) {
		t.Helper()
		if _, err := k.Mirror(t.Context(), daemon.MirrorOptions{}, nil); err != nil {
			t.Fatal(err)
		}
		for _, i := range r.status(k).Attention {
			if i.Kind == attention.ClientQuiet {
				said = i.What
			}
		}
		return said
	}
	// A winter in which nothing is new, and the client's computer runs every night.
	for range 60 {
		r.now = r.now.AddDate(0, 0, 1)
		client := r.open()
		if m, err := client.Mirror(t.Context(), daemon.MirrorOptions{}, nil); err != nil || m.Made > 0 {
			t.Fatalf("%+v, %v", m, err)
		}
		client.Close()
		if r.now.Day()%7 == 0 {
			if said := quietFor(); said != "" {
				t.Fatalf("on %v it says %q", r.now, said)
			}
		}
	}
	for _, days := range []int{29, 2} {
		r.now = r.now.AddDate(0, 0, days)
		said := quietFor()
		if want := "The computer that records this archive has written nothing for 31 days."; (said == want) != (days == 2) {
			t.Errorf("%d days later it says %q", days, said)
		}
	}
}
