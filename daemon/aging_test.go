package daemon_test

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"linecamp/daemon"
)

// Years of nightly rounds, with one visit at each site in a year: what the state folder
// holds does not grow by the night, but for a line about each round, and the logs stay
// within their bounds. LINECAMP_NIGHTS says how many nights; 3650 are ten years, and take
// some minutes.
func TestYearsOfNights(t *testing.T) {
	nights := 60
	if s := os.Getenv("LINECAMP_NIGHTS"); s != "" {
		var err error
		if nights, err = strconv.Atoi(s); err != nil {
			t.Fatal(err)
		}
	}
	r := newRanch(t, "shelf")
	r.now = time.Date(2026, 5, 2, 2, 30, 0, 0, time.Local)
	r.setup()
	a := r.open()
	r.mirror(a)
	a.Close()
	quiet, visited := 0, 0
	ledger := func() int64 {
		info, err := os.Stat(filepath.Join(r.dir, "state", "ledger.db"))
		if err != nil {
			t.Fatal(err)
		}
		return info.Size()
	}
	first, visits := int64(0), 0
	for night := 1; night <= nights; night++ {
		r.now = r.now.AddDate(0, 0, 1)
		if r.now.YearDay() == 172 {
			visits++
			for _, site := range []string{"Windmill/Stake 3", "North Draw/Post 1"} {
				for _, name := range []string{"plot.jpg", "landscape.jpg"} {
					r.photo(fmt.Sprintf("%s/%s/%s", site, r.now.Format(time.DateOnly), name))
				}
				r.write(fmt.Sprintf("%s/%s/notes.txt", site, r.now.Format(time.DateOnly)), "grass "+site+r.now.String())
			}
		}
		a, err := daemon.Open(r.load(), daemon.Options{Log: quietLog, Now: r.clock})
		if err != nil {
			t.Fatal(err)
		}
		m, err := a.Mirror(t.Context(), daemon.MirrorOptions{}, nil)
		if err != nil {
			t.Fatalf("on %v: %v", r.now, err)
		}
		if m.Made > 0 {
			visited++
		} else {
			quiet++
		}
		if r.now.Weekday() == time.Sunday {
			if _, err := a.Verify(t.Context(), daemon.VerifyOptions{Quick: night%28 != 0}, nil); err != nil {
				t.Fatal(err)
			}
		}
		if night == 30 {
			first = ledger()
		}
		if night%365 == 0 || night == nights {
			began := time.Now()
			s, err := a.Status(t.Context())
			took := time.Since(began)
			if err != nil {
				t.Fatal(err)
			}
			t.Logf("after %d nights: the ledger has %d kB, the state folder %d kB, status took %v and wants %d things", night, ledger()/1000, sizeOf(t, filepath.Join(r.dir, "state"))/1000, took.Round(time.Millisecond), len(s.Attention))
		}
		if err := a.Close(); err != nil {
			t.Fatal(err)
		}
	}
	if grown, most := ledger()-first, int64(nights-30)*200+int64(visits)*20_000; first == 0 || grown > most {
		t.Errorf("the ledger grew by %d bytes in %d nights with %d visits, want %d at most", grown, nights-30, visits, most)
	}
	for _, name := range []string{"events.jsonl", "events.jsonl.before"} {
		if info, err := os.Stat(filepath.Join(r.dir, "state", name)); err == nil && info.Size() > 2<<20 {
			t.Errorf("%s has %d bytes", name, info.Size())
		}
	}
	if visited != visits || visits == 0 {
		t.Errorf("%d rounds recorded something, want %d", visited, visits)
	}
	t.Logf("%d nights with nothing new, %d with a visit", quiet, visited)
}

var quietLog = quiet()

func sizeOf(t *testing.T, dir string) (n int64) {
	err := filepath.WalkDir(dir, func(_ string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		info, err := d.Info()
		if err == nil {
			n += info.Size()
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return n
}
