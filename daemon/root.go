package daemon

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"

	"linecamp/daemon/config"
	"linecamp/manifest/store"
	"linecamp/verify"
)

// RootAccess is how to get at a ROOT that no config describes: a copy found on
// a shelf, or one whose office burned down.
type RootAccess struct {
	Root        string // a drive's folder, or https://host/bucket/prefix
	Region      string // "" asks the service
	Credentials string // "env" or an owner-only file; "" is "env"
	CAFile      string // certificates to trust beside the system's; "" for none
}

// IsRoot tells a ROOT given to --from, a folder or an address, from the name
// of a copy. A name holds no separator.
func IsRoot(from string) bool {
	return strings.ContainsAny(from, `/\`) || from == "." || from == ".." || filepath.IsAbs(from)
}

// at opens the root.
func (ra RootAccess) at(ctx context.Context) (*held, store.Identity, error) {
	h := &held{Copy: config.Copy{Name: ra.Root}}
	var err error
	if strings.Contains(ra.Root, "://") {
		h.Kind, h.URL = config.KindS3, strings.TrimRight(ra.Root, "/")
		h.Region, h.Credentials, h.CAFile = ra.Region, ra.Credentials, ra.CAFile
		h.Root, err = OpenBucket(ctx, h.Copy)
	} else {
		h.Kind, h.Copy.Root = config.KindDrive, ra.Root
		h.Root, err = store.OpenUnidentified(ra.Root)
	}
	if err != nil {
		return nil, store.Identity{}, err
	}
	id, err := h.Root.Identity(ctx)
	if err != nil {
		// A root that lost its identity still holds the photos.
		if !errors.Is(err, store.ErrNoRoot) || ctx.Err() != nil {
			h.Root.Close()
			return nil, store.Identity{}, err
		}
		objects, oerr := store.Objects(ctx, h.Root)
		if oerr != nil || len(objects) == 0 {
			h.Root.Close()
			return nil, store.Identity{}, err
		}
	}
	h.ID = id.CopyID
	return h, id, nil
}

// HistoryFrom is History from a root alone.
func HistoryFrom(ctx context.Context, root RootAccess, site string) (HistoryReport, error) {
	h, id, err := root.at(ctx)
	if err != nil {
		return HistoryReport{}, err
	}
	defer h.Root.Close()
	report, err := historyOf(ctx, []*held{h}, site)
	if report.Archive == "" {
		report.Archive = id.Archive
	}
	return report, err
}

// RestoreFrom is Restore from a root alone.
func RestoreFrom(ctx context.Context, root RootAccess, o RestoreOptions, p Progress) (RestoreReport, error) {
	h, id, err := root.at(ctx)
	if err != nil {
		return RestoreReport{}, err
	}
	defer h.Root.Close()
	return restoreFrom(ctx, id.Archive, nil, []*held{h}, o, p)
}

// ErrYearsFrom: the years of a root alone cannot be judged.
var ErrYearsFrom = errors.New("which years are missing is judged by the working folder and all copies together; leave --from out, or check this copy with --only rot")

// VerifyFrom re-reads a root by its own manifests and seal.
func VerifyFrom(ctx context.Context, root RootAccess, o VerifyOptions, p Progress) (VerifyReport, error) {
	if o.Only == OnlyYears {
		return VerifyReport{}, ErrYearsFrom
	}
	paper, err := o.paper()
	if err != nil {
		return VerifyReport{}, err
	}
	h, id, err := root.at(ctx)
	if err != nil {
		return VerifyReport{}, err
	}
	defer h.Root.Close()
	report := VerifyReport{Archive: id.Archive, Copies: []verify.CopyReport{}, Years: []verify.Year{}}
	vo := verify.Options{
		Quick: o.Quick, Allowance: -1, Paper: paper,
		Progress: func(done, total int64) { p.tell(h.Name, done, total) },
	}
	if seal, err := store.ReadSeal(ctx, h.Root); err == nil {
		vo.Seal = seal
	}
	c, err := verify.Rot(ctx, h.forVerify(), vo)
	if err != nil {
		return report, fmt.Errorf("checking %s: %w", h.Name, err)
	}
	if c.Damage == nil {
		c.Damage = []verify.Damage{}
	}
	report.Copies = append(report.Copies, c)
	return report, nil
}
