package daemon

import (
	"context"
	"fmt"
	"time"

	"linecamp/daemon/levels"
	"linecamp/daemon/reach"
	"linecamp/daemon/service"
	"linecamp/daemon/sheet"
)

// keyDeep is where the ledger keeps when the photos were last decoded in full.
const keyDeep = "photos last decoded in full"

// Levels says where the archive stands on the NDSA Levels, from what is known;
// nothing is read again for it.
func (a *Archive) Levels(ctx context.Context) (levels.Report, error) {
	s, err := a.Status(ctx)
	if err != nil {
		return levels.Report{}, err
	}
	heads, err := a.Heads()
	if err != nil {
		return levels.Report{}, err
	}
	f := levels.Facts{Now: a.Now(), Recorded: len(heads), Damaged: s.Damage, Scheduled: s.Service.Running}
	if seal, err := a.Cache.Seal(); err == nil {
		f.Sealed = seal.Len()
	}
	for _, r := range s.Last {
		if r.Round == service.Verify && r.Ended != nil {
			f.LastVerify = *r.Ended
		}
	}
	if err := a.Recall(keyDeep, &f.Deep); err != nil {
		return levels.Report{}, fmt.Errorf("the ledger: %w", err)
	}
	if printed, fits, err := sheet.Printed(a.Archive); err != nil {
		return levels.Report{}, err
	} else if fits {
		f.Sheet = printed
	}
	for i, c := range s.Copies {
		f.Copies = append(f.Copies, levels.Copy{
			Name: c.Copy, Bucket: !a.Config.Copies[i].Can().Local, Where: a.Config.Copies[i].Where, Whole: c.State == reach.Current,
			Files: c.Files, ReadBack: c.ReadBack.Files, Oldest: since(c.ReadBack.Oldest), Drilled: since(c.LastDrill),
		})
	}
	return levels.Of(a.Config.Name, f), nil
}

func since(t *time.Time) time.Time {
	if t == nil {
		return time.Time{}
	}
	return *t
}
