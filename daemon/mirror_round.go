package daemon

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"os/user"
	"path/filepath"
	"slices"
	"sync"

	"linecamp/daemon/mirror"
	"linecamp/daemon/reach"
	"linecamp/daemon/service"
	"linecamp/manifest/tally"
	"linecamp/manifest/walk"
	"linecamp/manifest/words"
)

// ErrNoFolder: the archive has no working folder on this machine.
var ErrNoFolder = errors.New("this machine only keeps the archive, and has no working folder of it")

// errLeftOut stands for a copy that was not asked for.
var errLeftOut = errors.New("left out of this run")

// Tally reads the working folder and says what it understands of it.
func (a *Archive) Tally(ctx context.Context, p Progress) (TallyReport, error) {
	t, err := a.tally(ctx, p)
	if err != nil {
		return TallyReport{}, err
	}
	return a.tallyReport(t)
}

func (a *Archive) tallyReport(t *tally.Result) (TallyReport, error) {
	ids, err := a.siteIDs()
	if err != nil {
		return TallyReport{}, err
	}
	return TallyReport{Result: *t, archive: a.cfg.Name, ids: ids}, nil
}

// tally reads the working folder, with the ledger as its memory.
func (a *Archive) tally(ctx context.Context, p Progress) (*tally.Result, error) {
	if a.cfg.Folder == "" {
		return nil, fmt.Errorf("%s: %w", a.cfg.Name, ErrNoFolder)
	}
	t, err := tally.Read(ctx, tally.Options{
		Folder: a.cfg.Folder, Layout: a.cfg.Layout, Views: a.cfg.Views, Dates: a.cfg.Dates,
		Cache: a.ledger, Now: a.now,
		Progress: func(_ int, bytes int64) { p.tell("tally", bytes, 0) },
	})
	if ferr := a.ledger.Flush(); err == nil && ferr != nil {
		return nil, fmt.Errorf("writing the ledger: %w", ferr)
	}
	return t, err
}

// tell is safe on a nil Progress.
func (p Progress) tell(task string, done, total int64) {
	if p != nil {
		p(task, done, total)
	}
}

// Mirror brings the copies up to date: it reads the working folder, records
// what is new, and lets every copy within reach catch up.
func (a *Archive) Mirror(ctx context.Context, o MirrorOptions, p Progress) (MirrorReport, error) {
	if _, err := a.opener().Pick(append(o.Without, o.Copy)...); err != nil {
		return MirrorReport{}, err
	}
	told := a.tellRound(service.Mirror, o.Copy)
	r, err := a.record(ctx, o, p)
	return r, told(ctx, r.ended(), r.Wants(), err)
}

// record is Mirror from where this round may make versions.
func (a *Archive) record(ctx context.Context, o MirrorOptions, p Progress) (MirrorReport, error) {
	leave, err := a.turns.author(ctx)
	if err != nil {
		return MirrorReport{}, err
	}
	leave = sync.OnceFunc(leave)
	defer leave()
	given, err := a.giveUp(ctx, o.Without)
	if err != nil {
		return MirrorReport{}, err
	}
	end, err := a.begin(service.Mirror, o.Copy == "")
	if err != nil {
		return MirrorReport{Report: mirror.Report{GivenUp: given}}, err
	}
	r, err := a.mirror(ctx, o, leave, p)
	r.GivenUp = given
	return r, end(ctx, r.Wants(), err)
}

// mirror is one round. authored is called when another may begin: this one then
// only lets copies catch up.
func (a *Archive) mirror(ctx context.Context, o MirrorOptions, authored func(), p Progress) (MirrorReport, error) {
	self, err := a.identity()
	if err != nil {
		return MirrorReport{}, err
	}
	in := mirror.In{
		Author: self.Author, Machine: self.Machine, Copied: self.Copied,
		Ledger: a.ledger, Cache: a.cache, Now: a.now,
		Progress: p.tell, Aside: filepath.Join(a.dir, "aside"),
	}
	if o.AcceptChanges {
		in.Accept = &mirror.Acceptance{Who: o.Who, Why: o.Why}
		if in.Accept.Who == "" {
			in.Accept.Who = person()
		}
	}
	// A working folder that is not there holds up what is new, not what the
	// copies still lack of what is recorded.
	var folder error
	if a.cfg.Folder != "" {
		if in.Tally, folder = a.tally(ctx, p); folder != nil && !errors.Is(folder, walk.ErrNoFolder) {
			return MirrorReport{}, folder
		}
	}
	copies, err := a.opener().Pick(o.Copy)
	if err != nil {
		return MirrorReport{}, err
	}
	r, err := a.reach(ctx, copies, reach.Patient)
	if err != nil {
		return MirrorReport{}, err
	}
	defer r.Close()
	turns, err := a.occupy(ctx, r.All)
	if err != nil {
		return MirrorReport{}, err
	}
	defer turns.leaveAll()
	seenAll := false // what waits was told to its end
	in.Authored, in.Done = func() { seenAll = ctx.Err() == nil; authored() }, turns.leave

	in.Archive, in.ArchiveID = r.Name, r.ID
	in.Copies = a.forMirror(r)
	for _, c := range a.cfg.GivenUp {
		in.GivenUp = append(in.GivenUp, c.ID)
	}
	report, err := mirror.Run(ctx, in)
	report.Archive = a.cfg.Name
	report.Copies = onlyNamed(report.Copies, o.Copy)
	for i, c := range report.Copies {
		report.Copies[i].Error = words.Plain(c.Error)
		if h := r.Named(c.Copy); h != nil {
			report.Copies[i].Note = h.Note()
		}
		if slices.ContainsFunc(r.All, func(h *reach.Copy) bool { return h.Name == c.Copy && errors.Is(h.Err, errCatchingUp) }) {
			report.Copies[i].State = mirror.Behind
		}
	}
	if folder != nil {
		report.Waiting = append(report.Waiting, mirror.Waiting{Reason: mirror.ReasonFolder + words.Plain(folder.Error()), Person: true})
	}
	if serr := cmp.Or(a.noteStates(r, report), a.noteGone(report)); err == nil && serr != nil {
		err = serr
	}
	if seenAll && (err == nil || ctx.Err() != nil) && (o.Copy == "" || len(r.Open()) > 0) {
		if serr := a.noteWaits(report.Waiting, report.Asks); err == nil && serr != nil {
			err = serr
		}
	}
	if err != nil {
		return MirrorReport{Report: report}, err
	}
	a.tellWaits(report.Waiting)
	now, err := a.attend(ctx, r, service.Mirror)
	if err == nil {
		err = a.tellChanges(now)
	}
	return MirrorReport{Report: report, List: now.List}, err
}

// occupied are the turns and locks a round has on copies.
type occupied struct {
	mu   sync.Mutex
	free map[string]func() // by copy id
}

// leave gives one copy back.
func (o *occupied) leave(id string) {
	o.mu.Lock()
	free := o.free[id]
	delete(o.free, id)
	o.mu.Unlock()
	if free != nil {
		free()
	}
}

func (o *occupied) leaveAll() {
	o.mu.Lock()
	ids := slices.Collect(maps.Keys(o.free))
	o.mu.Unlock()
	for _, id := range ids {
		o.leave(id)
	}
}

// occupy takes the turn on each open copy, and its lock against other
// machines and users. A copy that cannot be had is taken out, with the reason.
func (a *Archive) occupy(ctx context.Context, copies []*reach.Copy) (*occupied, error) {
	o := &occupied{free: map[string]func(){}}
	for _, h := range copies { // always in the config's order, so that no two rounds wait for each other
		if h.Root == nil {
			continue
		}
		leave, err := a.turns.toWrite(ctx, h.Name, h.ID)
		if err == nil {
			var unlock func()
			if unlock, err = h.Root.Lock(ctx); err == nil {
				o.free[h.ID] = func() { unlock(); leave() }
				continue
			}
			leave()
		}
		if ctx.Err() != nil {
			o.leaveAll()
			return nil, ctx.Err()
		}
		h.Root.Close()
		h.Root, h.Err = nil, words.Told(err)
	}
	return o, nil
}

// forMirror lists every copy of the config. Those that were not asked for are
// in it without a root: the round has to know that they exist.
func (a *Archive) forMirror(r *reach.Copies) []mirror.Copy {
	var list []mirror.Copy
	for _, c := range a.cfg.Copies {
		m := mirror.Copy{Name: c.Name, ID: c.ID, Kind: c.Kind, Err: errLeftOut}
		for _, h := range r.All {
			if h.ID == c.ID {
				m = forMirror(h)
			}
		}
		list = append(list, m)
	}
	return list
}

func onlyNamed(all []mirror.CopyState, name string) []mirror.CopyState {
	if name == "" {
		return all
	}
	kept := []mirror.CopyState{}
	for _, c := range all {
		if c.Copy == name {
			kept = append(kept, c)
		}
	}
	return kept
}

// noteStates keeps in the ledger how the round left each copy.
func (a *Archive) noteStates(r *reach.Copies, report mirror.Report) error {
	for _, c := range report.Copies {
		for _, h := range r.All {
			if h.Name != c.Copy {
				continue
			}
			s, err := a.ledger.Seen(h.ID)
			if err != nil {
				return fmt.Errorf("the ledger: %w", err)
			}
			h.After = &reach.After{State: c.State, Error: c.Error}
			s.State, s.Error = c.State, c.Error
			if c.State == mirror.Current {
				s.LastCurrent = a.now()
			}
			if err := a.ledger.SetSeen(h.ID, s); err != nil {
				return fmt.Errorf("the ledger: %w", err)
			}
		}
	}
	return nil
}

// person names who runs this, for what goes on file.
func person() string {
	u, err := user.Current()
	if err != nil {
		return "unknown"
	}
	if u.Name != "" {
		return u.Name
	}
	return u.Username
}
