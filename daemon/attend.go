package daemon

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
	"linecamp/daemon/mend"
	"linecamp/daemon/mirror"
	"linecamp/daemon/mirror/plan"
	"linecamp/daemon/reach"
	"linecamp/daemon/service"
	"linecamp/verify"
)

// Where the ledger keeps what attention is derived from.
const (
	keyWaits  = "what the last mirror round left waiting"
	keyChecks = "what the last checks found beside damage"
	keyNoted  = "attention noted since"
)

// outlook is how an archive stands, as every report tells it.
type outlook struct {
	attention.List
	attention.Facts
	heads     map[string]int // the newest recorded version of every object
	standings []standing     // in the order of the settings' copies
	seen      glance.Seen    // of the working folder
	service   service.State
}

// attend gathers the facts and derives what wants a person. r holds the copies
// as the work at hand met them; of those not in it, the last round's word counts.
// at is the kind of round that is coming to its end, "" for none.
func (a *Archive) attend(ctx context.Context, r *reach.Copies, at string) (outlook, error) {
	o := outlook{List: attention.List{Attention: []attention.Item{}}, Facts: attention.Facts{Now: a.Now(), Folder: a.Config.Folder}, service: service.StateOf(a.Dir, a.Now())}
	if err := a.gather(ctx, r, at, &o); err != nil {
		return o, fmt.Errorf("the ledger: %w", err)
	}
	o.Attention = attention.Of(o.Facts)
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

func (a *Archive) gather(ctx context.Context, r *reach.Copies, at string, o *outlook) (err error) {
	f := &o.Facts
	if o.heads, err = a.heads(); err != nil {
		return err
	}
	f.Recorded = len(o.heads)
	f.Served = o.service.Running
	if err := a.Recall(keyWaits, &f.Waits); err != nil {
		return err
	}
	if len(r.Open()) > 0 { // the next round finds a copy
		f.Waits = slices.DeleteFunc(f.Waits, func(w attention.Wait) bool { return w.Reason == mirror.ReasonNoCopy })
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
	if printed, fits, err := a.printedSheet(); err != nil {
		return err
	} else if !fits {
		f.SheetOld = printed
	}
	if f.Checks, err = a.checks(); err != nil {
		return err
	}
	damage, err := a.Damage()
	if err != nil {
		return err
	}
	f.Damaged = len(damage)
	if f.Years, _, err = a.Ledger.Years(); err != nil {
		return err
	}
	if f.Rounds, err = a.roundFacts(f.Now, at); err != nil {
		return err
	}
	if err := a.seeFolder(ctx, r, o); err != nil {
		return err
	}
	for _, c := range a.Config.Copies {
		h := r.Named(c.Name)
		if h == nil {
			h = &reach.Copy{Copy: c, Err: archive.ErrLeftOut}
		}
		s, err := a.standing(ctx, h, o.heads)
		if err != nil {
			return err
		}
		o.standings = append(o.standings, s)
		f.Copies = append(f.Copies, s.forAttention())
	}
	for _, b := range a.turnedUp(ctx) {
		f.Returned = append(f.Returned, attention.Returned{Name: b.Name, ID: b.ID, Day: b.GivenUp, At: b.at, Next: b.next()})
	}
	return ctx.Err()
}

// noteWaits remembers what a mirror round left waiting for a person, and what it
// asks though nothing waits. Since when is carried on from the rounds before.
func (a *Archive) noteWaits(all []mirror.Waiting, asks []string) error {
	for _, q := range asks {
		all = append(all, mirror.Waiting{Reason: q, Person: true})
	}
	var before, now []attention.Wait
	if err := a.Recall(keyWaits, &before); err != nil {
		return err
	}
	at := map[string]int{}
	for _, w := range all {
		if !w.Person {
			continue
		}
		i, ok := at[w.Reason]
		if !ok {
			i = len(now)
			at[w.Reason] = i
			since := a.Now()
			if j := slices.IndexFunc(before, func(b attention.Wait) bool { return b.Reason == w.Reason }); j >= 0 {
				since = before[j].Since
			}
			now = append(now, attention.Wait{Kind: mirror.KindOf(w.Reason), Reason: w.Reason, Since: since.UTC().Truncate(time.Second)})
		}
		if w.Path != "" {
			if now[i].Files++; now[i].Path == "" {
				now[i].Path = w.Path
			}
			if _, err := os.Lstat(filepath.Join(a.Config.Folder, filepath.FromSlash(w.Path))); err == nil {
				now[i].Shown++
			}
		}
	}
	return a.Remember(keyWaits, now)
}

// noteGone remembers of which copies a mirror round found something gone that
// they held, until a check has looked at all of the copy.
func (a *Archive) noteGone(report mirror.Report) error {
	all := checked{}
	if err := a.Recall(keyChecks, &all); err != nil {
		return err
	}
	found := false
	for _, c := range report.Copies {
		files, again := 0, true
		for _, g := range c.Gone {
			files += g.Files
			again = again && g.Again
		}
		if len(c.Gone) == 0 {
			continue
		}
		found = true
		w := attention.Check{Kind: attention.WentMissing, ID: a.ID(c.Copy), Since: a.Now().UTC().Truncate(time.Second)}
		w.What = fmt.Sprintf("lost %s of %s that it held", count(files, "file", "files"), count(len(c.Gone), "site", "sites"))
		if again {
			w.What += "; the mirror round sent them again."
		} else {
			w.What += ", and not all of it could be sent again yet."
		}
		if was, ok := all["gone "+w.ID]; ok {
			w.Since = was.Since
		}
		all["gone "+w.ID] = w
	}
	if !found {
		return nil
	}
	return a.Remember(keyChecks, all)
}

// checked is what a check found on one copy beside damage.
type checked map[string]attention.Check

// noteChecks remembers what a check found beside damage, for the copies it
// looked at, and of the years where it judged them.
func (a *Archive) noteChecks(report verify.Report) error {
	all := checked{}
	if err := a.Recall(keyChecks, &all); err != nil {
		return err
	}
	now := a.Now().UTC().Truncate(time.Second)
	note := func(key string, c attention.Check) {
		if c.What == "" {
			delete(all, key)
			return
		}
		if was, ok := all[key]; ok && was.What == c.What {
			return
		}
		c.Since = now
		all[key] = c
	}
	for _, c := range report.Copies {
		id := a.ID(c.Copy)
		seal := attention.Check{Kind: attention.SealBroken, ID: id}
		if c.SealFault != "" {
			seal.What = c.SealFault
		}
		if c.Error == "" || c.SealFault != "" {
			note("seal "+id, seal)
		}
		standard := attention.Check{Kind: attention.Standard, ID: id}
		if n := len(c.Standard); n > 0 {
			standard.What = fmt.Sprintf("it breaks the storage standard in %s", count(n, "place", "places"))
		}
		if c.Error == "" || len(c.Standard) > 0 {
			note("standard "+id, standard)
		}
		if c.Error == "" && c.Depth == verify.Full {
			delete(all, "gone "+id)
		}
		unread := attention.Check{Kind: attention.CheckFailed, ID: id}
		if c.Error != "" && !c.Away {
			unread.What = c.Error
		}
		note("unread "+id, unread)
	}
	if report.Judged {
		found := attention.Check{Kind: attention.Findings}
		n := 0
		for _, x := range report.Findings {
			if x.Wants() {
				n++
			}
		}
		if n > 0 {
			found.What = count(n, "thing that asks for a look", "things that ask for a look")
		}
		note("findings", found)
	}
	return a.Remember(keyChecks, all)
}

// checks is what noteChecks remembers of the copies that are still there.
func (a *Archive) checks() ([]attention.Check, error) {
	all := checked{}
	if err := a.Recall(keyChecks, &all); err != nil {
		return nil, err
	}
	names := map[string]string{verify.WorkingName: verify.WorkingName, "": ""}
	for name, id := range a.IDs() {
		names[id] = name
	}
	var list []attention.Check
	for _, key := range slices.Sorted(maps.Keys(all)) {
		c, ok := all[key], false
		if c.Copy, ok = names[c.ID]; ok {
			list = append(list, c)
		}
	}
	return list, nil
}

// forgetMendedWaits drops what waited because the bytes in the working folder
// were damaged, once they are mended.
func (a *Archive) forgetMendedWaits(r MendReport) error {
	mended := slices.ContainsFunc(r.Mended, func(m mend.Mended) bool { return m.Copy == verify.WorkingName })
	if !mended || slices.ContainsFunc(r.Unmended, func(u mend.Unmended) bool { return u.Copy == verify.WorkingName }) {
		return nil
	}
	var waits []attention.Wait
	if err := a.Recall(keyWaits, &waits); err != nil {
		return err
	}
	return a.Remember(keyWaits, slices.DeleteFunc(waits, func(w attention.Wait) bool { return w.Reason == plan.ReasonDamaged }))
}
