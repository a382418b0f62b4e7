package mirror

import (
	"errors"
	"os"
	"path/filepath"
	"testing"

	"linecamp/daemon/authority"
	"linecamp/daemon/mirror/gone"
	"linecamp/manifest/store/crashtest"
	"linecamp/manifest/store/drive"
)

// What gave way on a drive is never called gone, also where the world stopped between the
// ledger and the drive, or half way out; and the archive's versions take its place.
func TestWhatGaveWayIsNotGone(t *testing.T) {
	const slug = "north--windmill"
	for _, from := range []int{1, 2} {
		for at := 0; at == 0 || !testing.Short(); at++ { // 0 for no stop
			r := newRanch(t, "shelf", "barn")
			for _, day := range []string{"2019-06-21", "2020-06-20", "2021-06-21"} {
				r.visit("North/Windmill", day)
				r.wantCurrent(r.mirror())
			}
			shelf := r.copies[0].root.(*drive.Drive)
			disk, err := crashtest.New(r.copies[0].path)
			must(t, err)
			unlock, err := shelf.Lock(t.Context())
			must(t, err)
			shelf.WrapDisk(disk.Wrap)
			disk.StopAt(at)
			h := gone.Holds{Ledger: r.led, Copy: authority.Copy{ID: r.copies[0].id, Root: shelf}}
			h.Clear()
			err = h.GiveWay(t.Context(), slug, from)
			_, stopped := disk.Done()
			if err != nil && !errors.Is(err, crashtest.ErrStopped) {
				t.Fatal(err)
			}
			unlock()
			disk.Kill()
			rep := r.mirror()
			must(t, os.RemoveAll(filepath.Join(r.copies[0].path, "extensions/linecamp-quarantine")))
			r.wantCurrent(rep)
			for _, c := range rep.Copies {
				if len(c.Gone) > 0 {
					t.Errorf("from version %d, stopped at %d: %s says that %v is gone", from, at, c.Copy, c.Gone)
				}
			}
			r.holds(r.copies[0])
			if at > 0 && !stopped {
				break
			}
		}
	}
}
