package daemon

import (
	"cmp"
	"context"
	"errors"
	"fmt"

	"linecamp/daemon/archive"
	"linecamp/daemon/config"
	"linecamp/daemon/reach"
	"linecamp/manifest/store"
	"linecamp/verify"
	"linecamp/verify/history"
	"linecamp/verify/rot"
)

// from does what needs one root alone, and closes it.
func from[R any](ctx context.Context, root reach.RootAccess, do func(h *reach.Copy, archive string) (R, error)) (r R, err error) {
	h, id, err := root.Open(ctx)
	if err != nil {
		return r, err
	}
	defer h.Root.Close()
	return do(h, id.Archive)
}

// HistoryFrom is History from a root alone.
func HistoryFrom(ctx context.Context, root reach.RootAccess, site string) (HistoryReport, error) {
	return from(ctx, root, func(h *reach.Copy, archive string) (HistoryReport, error) {
		report, err := historyOf(ctx, []*reach.Copy{h}, site)
		report.Archive = cmp.Or(report.Archive, archive)
		return report, err
	})
}

// RestoreFrom is Restore from a root alone.
func RestoreFrom(ctx context.Context, root reach.RootAccess, o RestoreOptions, p Progress) (RestoreReport, error) {
	return from(ctx, root, func(h *reach.Copy, archive string) (RestoreReport, error) {
		return restoreFrom(ctx, archive, nil, []*reach.Copy{h}, o, p)
	})
}

// ErrYearsFrom: the years of a root alone cannot be judged.
var ErrYearsFrom = errors.New("which years are missing is judged by your folder and all copies together; leave --from out, or check this copy with --only rot")

// VerifyFrom re-reads a root by its own manifests and seal.
func VerifyFrom(ctx context.Context, root reach.RootAccess, o VerifyOptions, p Progress) (verify.Report, error) {
	if o.Only == OnlyYears {
		return verify.Report{}, ErrYearsFrom
	}
	h, id, err := root.Open(ctx)
	if err != nil {
		return verify.Report{}, err
	}
	defer h.Root.Close()
	known, _ := store.ReadSeal(ctx, h.Root)
	paper, err := o.paper(known)
	if err != nil {
		return verify.Report{}, err
	}
	report := verify.Report{Archive: id.Archive, Copies: []verify.CopyReport{}, Years: []verify.Year{}, Units: config.Archive{}.Distances()}
	vo := rot.Options{
		Quick: o.Quick, Allowance: -1, Paper: paper, Seal: known,
		Progress: func(done, total int64) { p.Tell(h.Name, done, total) },
	}
	c, err := rot.Check(ctx, archive.ForVerify(h), vo)
	if err != nil && !errors.Is(err, rot.ErrStopped) {
		return report, fmt.Errorf("checking %s: %w", h.Name, err)
	}
	report.Copies = append(report.Copies, c)
	return report, nil
}

// NearSites are the sites of an archive, as the first drive that is there has
// them; none where no drive is. It asks no copy over a network.
func NearSites(ctx context.Context, a config.Archive) []verify.Site {
	for _, c := range a.Copies {
		if !c.Can().Local {
			continue
		}
		d, err := c.Open(ctx)
		if err != nil {
			continue
		}
		sites, err := history.Sites(ctx, d)
		d.Close()
		if err == nil {
			return sites
		}
	}
	return nil
}
