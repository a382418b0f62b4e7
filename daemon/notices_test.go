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
	for _, days := range []int{29, 2} {
		r.now = r.now.AddDate(0, 0, days)
		if _, err := k.Mirror(t.Context(), daemon.MirrorOptions{}, nil); err != nil {
			t.Fatal(err)
		}
		said := ""
		for _, i := range r.status(k).Attention {
			if i.Kind == attention.ClientQuiet {
				said = i.What
			}
		}
		if want := "The computer that records this archive has written nothing new for 31 days."; (said == want) != (days == 2) {
			t.Errorf("%d days later it says %q", days, said)
		}
	}
}
