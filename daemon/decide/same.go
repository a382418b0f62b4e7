package decide

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"linecamp/daemon/archive"
	"linecamp/daemon/ledger"
	"linecamp/manifest"
	"linecamp/manifest/store/fault"
	"linecamp/manifest/walk"
	"linecamp/manifest/words"
	"linecamp/verify"
	"linecamp/verify/gather"
	"linecamp/verify/history"
	"linecamp/verify/years"
)

// ErrSame marks two sites that cannot be joined or parted as it was asked for.
var ErrSame = errors.New("this cannot be done as asked")

func unfit(format string, a ...any) error {
	return fault.Say(ErrSame, format, a...)
}

// SameOptions say which two sites are one stake, or are not.
type SameOptions struct {
	Now     string // the site as it is called now: name, folder or slug, or the beginning of one
	Former  string // the same of its earlier name
	No      bool   // they are two, and nobody is to ask again
	Undo    bool   // they were joined, and are two again
	Overlap bool   // join them although both have visits in the same years
	Why     string // the reason; may be ""
	Who     string // who says so; "" for the user this runs as
}

// SameReport is what was put on file about two sites.
type SameReport struct {
	Archive string    `json:"archive"`
	Decided string    `json:"decided"` // manifest.Joined or manifest.Apart
	Now     SameSite  `json:"now"`
	Former  SameSite  `json:"former"`
	Overlap []int     `json:"overlap"` // years in which both have visits
	Who     string    `json:"who"`
	When    time.Time `json:"when"`
	Why     string    `json:"why"`
	Already bool      `json:"already"` // it was on file before; nothing was added
	Undone  bool      `json:"-"`       // they were joined before, and are two again
}

// SameSite is one of the two.
type SameSite struct {
	Site   string `json:"site"`
	Object string `json:"object"`
}

// Wants is false: it was asked for, and done.
func (SameReport) Wants() bool { return false }

// Same puts on file that two sites are one stake, or that they are two. It counts
// at once; the next mirror round writes it into the record of the one first
// named. A fault in what was asked for wraps ErrSame or history.ErrNoSite, or is
// a *history.ManySites.
func Same(ctx context.Context, a *archive.Archive, o SameOptions, p archive.Progress) (SameReport, error) {
	report := SameReport{Archive: a.Config.Name, Overlap: []int{}}
	if a.Config.Folder == "" {
		return report, fmt.Errorf("%s: %w; join sites on the computer that has it", a.Config.Name, archive.ErrNoFolder)
	}
	why := strings.TrimSpace(o.Why)
	if !isReason(why) {
		return report, fault.Say(ErrSame, "the reason is to be a sentence or two on one line")
	}
	k, err := a.Look(ctx)
	if err != nil {
		return report, err
	}
	defer k.Copies.Close()
	pair, err := pairOf(k, o.Now, o.Former)
	if err != nil {
		return report, err
	}
	t, err := a.Folder(ctx, p)
	if errors.Is(err, walk.ErrNoFolder) {
		return report, fmt.Errorf("the years cannot be judged: %w", err)
	}
	if err != nil {
		return report, err
	}
	in, err := a.JudgedBy(t, k.Copies, k, nil)
	if err != nil {
		return report, err
	}
	if o.Who == "" {
		o.Who = archive.Person()
	}
	if report, err = same(a, o, why, pair, in.Input, report); err != nil || report.Already {
		return report, err
	}
	return report, a.JudgeAgain(k, t)
}

// pairOf finds the two sites that are meant.
func pairOf(k *archive.Known, names ...string) (pair [2]verify.Site, err error) {
	var sites []verify.Site
	for inv, rec := range k.Pairs() {
		if s := verify.SiteOf(inv.Slug(), rec); !manifest.Unfiled(s.Object) {
			sites = append(sites, s)
		}
	}
	if err := k.Ctx.Err(); err != nil {
		return pair, err
	}
	for i, n := range names {
		if pair[i], err = history.Find(sites, n); err != nil {
			return pair, err
		}
	}
	if pair[0].Object == pair[1].Object {
		return pair, unfit("%q and %q are the same site, %s; name two", names[0], names[1], verify.Shown(pair[0].Label()))
	}
	return pair, nil
}

// same decides about a pair, given everything decided before.
func same(a *archive.Archive, o SameOptions, why string, pair [2]verify.Site, in gather.Input, report SameReport) (SameReport, error) {
	all := in.Joinings()
	fill := func(now, former verify.Site, d manifest.Decision) {
		report.Now, report.Former = SameSite{now.Label(), now.Object}, SameSite{former.Label(), former.Object}
		report.Decided, report.Who, report.When, report.Why = d.What, d.Who, d.When, d.Why
	}
	d := manifest.Decision{What: manifest.Joined, Who: o.Who, When: a.Now().UTC().Truncate(time.Second), Why: why}
	now, former := pair[0], pair[1]
	i := slices.IndexFunc(all, func(j gather.Joining) bool {
		return j.Now == now.Object && j.Former == former.Object || j.Now == former.Object && j.Former == now.Object
	})
	joined := i >= 0 && all[i].What == manifest.Joined
	if joined && all[i].Now == former.Object {
		now, former = former, now
	}
	switch {
	case o.Undo && !joined:
		return report, unfit("%s and %s are not joined, so there is nothing to undo", verify.Shown(now.Label()), verify.Shown(former.Label()))
	case o.No && joined:
		return report, unfit("they are joined, by %s on %s; to part them: `%s`", verify.Shown(all[i].Who), day(all[i].When),
			words.Line{}.Run("same", "--undo", now.Object, former.Object))
	case o.Undo || o.No:
		d.What = manifest.Apart
	case joined && now != pair[0]:
		return report, unfit("they are joined already, by %s on %s, with %s as the present name; to change that, part them first: `%s`", verify.Shown(all[i].Who), day(all[i].When),
			verify.Shown(now.Label()), words.Line{}.Run("same", "--undo", now.Object, former.Object))
	}
	if i >= 0 && all[i].What == d.What {
		fill(now, former, all[i].Decision)
		report.Already = true
		return report, nil
	}
	if d.What == manifest.Joined {
		for _, s := range pair {
			if err := unbound(s, all, in); err != nil {
				return report, err
			}
		}
		in.Join()
		if report.Overlap = both(years.VisitedYears(in, now.Object), years.VisitedYears(in, former.Object)); len(report.Overlap) > 0 && !o.Overlap {
			return report, unfit("both have visits in %s, as two stakes would. If they are one all the same, add --overlap", words.Runs(report.Overlap))
		}
	}
	// The newest word about a pair counts, whatever the clock said before.
	if i >= 0 && !d.When.After(all[i].When) {
		d.When = all[i].When.Add(time.Second)
	}
	fill(now, former, d)
	report.Undone = o.Undo
	d.Path = former.Object
	if err := a.Ledger.AddSaid(ledger.Said{Object: now.Object, Decision: d}); err != nil {
		return report, fmt.Errorf("writing the ledger: %w", err)
	}
	return report, nil
}

// unbound refuses a site that counts as a part of another already.
func unbound(s verify.Site, all []gather.Joining, in gather.Input) error {
	for _, j := range all {
		if j.What == manifest.Joined && j.Former == s.Object {
			return unfit("%s counts as an earlier name of %s already, by %s on %s. Name that one, or part them first: `%s`",
				verify.Shown(s.Label()), j.Now, verify.Shown(j.Who), day(j.When), words.Line{}.Run("same", "--undo", j.Now, j.Former))
		}
	}
	if !slices.ContainsFunc(in.Sites, func(x gather.SiteItems) bool { return x.Object == s.Object }) {
		return unfit("%s counts as an earlier name of another site already, which says so in its site.toml, by formerly", verify.Shown(s.Label()))
	}
	return nil
}

func day(t time.Time) string { return t.Local().Format(time.DateOnly) }

// both are the years in a and in b.
func both(a, b []int) []int {
	out := []int{}
	for _, y := range a {
		if slices.Contains(b, y) {
			out = append(out, y)
		}
	}
	return out
}
