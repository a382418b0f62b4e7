package rot

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strings"

	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/manifest/words"
	"linecamp/verify"
)

// checkSeal reads the copy's seal and holds it against the archive's. What it
// names is what the inventories are held against; a copy whose own seal cannot
// be used is judged by the archive's.
func (r *check) checkSeal(ctx context.Context) error {
	read, err := store.ReadSeal(ctx, r.c.Root)
	s := read
	stand := seal.Begins
	if err == nil && r.o.Seal != nil {
		stand = s.Against(r.o.Seal)
	}
	switch {
	case r.over(ctx, err):
		return context.Cause(ctx)
	case errors.Is(err, store.ErrBusy): // another machine is writing it, which is no damage
		return r.stopped(err)
	case errors.Is(err, seal.ErrInvalid):
		r.unread = true
		detail := plain(err)
		if _, why, found := strings.Cut(detail, seal.ErrInvalid.Error()+": "); found {
			detail = why
		}
		r.damaged(ctx, nil, r.sealDamage(ctx, verify.Altered, detail))
	case err != nil:
		r.damaged(ctx, nil, r.sealDamage(ctx, kindOf(err), plain(err)))
	case stand == seal.Rotten || stand == seal.Parted:
		d := r.sealDamage(ctx, verify.Altered, "")
		switch {
		case stand == seal.Rotten && r.o.Seconded != nil && r.o.Seconded(ctx, r.c.ID, s.Len()):
			d.Detail = "a few of its bytes differ from the seal that this computer and another copy hold"
		case stand == seal.Parted:
			d.Detail, r.parted = fmt.Sprintf(verify.OtherHistory+": its %d lines go on otherwise than the archive's seal", s.Len()), s
		case s.Len() <= r.o.Seal.Len():
			d.Detail = fmt.Sprintf(verify.Rewritten+": its %d lines are not the beginning of the archive's seal", s.Len())
		default:
			d.Detail = fmt.Sprintf(verify.Rewritten+": its %d lines do not begin with the archive's seal", s.Len())
		}
		r.damaged(ctx, nil, d)
		s = nil
	case s.Len() < r.o.HadLines:
		d := r.sealDamage(ctx, verify.Altered, fmt.Sprintf("it has %s, and had %d before: the copy, or this part of it, was put back to an earlier state", words.Count(int64(s.Len()), "line"), r.o.HadLines))
		d.Kind = verify.Altered // the seal itself, also where a whole file of it went
		if s.Len() == 0 {
			d.Kind = verify.Gone
		}
		r.damaged(ctx, nil, d)
	}
	if err != nil {
		s = nil
	}
	r.holdAgainstPaper(ctx, read, err)
	r.seal = r.o.Seal
	if r.seal == nil || (s != nil && s.Len() > r.seal.Len()) {
		r.seal = s
	}
	if r.seal == nil {
		return nil
	}
	r.sealed = verify.SealedBy(r.seal)
	r.heads = map[string]int{}
	for id, n := range r.seal.Heads() {
		if _, slug, err := manifest.ParseObjectID(id); err == nil {
			r.heads[slug] = n
		}
	}
	return nil
}

// Seconded reports whether one of the copies, but for the one with this id, holds
// the first lines of a seal too.
func Seconded(ctx context.Context, copies []verify.Copy, but string, log *seal.Seal, lines int) bool {
	return slices.ContainsFunc(copies, func(c verify.Copy) bool {
		if c.ID == but {
			return false
		}
		s, err := store.ReadSeal(ctx, c.Root)
		return err == nil && s.Len() >= lines && s.DigestOf(lines) == log.DigestOf(lines)
	})
}

// holdAgainstPaper compares the copy's own log with the seal somebody was given
// on paper, which the log must still begin with, whatever else agrees today; or a log
// of another history that the copy keeps.
func (r *check) holdAgainstPaper(ctx context.Context, log *seal.Seal, err error) {
	if r.o.Paper == nil {
		return
	}
	if err == nil {
		err = log.Bears(*r.o.Paper)
	}
	if err != nil {
		if r.report.SealHistory = r.historyOf(ctx); r.report.SealHistory == "" {
			r.report.SealFault = plain(err)
			return
		}
	}
	r.report.SealHolds = true
}

// sealDamage finds the first file of the seal that differs, where the archive's own
// seal tells; else the first.
func (r *check) sealDamage(ctx context.Context, kind, detail string) verify.Damage {
	d := verify.Damage{Path: verify.SealPath, Kind: kind, Detail: detail, Content: seal.File(0)}
	if r.o.Seal == nil {
		return d
	}
	for i, from := 0, 0; ; i++ {
		b, _, err := store.ReadSmall(ctx, r.c.Root, seal.File(i), int64(len(r.o.Seal.Text(from, from+seal.MostLines)))+1)
		to := from + bytes.Count(b, []byte("\n"))
		switch gone := errors.Is(err, fs.ErrNotExist); {
		case err == nil && bytes.Equal(r.o.Seal.Text(from, to), b):
			from = to
			continue
		case gone && from == r.o.Seal.Len():
			return d
		case gone:
			d.Kind = verify.Gone
		}
		d.Content = seal.File(i)
		return d
	}
}
