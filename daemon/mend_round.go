package daemon

import (
	"cmp"
	"context"
	"fmt"
	"path/filepath"
	"slices"

	"linecamp/daemon/archive"
	"linecamp/daemon/carried"
	"linecamp/daemon/mend"
	"linecamp/daemon/reach"
	"linecamp/verify"
)

// Mend puts good bytes in the place of damaged ones: of those the last checks
// found, or where they found none, of what a quick check finds now. Every
// file is looked at again before it is touched.
func (a *Archive) Mend(ctx context.Context, o MendOptions, p Progress) (MendReport, error) {
	if o.Copy != "" && o.Copy != verify.WorkingName {
		if _, err := a.Opener().Pick(o.Copy); err != nil {
			return MendReport{}, err
		}
	}
	known, err := a.Damage()
	if err != nil {
		return MendReport{}, err
	}
	unfinished := map[string][]string{}
	var unseen []mend.Unreached
	if !slices.ContainsFunc(known, func(d verify.Damage) bool { return o.Copy == "" || d.Copy == o.Copy }) {
		quick := VerifyOptions{Copy: o.Copy, Only: OnlyRot, Quick: true}
		var looked VerifyReport
		if looked, unfinished, err = a.verify(ctx, quick, p); err != nil {
			return MendReport{}, err
		}
		for _, c := range looked.Copies {
			if o.Copy != "" && c.Error != "" && len(c.Damage) == 0 {
				return MendReport{}, fmt.Errorf("%s could not be looked at, so nothing was mended: %s", c.Copy, c.Error)
			}
			if c.Error != "" && !c.Away {
				unseen = append(unseen, mend.Unreached{Copy: c.Copy, Reason: c.Error})
			}
		}
	}
	report, err := a.mend(ctx, o, unfinished, true, p)
	for _, u := range unseen {
		if !slices.ContainsFunc(report.Unreached, func(r mend.Unreached) bool { return r.Copy == u.Copy }) {
			report.Unreached = append(report.Unreached, u)
		}
	}
	return report, err
}

// mend works on the damage in the ledger. The working folder is only written
// to by a person's own command.
func (a *Archive) mend(ctx context.Context, o MendOptions, unfinished map[string][]string, working bool, p Progress) (MendReport, error) {
	told := a.TellRound(archive.RoundMend, o.Copy)
	r, err := a.mendDamage(ctx, o, unfinished, working, p)
	return r, told(ctx, mendEnded(r), r.Wants(), err)
}

func (a *Archive) mendDamage(ctx context.Context, o MendOptions, unfinished map[string][]string, working bool, p Progress) (MendReport, error) {
	damage, err := a.Damage()
	if err != nil {
		return MendReport{}, err
	}
	if !working {
		damage = slices.DeleteFunc(damage, func(d verify.Damage) bool { return d.Copy == verify.WorkingName })
	}
	opener := a.Opener()
	opener.Anytime = true
	r, err := opener.Open(ctx, a.Config.Copies, reach.Patient)
	if err != nil {
		return MendReport{}, err
	}
	defer r.Close()
	var hurt []*reach.Copy // the copies that may be written to
	for _, h := range r.All {
		wrong := len(unfinished[h.Name]) > 0 ||
			slices.ContainsFunc(damage, func(d verify.Damage) bool { return d.Copy == h.Name })
		if wrong && (o.Copy == "" || o.Copy == h.Name) {
			hurt = append(hurt, h)
		}
	}
	turns, err := a.Occupy(ctx, hurt)
	if err != nil {
		return MendReport{}, err
	}
	defer turns.LeaveAll()
	k, err := a.Known(ctx, r)
	if err != nil {
		return MendReport{}, err
	}
	in := mend.In{
		Archive: a.Config.Name, Damage: damage, Unfinished: unfinished, Only: o.Copy,
		Memory: a.Memory(), Aside: filepath.Join(a.Dir, "aside"), Expected: k.Inventory, Record: a.Cache.Record, Seal: k.Seal, Settings: carried.Text(a.Config), Folder: a.Config.Folder, Now: a.Now,
		Progress: func(done, total int64) { p.Tell("mend", done, total) },
	}
	for _, h := range r.Open() {
		in.Copies = append(in.Copies, archive.ForVerify(h))
	}
	report, err := mend.Run(ctx, in)
	report.Archive = a.Config.Name
	for _, h := range r.All {
		if h.Root == nil && !h.Away && (o.Copy == "" || o.Copy == h.Name) {
			report.Unreached = append(report.Unreached, mend.Unreached{Copy: h.Name, Reason: h.Err.Error()})
		}
	}
	if ferr := cmp.Or(a.forgetMended(report), a.ForgetMendedWaits(report)); err == nil && ferr != nil {
		err = fmt.Errorf("the ledger: %w", ferr)
	}
	return report, err
}

// forgetMended takes what was put right out of the damage on record.
func (a *Archive) forgetMended(r MendReport) error {
	damage, err := a.Ledger.Damage()
	if err != nil {
		return err
	}
	left, mended, names := map[string][]verify.Damage{}, map[[3]string]bool{}, map[string]string{}
	for _, m := range r.Mended {
		id := a.ID(m.Copy)
		left[id], names[id] = nil, m.Copy
		mended[[3]string{id, m.Object, m.Content}] = true
	}
	for _, d := range damage {
		if _, touched := left[d.Copy]; touched && !mended[[3]string{d.Copy, d.Object, d.Content}] {
			left[d.Copy] = append(left[d.Copy], d)
		}
	}
	for id, rest := range left {
		if err := a.SetDamage(names[id], id, rest); err != nil {
			return err
		}
	}
	return a.Ledger.Flush()
}
