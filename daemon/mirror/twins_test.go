package mirror

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"linecamp/daemon/authority"
	"linecamp/daemon/mirror/report"
	"linecamp/manifest/store/drive"
	"linecamp/manifest/store/s3test"
)

// beside is a second state folder for the same archive, with roots of its own,
// as another process has them: r's own state as it is now, or a new one.
func (r *ranch) beside(author string, copied bool) *ranch {
	r.t.Helper()
	o := &ranch{t: r.t, folder: r.folder, state: r.t.TempDir(), author: author, now: r.now}
	if copied {
		must(r.t, r.led.Close())
		must(r.t, copyTree(r.state, o.state))
		r.openState()
	}
	o.openState()
	for _, c := range r.copies {
		again := *c
		if c.kind == "drive" {
			d, err := drive.Open(c.path, c.id)
			must(r.t, err)
			again.root = d
		}
		o.copies = append(o.copies, &again)
	}
	r.t.Cleanup(func() { o.led.Close() })
	return o
}

// besideOthers is one round that locks what it can, as the daemon does. A bucket has no
// lock.
func (r *ranch) besideOthers() (report.Report, error) {
	ctx := context.Background()
	r.now = r.now.Add(time.Minute)
	in := r.in()
	for i, c := range r.copies {
		if c.kind != "drive" || in.Copies[i].Root == nil {
			continue
		}
		unlock, err := c.root.Lock(ctx)
		if err != nil {
			in.Copies[i].Root, in.Copies[i].Err = nil, err
			continue
		}
		defer unlock()
	}
	return Run(ctx, in)
}

// Two state folders mirror one archive to a drive and a bucket at the same time,
// again and again. Whoever they are, there is one history.
func TestTwoStateFoldersNeverFork(t *testing.T) {
	const rounds = 100 // of each, where one is a copy of the other
	for _, c := range []struct {
		name   string
		author string
		copied bool // it is a copy of the first one, as on a cloned disk, and bears its name
		drive  bool // it has the drive as well
	}{
		{name: "two folders on one computer", author: "22222222-2222-4222-8222-333333333333", drive: true},
		{name: "two computers", author: "22222222-2222-4222-8222-333333333333"},
		{name: "a copied folder on one computer", author: authorID, copied: true, drive: true},
		{name: "a cloned computer", author: authorID, copied: true},
	} {
		t.Run(c.name, func(t *testing.T) {
			a := newRanch(t, "shelf")
			a.addBucket(s3test.Fake(t), "bucket")
			for _, y := range []string{"2018", "2019", "2020"} {
				a.visit("North/Windmill", y+"-06-21")
				a.visit("South/Draw", y+"-06-21")
			}
			a.wantCurrent(a.mirror())
			b := a.beside(c.author, c.copied)
			if !c.copied {
				_, err := b.besideOthers() // it has seen all there is
				must(t, err)
			}
			if !c.drive { // another computer has the photos in a folder of its own
				b.copies[0].away = true
				b.folder = filepath.Join(t.TempDir(), "monitoring")
				must(t, os.CopyFS(b.folder, os.DirFS(a.folder)))
				copyTimes(t, b.folder, a.folder)
			}
			var made [2]int
			turn := func(n, i int, r *ranch) {
				site := []string{"North/Windmill", "South/Draw"}[n%2]
				r.write(fmt.Sprintf("%s/2026-07-0%d/picture %03d.jpg", site, 1+i, n), fmt.Sprintf("picture %d of %d", n, i))
				rep, err := r.besideOthers()
				if err != nil {
					t.Error(err)
				}
				made[i] += rep.Made
				for _, s := range rep.Copies {
					if strings.Contains(s.Error, "another history") || strings.Contains(s.Error, "recorded there by another") {
						t.Errorf("round %d: %s forked: %s", n, s.Copy, s.Error)
					}
				}
			}
			for n := range rounds / (1 + 3*fewer(!c.copied)) {
				if t.Failed() {
					return
				}
				if n%5 == 4 { // one comes when the other has ended
					turn(n, 1, b)
					turn(n, 0, a)
					continue
				}
				var both sync.WaitGroup
				both.Go(func() { turn(n, 0, a) })
				both.Go(func() { turn(n, 1, b) })
				both.Wait()
			}
			// Without the drive, a copy stops once it sees that another recorded.
			if made[0] == 0 || made[1] > 0 && !c.copied || made[1] == 0 && c.copied && c.drive {
				t.Errorf("they made %v versions", made)
			}
			t.Logf("they made %v versions", made)
			if t.Failed() {
				return
			}
			a.now = later(a.now, b.now).Add(time.Hour)
			rep, err := a.besideOthers()
			must(t, err)
			a.wantCurrent(rep)
			if made[1] > 0 && !slices.Contains(rep.Asks, authority.AskTwin) {
				t.Errorf("nobody is told: %+v", rep)
			}
		})
	}
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

func fewer(yes bool) int {
	if yes {
		return 1
	}
	return 0
}
