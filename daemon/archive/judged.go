package archive

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"linecamp/daemon/reach"
	"linecamp/manifest"
	"linecamp/manifest/card"
	"linecamp/manifest/tally"
	"linecamp/manifest/walk"
	"linecamp/verify"
	"linecamp/verify/deep"
	"linecamp/verify/findings"
	"linecamp/verify/gather"
	"linecamp/verify/years"
)

// FolderNow is a tally of the working folder; nil where it is not there now.
func (a *Archive) FolderNow(ctx context.Context, p Progress) (*tally.Result, error) {
	t, err := a.Folder(ctx, p)
	if errors.Is(err, ErrNoFolder) || errors.Is(err, walk.ErrNoFolder) {
		return nil, nil
	}
	return t, err
}

// Judged is what the years are judged by.
type Judged struct {
	gather.Input
	Faults []card.Fault // of cards
	Looked *Looked      // nil where there is no working folder
}

// Looked is what the working folder was seen to be as it was read for the years: who
// asks next what no version has need not look again.
type Looked struct {
	Files    int    // in it
	Print    uint64 // see [walk.Found]
	Judged   bool   // whether Recorded was found out
	Recorded bool   // all of it is, as it is
	Lines    int    // of the seal then
}

// YearsInput gathers what the years are judged by, sites joined as people said.
func (a *Archive) YearsInput(ctx context.Context, r *reach.Copies, k *Known, checked []verify.CopyReport, p Progress) (Judged, error) {
	t, err := a.Folder(ctx, p)
	switch {
	case errors.Is(err, ErrNoFolder):
		t = nil
	case errors.Is(err, walk.ErrNoFolder):
		return Judged{}, fmt.Errorf("the years cannot be judged: %w", err)
	case err != nil:
		return Judged{}, err
	}
	in, err := a.JudgedBy(t, r, k, checked)
	if err == nil {
		in.Join()
		in.Spell()
	}
	return in, err
}

// JudgedBy is YearsInput with the working folder as t tells of it, nil for none,
// before sites are joined.
func (a *Archive) JudgedBy(t *tally.Result, r *reach.Copies, k *Known, checked []verify.CopyReport) (in Judged, err error) {
	holdings, err := a.holdings(r, checked)
	if err != nil {
		return in, fmt.Errorf("the ledger: %w", err)
	}
	of, err := k.manifestsAtHand()
	if err != nil {
		return in, fmt.Errorf("the state folder: %w", err)
	}
	kept, err := k.shown(of, t)
	if err != nil {
		return in, fmt.Errorf("the ledger: %w", err)
	}
	recorded := true
	if kept != nil {
		in.Input = gather.Sites(a.Now(), t, kept.objects(), holdings)
	} else {
		read := &shown{Of: of}
		in.Input = gather.Sites(a.Now(), t, read.reading(k.Objects()), holdings)
		if recorded = read.all(t); recorded {
			if err := read.keep(k); err != nil {
				return in, fmt.Errorf("the ledger: %w", err)
			}
		}
	}
	in.Tolerance, in.Units = gather.Tolerance(a.Config.Years), a.Config.Distances()
	if err := a.addSaid(&in.Input); err != nil {
		return in, err
	}
	bad, err := a.Ledger.Undecodable()
	if err != nil {
		return in, err
	}
	deep.Mark(&in.Input, bad)
	if t != nil {
		cards := card.Read(t)
		in.Declare(cards)
		in.Faults = cards.Faults
		in.Looked = &Looked{Files: t.Seen, Print: t.Print, Judged: true, Recorded: recorded, Lines: k.Seal.Len()}
	}
	return in, nil
}

// holdings says what each copy of the config holds, from the check just done
// where it was done, else from memory.
func (a *Archive) holdings(r *reach.Copies, checked []verify.CopyReport) ([]gather.Holding, error) {
	damage, err := a.Ledger.Damage()
	if err != nil {
		return nil, err
	}
	var all []gather.Holding
	for _, h := range r.All {
		i := slices.IndexFunc(checked, func(c verify.CopyReport) bool { return c.Copy == h.Name && c.Error == "" })
		if i >= 0 {
			all = append(all, gather.Holding{Heads: checked[i].Heads, Damage: checked[i].Damage})
			continue
		}
		heads, err := a.Ledger.Committed(h.ID)
		if err != nil {
			return nil, err
		}
		hold := gather.Holding{Heads: heads, Unknown: h.Root == nil || len(heads) == 0}
		for _, d := range damage {
			if d.Copy == h.ID {
				hold.Damage = append(hold.Damage, d)
			}
		}
		all = append(all, hold)
	}
	return all, nil
}

// keyJudged is where the ledger keeps what the years were last judged by, a Looked, if
// something in them wants a person.
const keyJudged = "working folder when the years were judged"

// RememberYears keeps what the status says of the years.
func (a *Archive) RememberYears(in Judged, report verify.Report) error {
	counts := map[string]int{}
	for _, y := range report.Years {
		counts[y.State]++
	}
	if !slices.ContainsFunc(report.Years, verify.Year.Wants) && !slices.ContainsFunc(report.Findings, verify.Finding.Wants) {
		in.Looked = nil
	}
	return errors.Join(a.Ledger.SetYears(counts, in.Now), a.Remember(keyJudged, in.Looked))
}

// addSaid adds to the years' input what no version records yet, and leaves out
// what was taken back.
func (a *Archive) addSaid(in *gather.Input) error {
	said, err := a.Ledger.Said()
	if err != nil {
		return fmt.Errorf("the ledger: %w", err)
	}
	for _, s := range said {
		if manifest.Unfiled(s.Object) {
			in.Unfiled.Decisions = append(in.Unfiled.Decisions, s.Decision)
			continue
		}
		i := slices.IndexFunc(in.Sites, func(x gather.SiteItems) bool { return x.Object == s.Object })
		if i >= 0 {
			in.Sites[i].Decisions = append(in.Sites[i].Decisions, s.Decision)
		}
	}
	in.Unfiled.Decisions = manifest.Standing(in.Unfiled.Decisions)
	for i := range in.Sites {
		in.Sites[i].Decisions = manifest.Standing(in.Sites[i].Decisions)
	}
	return nil
}

// JudgeAgain judges the years by the working folder as t tells of it, so that the
// status knows at once what a person put on file. Without it, the next check
// does.
func (a *Archive) JudgeAgain(k *Known, t *tally.Result) error {
	if t == nil {
		return nil
	}
	in, err := a.JudgedBy(t, k.Copies, k, nil)
	if err != nil {
		return err
	}
	in.Join()
	report := verify.Report{Judged: true, Years: years.Judge(in.Input)}
	report.Findings = append(findings.Of(in.Input, report.Years), findings.OfCards(in.Faults)...)
	if err := k.Ctx.Err(); err != nil {
		return err
	}
	return errors.Join(a.RememberYears(in, report), a.NoteChecks(report))
}

// KeepUp judges the years again if the last look at them found something that wants a
// person, and the folder, or what is on record, is another one since: what came back or
// was filed is not told as lacking any more. What else is new waits for the next check.
func (a *Archive) KeepUp(ctx context.Context, r *reach.Copies, t *tally.Result) error {
	var was *Looked
	if err := a.Recall(keyJudged, &was); err != nil || was == nil || t == nil {
		return err
	}
	k, err := a.Known(ctx, r)
	if err != nil || t.Seen == was.Files && t.Print == was.Print && k.Seal.Len() == was.Lines {
		return err
	}
	return a.JudgeAgain(k, t)
}
