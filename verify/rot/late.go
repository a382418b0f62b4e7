package rot

import (
	"context"
	"fmt"

	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/manifest/words"
	"linecamp/verify"
)

// lateLog checks a log of another history that the copy keeps, whose name is the
// digest of its bytes.
func (r *check) lateLog(ctx context.Context, key string, want manifest.Digest) {
	if ctx.Err() != nil || r.o.Quick && r.c.Root.Can().Metered {
		return
	}
	sums, _, err := store.DigestOf(ctx, r.c.Root, key, true)
	r.downloaded(sums.Size)
	r.progress(sums.Size)
	d := verify.Damage{Path: verify.SealPath, Content: key}
	switch {
	case r.over(ctx, err):
		return
	case err != nil:
		d.Kind, d.Detail = kindOf(err), "the log of another history: "+plain(err)
	case sums.SHA256 != want:
		d.Kind, d.Detail = verify.Altered, "the log of another history does not have the SHA-256 that it is named by"
	default:
		return
	}
	r.damaged(ctx, nil, d)
}

// lateLogs are the logs of other histories that the copy keeps, of those that can be
// read: each that cannot is a finding where its file is looked at.
func (r *check) lateLogs(ctx context.Context) (logs []*seal.Seal) {
	for log, err := range store.LateLogs(ctx, r.c.Root) {
		if err == nil {
			logs = append(logs, log)
		}
	}
	return logs
}

// isLate reports whether a version has been recorded in another history, or counts no
// more: a mirror round is putting the object together, and nobody rewrote it. Only
// the goroutine that walks calls it.
func (r *check) isLate(ctx context.Context, inventory manifest.Digest) bool {
	if r.late == nil {
		r.late = map[manifest.Digest]bool{}
		for _, log := range append(r.lateLogs(ctx), r.seal) {
			for l := range log.All() {
				r.late[l.Inventory] = true
			}
		}
	}
	return r.late[inventory]
}

// historyOf says which other history bears out the seal on paper, "" for none.
func (r *check) historyOf(ctx context.Context) string {
	for _, log := range r.lateLogs(ctx) {
		if log.Bears(*r.o.Paper) != nil {
			continue
		}
		history := fmt.Sprintf("%s until %s", words.Count(int64(log.Len()), "line"), log.Printed().Day)
		if r.o.Seal != nil {
			for l := range r.o.Seal.All() {
				if l.What == seal.Late && l.Log == log.Digest() && l.Why != "" {
					history += ", " + l.Why
				}
			}
		}
		return history
	}
	return ""
}
