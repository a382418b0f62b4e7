package daemon

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"sync"

	"linecamp/daemon/archive"
	"linecamp/daemon/attention"
	"linecamp/daemon/carried"
	"linecamp/daemon/mirror"
	"linecamp/daemon/mirror/report"
	"linecamp/daemon/reach"
	"linecamp/daemon/service"
	"linecamp/daemon/status"
	"linecamp/daemon/turns"
	"linecamp/manifest/tally"
	"linecamp/manifest/walk"
)

// Tally reads the working folder and says what it understands of it.
func (a *Archive) Tally(ctx context.Context, p Progress) (TallyReport, error) {
	t, err := a.Folder(ctx, p)
	if err != nil {
		return TallyReport{}, err
	}
	return a.tallyReport(t)
}

func (a *Archive) tallyReport(t *tally.Result) (TallyReport, error) {
	ids, err := a.SiteIDs()
	if err != nil {
		return TallyReport{}, err
	}
	return TallyReport{Result: *t, Archive: a.Config.Name, ids: ids}, nil
}

// Mirror brings the copies up to date: it reads the working folder, records
// what is new, and lets every copy within reach catch up.
func (a *Archive) Mirror(ctx context.Context, o MirrorOptions, p Progress) (MirrorReport, error) {
	if _, err := a.Opener().Pick(append(o.Without, o.Copy)...); err != nil {
		return MirrorReport{}, err
	}
	told := a.TellRound(service.Mirror, o.Copy)
	p, ended := a.under(service.Mirror, p)
	defer ended()
	r, err := a.record(ctx, o, p)
	return r, told(ctx, r.ended(), r.Wants(), err)
}

// record is Mirror from where this round may make versions.
func (a *Archive) record(ctx context.Context, o MirrorOptions, p Progress) (MirrorReport, error) {
	leave, err := a.Turns.Author(ctx)
	if err != nil {
		return MirrorReport{}, err
	}
	leave = sync.OnceFunc(leave)
	defer leave()
	given, err := a.giveUp(ctx, o.Without)
	if err != nil {
		return MirrorReport{}, err
	}
	end, err := a.Begin(service.Mirror, o.Copy == "")
	if err != nil {
		return MirrorReport{Report: report.Report{GivenUp: given}}, err
	}
	look := a.BeginLook()
	defer look.End()
	r, keep, err := a.mirror(ctx, o, leave, look, p)
	r.GivenUp = given
	if err = end(ctx, r.Wants(), err); err == nil && !r.Wants() && keep != nil {
		err = keep()
	}
	return r, err
}

// mirror is one round. authored is called when another may begin: this one then
// only lets copies catch up. keep, where it is not nil, keeps how look found the
// archive, once the round has ended well.
func (a *Archive) mirror(ctx context.Context, o MirrorOptions, authored func(), look archive.Look, p Progress) (_ MirrorReport, keep func() error, err error) {
	self, err := a.Self()
	if err != nil {
		return MirrorReport{}, nil, err
	}
	in := mirror.In{
		Author: self.Author, Machine: self.Machine, Copied: self.Copied,
		Ledger: a.Ledger, Cache: a.Cache, Now: a.Now,
		Progress: p.Tell, Aside: filepath.Join(a.Dir, "aside"),
		Settings: carried.Text(a.Config), Program: a.Program,
	}
	if o.AcceptChanges {
		in.Accept = &mirror.Acceptance{Who: o.Who, Why: o.Why}
		if in.Accept.Who == "" {
			in.Accept.Who = archive.Person()
		}
	}
	// A working folder that is not there holds up what is new, not what the
	// copies still lack of what is recorded.
	var folder error
	if a.Config.Folder != "" {
		if in.Tally, folder = a.Folder(ctx, p); folder != nil && !errors.Is(folder, walk.ErrNoFolder) {
			return MirrorReport{}, nil, folder
		}
	}
	copies, err := a.Opener().Pick(o.Copy)
	if err != nil {
		return MirrorReport{}, nil, err
	}
	r, err := a.Reach(ctx, copies, reach.Patient)
	if err != nil {
		return MirrorReport{}, nil, err
	}
	defer r.Close()
	held, err := a.Occupy(ctx, r.All)
	if err != nil {
		return MirrorReport{}, nil, err
	}
	defer held.LeaveAll()
	seenAll := false // what waits was told to its end
	in.Authored, in.Done = func() { seenAll = ctx.Err() == nil; authored() }, held.Leave

	in.Archive, in.ArchiveID = r.Name, r.ID
	in.Copies = a.forMirror(r)
	if in.GivenUp, err = a.left(); err != nil {
		return MirrorReport{}, nil, err
	}
	rep, err := mirror.Run(ctx, in)
	rep.Archive = a.Config.Name
	rep.Copies = onlyNamed(rep.Copies, o.Copy)
	for i, c := range rep.Copies {
		if h := r.Named(c.Copy); h != nil {
			rep.Copies[i].Note = cmp.Or(h.Note(), c.Note)
		}
		if slices.ContainsFunc(r.All, func(h *reach.Copy) bool { return h.Name == c.Copy && errors.Is(h.Err, turns.ErrCatchingUp) }) {
			rep.Copies[i].State = reach.Behind
		}
	}
	if folder != nil {
		rep.Waiting = append(rep.Waiting, report.Waiting{Kind: attention.FolderGone, Reason: report.ReasonFolder + folder.Error(), Person: true})
	}
	err = cmp.Or(err, a.noteStates(r, rep), a.NoteGone(rep))
	if seenAll && (err == nil || ctx.Err() != nil) && (o.Copy == "" || len(r.Open()) > 0) {
		err = cmp.Or(err, a.NoteWaits(rep.Waiting, rep.Asks))
	}
	if err == nil {
		err = a.KeepUp(ctx, r, in.Tally)
	}
	if err != nil {
		return MirrorReport{Report: rep}, nil, err
	}
	a.tellWaits(rep.Waiting)
	var looked *archive.Looked // where nothing was recorded, which is quick, the folder as it was seen for that
	if t := in.Tally; t != nil && rep.Made == 0 && len(t.Waiting) == 0 {
		looked = &archive.Looked{Files: t.Seen, Print: t.Print}
	}
	now, err := status.Attend(ctx, a.Archive, r, service.Mirror, looked)
	for i, c := range rep.Copies {
		if toGo, link := now.Going(c.Copy); link != nil {
			rep.Copies[i].ToGo, rep.Copies[i].Link = &toGo, link
		}
	}
	if err == nil {
		err = status.TellChanges(a.Archive, now)
	}
	if err == nil && o.Copy == "" {
		keep, err = status.Kept(a.Archive, look, r, now)
	}
	return MirrorReport{Report: rep, List: now.List}, keep, err
}

// forMirror lists every copy of the config. Those that were not asked for are
// in it without a root: the round has to know that they exist.
func (a *Archive) forMirror(r *reach.Copies) []mirror.Copy {
	var list []mirror.Copy
	for _, c := range a.Config.Copies {
		m := mirror.Copy{Name: c.Name, ID: c.ID, Err: archive.ErrLeftOut}
		for _, h := range r.All {
			if h.ID == c.ID {
				m = forMirror(h)
			}
		}
		list = append(list, m)
	}
	return list
}

func onlyNamed(all []report.CopyState, name string) []report.CopyState {
	if name == "" {
		return all
	}
	kept := []report.CopyState{}
	for _, c := range all {
		if c.Copy == name {
			kept = append(kept, c)
		}
	}
	return kept
}

// noteStates keeps in the ledger how the round left each copy.
func (a *Archive) noteStates(r *reach.Copies, rep report.Report) error {
	for _, c := range rep.Copies {
		for _, h := range r.All {
			if h.Name != c.Copy {
				continue
			}
			s, err := a.Ledger.Seen(h.ID)
			if err != nil {
				return fmt.Errorf("the ledger: %w", err)
			}
			h.After = &reach.After{State: c.State, Error: c.Error}
			if c.State == reach.Current {
				s.LastCurrent = a.Now()
			} else if err := h.Link.Note(c.Versions > 0 || s.State == reach.Current); err != nil {
				return err
			}
			s.State, s.Error = c.State, c.Error
			if err := a.Ledger.SetSeen(h.ID, s); err != nil {
				return fmt.Errorf("the ledger: %w", err)
			}
		}
	}
	return nil
}

func forMirror(h *reach.Copy) mirror.Copy {
	return mirror.Copy{Name: h.Name, ID: h.ID, Root: h.Root, Err: h.Err, Away: h.Away, Link: h.Link}
}
