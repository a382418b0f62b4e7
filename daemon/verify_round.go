package daemon

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"linecamp/daemon/archive"
	"linecamp/daemon/carried"
	"linecamp/daemon/config"
	"linecamp/daemon/mirror/gone"
	"linecamp/daemon/mirror/short"
	"linecamp/daemon/reach"
	"linecamp/daemon/service"
	"linecamp/daemon/status"
	"linecamp/manifest/walk"
	"linecamp/verify"
	"linecamp/verify/deep"
	"linecamp/verify/findings"
	"linecamp/verify/rot"
	"linecamp/verify/years"
)

// Verify re-reads the copies, each in its own goroutine, and the working
// folder, and judges the years. What it found stays in the ledger for Status
// and Mend.
func (a *Archive) Verify(ctx context.Context, o VerifyOptions, p Progress) (VerifyReport, error) {
	p, ended := a.under(service.Verify, p)
	defer ended()
	report, _, err := a.verify(ctx, o, p)
	return report, err
}

// whole says whether a verification counts as the scheduled round.
func (o VerifyOptions) whole() bool { return o.Copy == "" && o.Only == "" && !o.Quick }

func (o VerifyOptions) rot() bool { return o.Only != OnlyYears }

// years are judged over all copies, so not where one was asked for.
func (o VerifyOptions) years() bool { return o.Only == OnlyYears || o.Only == "" && o.Copy == "" }

// verify also returns the objects whose root pair is to be written again, by
// copy, for mend.
func (a *Archive) verify(ctx context.Context, o VerifyOptions, p Progress) (VerifyReport, map[string][]string, error) {
	report := VerifyReport{Report: verify.Report{Archive: a.Config.Name, Copies: []verify.CopyReport{}, Years: []verify.Year{}, Folder: a.Config.Folder, Asked: o.Copy, Units: a.Config.Distances()}}
	var picked []config.Copy
	known, _ := a.Cache.Seal() // without it, each copy's own seal tells
	if _, err := o.paper(known); err != nil {
		return report, nil, err
	}
	if o.Deep && a.Config.Folder == "" {
		return report, nil, fmt.Errorf("%s: %w, so there are no photos to decode; leave --deep out", a.Config.Name, archive.ErrNoFolder)
	}
	var err error
	if o.Copy != verify.WorkingName {
		if picked, err = a.Opener().Pick(o.Copy); err != nil {
			return report, nil, err
		}
	}
	told := a.TellRound(service.Verify, o.Copy)
	unfinished := map[string][]string{}
	end, err := a.Begin(service.Verify, o.whole())
	if err == nil {
		err = a.check(ctx, o, picked, &report, unfinished, p)
		err = end(ctx, report.Wants(), err)
	}
	return report, unfinished, told(ctx, report.ended(), report.Wants(), err)
}

func (a *Archive) check(ctx context.Context, o VerifyOptions, picked []config.Copy, report *VerifyReport, unfinished map[string][]string, p Progress) error {
	// Copies not asked for still tell what should exist, and where good bytes are.
	k, err := a.Look(ctx)
	if err != nil {
		return err
	}
	defer k.Copies.Close()
	r := k.Copies
	if report.Nothing, err = a.nothingYet(ctx, r, k, p); err != nil {
		return err
	}
	if o.rot() {
		if err := a.checkCopies(ctx, o, r, k, picked, report, p); err != nil {
			return err
		}
		for _, c := range report.Copies {
			if len(c.Unfinished) > 0 {
				unfinished[c.Copy] = c.Unfinished
			}
		}
		if a.Config.Folder != "" && (o.Copy == "" || o.Copy == verify.WorkingName) {
			if err := a.checkWorking(ctx, o, k, report, p); err != nil {
				return err
			}
		}
	}
	var looked *archive.Looked
	if o.years() {
		in, err := a.judge(ctx, o, r, k, report, p)
		if !o.Deep { // which may have taken hours since
			looked = in.Looked
		}
		if err != nil && o.rot() && errors.Is(err, walk.ErrNoFolder) {
			// What the copies were found to hold is said all the same.
			report.YearsError, err = err.Error(), nil
		}
		if err != nil {
			return err
		}
	}
	if err := a.NoteChecks(report.Report); err != nil {
		return fmt.Errorf("the ledger: %w", err)
	}
	at := ""
	if o.whole() {
		at = service.Verify
	}
	now, err := status.Attend(ctx, a.Archive, r, at, looked)
	if report.List = now.List; err != nil {
		return err
	}
	return status.TellChanges(a.Archive, now)
}

// nothingYet reports whether no version of anything is recorded, though there
// is something that could be: no mirror round was run here yet, or the working
// folder holds files. An archive that is empty after a round is as it should be.
func (a *Archive) nothingYet(ctx context.Context, r *reach.Copies, k *archive.Known, p Progress) (bool, error) {
	if k.Seal.Len() > 0 || len(r.Open()) == 0 {
		return false, nil
	}
	_, mirrored, err := a.Ledger.LastRound(service.Mirror)
	if err != nil {
		return false, fmt.Errorf("the ledger: %w", err)
	}
	if !mirrored || a.Config.Folder == "" {
		return !mirrored, nil
	}
	t, err := a.Folder(ctx, p)
	if errors.Is(err, walk.ErrNoFolder) {
		return false, nil
	}
	return err == nil && t.Files > 0, err
}

func (a *Archive) checkCopies(ctx context.Context, o VerifyOptions, r *reach.Copies, k *archive.Known, picked []config.Copy, report *VerifyReport, p Progress) error {
	var checking sync.WaitGroup
	var mu sync.Mutex
	var failed error
	var found []*verify.CopyReport
	for _, h := range r.All {
		if !slices.ContainsFunc(picked, func(c config.Copy) bool { return c.ID == h.ID }) {
			continue
		}
		c := &verify.CopyReport{Copy: h.Name, Depth: depth(o), Damage: []verify.Damage{}}
		found = append(found, c)
		if h.Root == nil {
			c.Error, c.Away = h.Err.Error(), h.Away
			continue
		}
		checking.Go(func() {
			if err := a.checkCopy(ctx, o, h, k, c, p); err != nil {
				mu.Lock()
				defer mu.Unlock()
				failed = cmp.Or(failed, fmt.Errorf("checking %s: %w", h.Name, err))
			}
		})
	}
	checking.Wait()
	if err := a.Ledger.Flush(); err != nil && failed == nil {
		failed = fmt.Errorf("writing the ledger: %w", err)
	}
	for _, c := range found {
		report.Copies = append(report.Copies, *c)
	}
	if ctx.Err() != nil {
		return ctx.Err()
	}
	return failed
}

func depth(o VerifyOptions) string {
	if o.Quick {
		return verify.Quick
	}
	return verify.Full
}

func (a *Archive) options(o VerifyOptions, k *archive.Known, name string, p Progress) rot.Options {
	paper, _ := o.paper(nil) // it was read without fault when the check began
	return rot.Options{
		Quick: o.Quick, Paper: paper, Memory: a.Memory(), Allowance: -1,
		Expected: k.Inventory, ExpectedObjects: k.Slugs, Seal: k.Seal, Seconded: k.Seconded, Now: a.Now,
		Progress: func(done, total int64) { p.Tell(name, done, total) },
	}
}

// checkCopy re-reads one copy, taking turns with mirror rounds. Whatever ends the
// check of it is said in c, beside what was found until then; the error is for
// ctx and the ledger.
func (a *Archive) checkCopy(ctx context.Context, o VerifyOptions, h *reach.Copy, k *archive.Known, c *verify.CopyReport, p Progress) error {
	began := a.Now()
	vo := a.options(o, k, h.Name, p)
	if h.Can().Metered {
		left, err := a.Allowance(h.Copy)
		if err != nil {
			return err
		}
		vo.Allowance = left
	}
	var err error
	if vo.Had, vo.HadLines, vo.HadLogs, err = gone.Had(a.Ledger, h.ID); err != nil {
		return err
	}
	stay, err := a.Turns.Visit(ctx, h.Name, h.ID)
	if err != nil {
		return err
	}
	defer stay.Leave()
	vo.Yield = stay.Yield
	found, err := rot.Check(ctx, archive.ForVerify(h), vo)
	settings := err == nil && carried.CheckSettings(ctx, carried.Copy{ID: h.ID, Root: h.Root}, a.Ledger, &found)
	var spent error
	if found.Downloaded > 0 { // whatever came of it
		spent = a.Ledger.Spend(h.ID, found.Downloaded, a.Now())
	}
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if errors.Is(err, rot.ErrMemory) || spent != nil {
		return cmp.Or(spent, err)
	}
	if found.Damage, err = a.stillDamaged(h, found, settings, began); err != nil {
		return err
	}
	*c = found
	if err := gone.Found(a.Ledger, h.ID, found); err != nil {
		return err
	}
	return a.SetDamage(h.Name, h.ID, found.Damage)
}

// notAgain is said of damage found earlier that this check did not look at.
const notAgain = "found earlier, and not read again this time"

// stillDamaged adds to what a check found the damage known before that it did
// not read again, because the allowance was used up or the check was a quick
// one, or because the check did not come to its end; settings says whether it
// came to those. Rot once found is not
// forgotten until the bytes were read and good.
func (a *Archive) stillDamaged(h *reach.Copy, c verify.CopyReport, settings bool, began time.Time) ([]verify.Damage, error) {
	known, err := a.Ledger.Damage()
	if err != nil {
		return nil, err
	}
	found, stopped := c.Damage, c.Error != ""
	if found == nil {
		found = []verify.Damage{}
	}
	lacks, err := short.Of(a.Ledger, h.ID)
	if err != nil {
		return nil, err
	}
	again := map[[2]string]bool{}
	for i, f := range found {
		if j := slices.IndexFunc(lacks, func(s short.File) bool { return s.TooLarge && s.Object == f.Object && s.Content == f.Content }); j >= 0 && f.Kind == verify.Gone {
			found[i].Detail = "this copy never had it: " + short.Text(lacks[j:j+1])
		}
		again[[2]string{f.Object, f.Content}] = true
	}
	var object string
	var memory map[string]verify.Held
	for _, d := range known {
		unread := stopped || !settings && d.Path == verify.SettingsPath
		if d.Copy != h.ID || again[[2]string{d.Object, d.Content}] || !unread && d.Kind != verify.Altered && d.Kind != verify.Unreadable {
			continue
		}
		if memory == nil || object != d.Object {
			object = d.Object
			if memory, err = a.Ledger.Held(h.ID, object); err != nil {
				return nil, err
			}
		}
		if m, ok := memory[d.Content]; ok && m.ReadBack.Before(began) || !ok && unread {
			d.Copy, d.Detail = h.Name, notAgain
			found = append(found, d)
		}
	}
	return found, nil
}

func (a *Archive) checkWorking(ctx context.Context, o VerifyOptions, k *archive.Known, report *VerifyReport, p Progress) error {
	c, err := rot.Working(ctx, a.Config.Folder, k.Pairs(), a.options(o, k, verify.WorkingName, p))
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if err != nil {
		c = verify.CopyReport{Copy: verify.WorkingName, Depth: depth(o), Error: err.Error()}
	}
	if c.Damage == nil {
		c.Damage = []verify.Damage{}
	}
	report.Copies = append(report.Copies, c)
	if err != nil {
		return nil
	}
	return a.SetDamage(verify.WorkingName, verify.WorkingName, c.Damage)
}

// judge judges the years from the working folder as it is now, the manifests, and
// what this check or an earlier one found on the copies. It returns what they were
// judged by.
func (a *Archive) judge(ctx context.Context, o VerifyOptions, r *reach.Copies, k *archive.Known, report *VerifyReport, p Progress) (archive.Judged, error) {
	in, err := a.YearsInput(ctx, r, k, report.Copies, p)
	if err != nil {
		return in, err
	}
	if o.Deep {
		if report.Deep, err = deep.Check(ctx, &in.Input, a.Config.Folder, a.Ledger, func(done, total int64) { p.Tell("photos", done, total) }); err != nil {
			return in, err
		}
	}
	report.Years = years.Judge(in.Input)
	report.Judged = true
	report.Joined, report.Alike = in.JoinedSites(), findings.Alikes(in.Input)
	report.Findings = append(findings.Of(in.Input, report.Years), findings.OfCards(in.Faults)...)
	if report.Years == nil {
		report.Years = []verify.Year{}
	}
	if err := ctx.Err(); err != nil {
		return in, err
	}
	return in, a.RememberYears(in, report.Report)
}
