package status

import (
	"context"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"time"

	"linecamp/daemon/archive"
	"linecamp/daemon/attention"
	"linecamp/daemon/authority"
	"linecamp/daemon/glance"
	"linecamp/daemon/mirror/report"
	"linecamp/daemon/reach"
	"linecamp/daemon/service"
	"linecamp/daemon/sheet"
)

// Where the ledger keeps what attention is derived from.
const (
	keyNoted = "attention noted since"
)

// Outlook is how an archive stands, as every report tells it.
type Outlook struct {
	attention.List
	attention.Facts
	heads     map[string]int // the newest recorded version of every object
	standings []standing     // in the order of the settings' copies
	seen      glance.Seen    // of the working folder
	service   service.State
}

// Attend gathers the facts and derives what wants a person. r holds the copies
// as the work at hand met them; of those not in it, the last round's word counts.
// at is the kind of round that is coming to its end, "" for none; looked is the
// working folder as that round just saw it, nil to look now.
func Attend(ctx context.Context, a *archive.Archive, r *reach.Copies, at string, looked *archive.Looked) (Outlook, error) {
	o := Outlook{List: attention.List{Attention: []attention.Item{}}, Facts: attention.Facts{Now: a.Now(), Folder: a.Config.Folder}, service: service.StateOf(a.Dir, a.Now())}
	if err := gather(ctx, a, r, at, looked, &o); err != nil {
		return o, fmt.Errorf("the ledger: %w", err)
	}
	o.Attention = attention.Of(o.Facts)
	if o.Wants() {
		a.Doubt()
	}
	noted := map[string]time.Time{}
	for _, i := range o.Attention {
		noted[i.Key()] = i.Since
	}
	if !maps.EqualFunc(noted, o.Noted, time.Time.Equal) {
		if err := a.Remember(keyNoted, noted); err != nil {
			return o, err
		}
	}
	return o, nil
}

func gather(ctx context.Context, a *archive.Archive, r *reach.Copies, at string, looked *archive.Looked, o *Outlook) (err error) {
	f := &o.Facts
	if o.heads, err = a.Heads(); err != nil {
		return err
	}
	f.Recorded = len(o.heads)
	f.Served = o.service.Running
	_, ended := os.Lstat(filepath.Join(a.Dir, archive.HalfBackFile))
	f.HalfBack = ended == nil
	if err := a.Recall(archive.KeyWaits, &f.Waits); err != nil {
		return err
	}
	if len(r.Open()) > 0 { // the next round finds a copy
		f.Waits = slices.DeleteFunc(f.Waits, func(w attention.Wait) bool { return w.Reason == report.ReasonNoCopy })
	}
	if f.Folder != "" {
		if f.NotHere, err = neverHere(a); err != nil {
			return err
		}
	}
	last, err := authority.LastAuthor(a.Ledger, r.ID)
	if err != nil {
		return err
	}
	self, err := a.Self()
	if err != nil {
		return err
	}
	if last.Author != "" { // it says more than what waited for that reason
		f.Waits = slices.DeleteFunc(f.Waits, func(w attention.Wait) bool {
			return w.Kind == attention.OtherRecorder && w.Reason != authority.AskTwin
		})
		if last.Author != self.Author {
			f.Recorder = last.Machine
			f.SameName = last.Machine == self.Machine
		}
	}
	if err := a.Recall(keyNoted, &f.Noted); err != nil {
		return err
	}
	if printed, fits, err := sheet.Printed(a); err != nil {
		return err
	} else if !fits {
		f.SheetOld = printed
	}
	if f.Checks, err = a.Checks(); err != nil {
		return err
	}
	damage, err := a.Damage()
	if err != nil {
		return err
	}
	f.Damaged = len(damage)
	for _, x := range damage {
		if !slices.Contains(f.DamagedOn, x.Copy) {
			f.DamagedOn = append(f.DamagedOn, x.Copy)
		}
	}
	if f.Years, _, err = a.Ledger.Years(); err != nil {
		return err
	}
	if f.Rounds, err = roundFacts(a, f.Now, at); err != nil {
		return err
	}
	if err := seeFolder(ctx, a, r, looked, o); err != nil {
		return err
	}
	if f.HalfBack && at == service.Mirror && last.Author == self.Author && f.Recorded > 0 && o.seen.Files > 0 && f.Late.Files+f.New.Files+len(f.Waits) == 0 {
		// A round recorded all of the folder, so somebody went on without new-machine.
		if err := os.Remove(filepath.Join(a.Dir, archive.HalfBackFile)); err != nil {
			return err
		}
		f.HalfBack = false
	}
	tables, err := service.Timetables(a.Config, a.Among)
	if err != nil {
		return err
	}
	for _, c := range a.Config.Copies {
		h := r.Named(c.Name)
		if h == nil {
			h = &reach.Copy{Copy: c, Err: archive.ErrLeftOut}
		}
		s, err := standingOf(ctx, a, h, o.heads, tables[service.Drill])
		if err != nil {
			return err
		}
		o.standings = append(o.standings, s)
		f.Copies = append(f.Copies, s.forAttention())
	}
	returned, err := turnedUp(ctx, a)
	if err != nil {
		return err
	}
	for _, b := range returned {
		f.Returned = append(f.Returned, attention.Returned{Name: b.Name, ID: b.ID, Day: b.GivenUp, At: b.at, Next: b.next()})
	}
	if err := noticeFacts(ctx, a, r, f); err != nil {
		return err
	}
	return ctx.Err()
}
