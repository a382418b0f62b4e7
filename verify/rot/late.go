package rot

import (
	"context"
	"fmt"
	"strings"

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

// goneLogs looks for logs of other histories that the copy kept, of those that the seal
// names; files is all that is in the folder extensions.
func (r *check) goneLogs(ctx context.Context, files map[string]store.Info) {
	if r.seal == nil || len(r.o.HadLogs) == 0 {
		return
	}
	for l := range r.seal.All() {
		if l.What != seal.Late || !r.o.HadLogs[l.Log] {
			continue
		}
		key := store.LateKey(l.Log)
		if _, there := files[strings.TrimPrefix(key, "extensions/")]; !there {
			r.damaged(ctx, nil, verify.Damage{Path: verify.SealPath, Content: key, Kind: verify.Gone,
				Detail: fmt.Sprintf("the log of another history (%s, %s) was there, and is not there any more", words.Count(int64(l.Lines), "line"), l.Why)})
		}
	}
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

// version names what a line of a seal says of one version.
type version struct {
	object    string
	n         int
	inventory manifest.Digest
}

// isLate reports whether a version has been recorded in another history, or counts no
// more: a mirror round is putting the object together, and nobody rewrote it. A log of
// another history counts if the seal says that it was met: anybody who can write to a
// copy can put one there. So does the copy's own seal that parted, or does not read, since
// it is told as such. Of what does not read, each SHA-256 counts that the seal does not
// have. Only the goroutine that walks calls it.
func (r *check) isLate(ctx context.Context, v version) bool {
	if r.late == nil && r.seal != nil {
		r.late = map[version]bool{}
		met := r.addLate(r.seal)
		if r.parted != nil {
			r.addLate(r.parted)
		}
		if r.unread {
			text, _ := store.SealText(ctx, r.c.Root) // its damage is told
			r.addText(text)
		}
		if len(met) > 0 {
			for text, err := range store.LateFiles(ctx, r.c.Root) {
				if err != nil || !met[manifest.Sum(text)] {
					continue
				}
				if log, err := seal.Decode([][]byte{text}); err == nil {
					r.addLate(log)
				} else {
					r.addText(text)
				}
			}
		}
	}
	return r.late[v] || r.late[version{inventory: v.inventory}]
}

// addText adds what a text names that is no seal as a whole.
func (r *check) addText(text []byte) {
	known := seal.Digests(r.seal.Text(0, r.seal.Len()))
	for d := range seal.Digests(text) {
		if !known[d] {
			r.late[version{inventory: d}] = true
		}
	}
}

// addLate adds the versions that a log names and the seal does not count, and returns
// the logs that it says were met.
func (r *check) addLate(log *seal.Seal) map[manifest.Digest]bool {
	met := map[manifest.Digest]bool{}
	for l := range log.All() {
		if l.What == seal.Late {
			met[l.Log] = true
		}
		if r.sealed[l.Object][l.Version] != l.Inventory {
			r.late[version{l.Object, l.Version, l.Inventory}] = true
		}
	}
	return met
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
