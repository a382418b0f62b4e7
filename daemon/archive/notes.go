package archive

import (
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"time"

	"linecamp/daemon/attention"
	"linecamp/daemon/mend"
	"linecamp/daemon/mirror/late"
	"linecamp/daemon/mirror/plan"
	"linecamp/daemon/mirror/report"
	"linecamp/manifest/words"
	"linecamp/verify"
)

// Where the ledger keeps what attention is derived from.
const (
	KeyWaits  = "what the last mirror round left waiting"
	keyChecks = "what the last checks found beside damage"
)

// NoteWaits remembers what a mirror round left waiting for a person, and what it
// asks though nothing waits. Since when is carried on from the rounds before. What
// the ledger keeps only until a person is told is dropped after that, so that a crash
// between the two tells it again.
func (a *Archive) NoteWaits(all []report.Waiting, asks []report.Ask) error {
	for _, q := range asks {
		all = append(all, report.Waiting{Kind: q.Kind(), Reason: string(q), Person: true})
	}
	var before, now []attention.Wait
	if err := a.Recall(KeyWaits, &before); err != nil {
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
			now = append(now, attention.Wait{Kind: w.Kind, Reason: w.Reason, Since: since.UTC().Truncate(time.Second)})
		}
		if w.Path != "" {
			if now[i].Files++; now[i].Path == "" {
				now[i].Path = w.Path
			}
			if _, err := os.Lstat(filepath.Join(a.Config.Folder, filepath.FromSlash(w.Raw))); err == nil {
				now[i].Shown++
			}
		}
	}
	if err := a.Remember(KeyWaits, now); err != nil {
		return err
	}
	for _, c := range a.Config.Copies {
		if err := late.Told(a.Ledger, c.ID, func(said string) bool { return slices.Contains(asks, report.Ask(said)) }); err != nil {
			return err
		}
	}
	return nil
}

// NoteGone remembers of which copies a mirror round found something gone that
// they held, until a check has looked at all of the copy.
func (a *Archive) NoteGone(report report.Report) error {
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
		w.What = fmt.Sprintf("lost %s of %s that it held", words.Count(files, "file", "files"), words.Count(len(c.Gone), "site", "sites"))
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

// NoteChecks remembers what a check found beside damage, for the copies it
// looked at, and of the years where it judged them.
func (a *Archive) NoteChecks(report verify.Report) error {
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
		seal := attention.Check{Kind: attention.SealBroken, ID: id, What: c.SealFault}
		if c.SealHolds || c.SealFault != "" { // a check without the paper says nothing of it
			note("seal "+id, seal)
		}
		standard := attention.Check{Kind: attention.Standard, ID: id}
		if n := len(c.Standard); n > 0 {
			standard.What = fmt.Sprintf("it breaks the storage standard in %s", words.Count(n, "place", "places"))
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
			found.What = words.Count(n, "thing that asks for a look", "things that ask for a look")
		}
		note("findings", found)
	}
	return a.Remember(keyChecks, all)
}

// Checks is what noteChecks remembers of the copies that are still there.
func (a *Archive) Checks() ([]attention.Check, error) {
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

// ForgetMendedWaits drops what waited because the bytes in the working folder
// were damaged, once they are mended.
func (a *Archive) ForgetMendedWaits(r mend.Report) error {
	mended := slices.ContainsFunc(r.Mended, func(m mend.Mended) bool { return m.Copy == verify.WorkingName })
	if !mended || slices.ContainsFunc(r.Unmended, func(u mend.Unmended) bool { return u.Copy == verify.WorkingName }) {
		return nil
	}
	var waits []attention.Wait
	if err := a.Recall(KeyWaits, &waits); err != nil {
		return err
	}
	return a.Remember(KeyWaits, slices.DeleteFunc(waits, func(w attention.Wait) bool { return w.Reason == plan.ReasonDamaged }))
}
