package mirror

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"linecamp/daemon/authority"
	"linecamp/daemon/identity"
	"linecamp/daemon/reach"
	"linecamp/manifest"
	"linecamp/manifest/seal"
)

// What a newer program recorded is left alone: nothing is written to that copy, and
// nothing recorded; what was recorded before is read as ever.
func TestNothingIsWrittenWhereANewerProgramRecorded(t *testing.T) {
	r := newRanch(t, "shelf", "barn")
	r.visit("north/stake 1", "2025-06-01")
	r.wantCurrent(r.mirror())
	shelf := r.copies[0]
	file := filepath.Join(shelf.path, filepath.FromSlash(seal.File(0)))
	log, err := os.ReadFile(file)
	must(t, err)
	n := strings.Count(string(log), "\n")
	log = append(log, []byte("000000000"+string(rune('0'+n+1))+" 2026-07-02T05:00:00Z again linecamp:saltbush-draw:north--stake-1 v1 "+manifest.Sum(nil).String()+"\n")...)
	must(t, os.WriteFile(file, log, 0o666))
	before := contents(t, shelf.root)
	r.visit("north/stake 1", "2026-06-01")
	rep := r.mirror()
	if c := rep.Copies[0]; c.State != reach.Failed || !strings.Contains(c.Error, "newer linecamp") {
		t.Errorf("%s is %s: %s", c.Copy, c.State, c.Error)
	}
	if rep.Made != 0 || len(reasons(rep)[authority.ErrNewer.Error()]) == 0 {
		t.Errorf("%d versions were made; waiting: %v", rep.Made, rep.Waiting)
	}
	diff(t, "shelf", contents(t, shelf.root), before)
	_, err = authority.TakeOver(context.Background(), authority.Taker{
		Archive: archiveID, Folder: r.state, Self: identity.State{Author: r.author, Machine: "office"}, Notes: r.led, Seal: r.cache, Now: func() time.Time { return r.now },
		Copies: []authority.Copy{{ID: shelf.id, Name: "shelf", Root: shelf.root}},
	})
	if err == nil || !strings.Contains(err.Error(), "newer linecamp") {
		t.Errorf("a take-over: %v", err)
	}
	diff(t, "shelf", contents(t, shelf.root), before)
}
