package rot

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strings"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
	"linecamp/verify"
)

// damaged adds a finding. A failure to read may mean that the whole copy has
// gone: then the check stops, and nothing more is called damaged.
func (r *check) damaged(ctx context.Context, o *object, d verify.Damage) {
	if d.Kind == verify.Gone || d.Kind == verify.Unreadable {
		r.suspect(ctx, d.Kind)
	}
	if ctx.Err() != nil {
		if !errors.Is(context.Cause(ctx), errInARow) {
			return
		}
		ctx = context.WithoutCancel(ctx) // the last straw is a finding too
	}
	if d.Kind != verify.Unreadable && (d.Content == inventoryFile || d.Content == sidecarFile) {
		r.unfinished(o) // it is written anew from the version's own
		return
	}
	d.Copy = r.c.Name
	if o != nil {
		o.name(ctx, r, &d)
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.report.Damage = append(r.report.Damage, d)
}

// Limits on failures before a copy counts as lost to this check.
const (
	mostInARow = 50                     // unreadable files without a readable one between
	askEvery   = 200 * time.Millisecond // how often the identity is asked for at most
)

// errInARow ends a check of a copy that still says which one it is: what was
// found until then is so.
var errInARow = fault.Say(ErrStopped, "%d files one after the other could not be read; the rest was not tried", mostInARow)

// over reports that nothing more can be read from the copy, and stops the check
// where an error says so. One file that a copy refuses or does not hand out in
// time, while the copy still says which one it is, is a fault of that file.
func (r *check) over(ctx context.Context, err error) bool {
	if err == nil || ctx.Err() != nil {
		return ctx.Err() != nil
	}
	class := fault.Of(err)
	if !class.OfCopy() || class != fault.Away && r.present(ctx) == nil {
		return false
	}
	r.stop(r.stopped(err))
	return true
}

func (r *check) stopped(err error) error {
	return fmt.Errorf("%s: %w: %w", r.c.Name, ErrStopped, err)
}

// suspect stops the check if the copy no longer says which one it is.
func (r *check) suspect(ctx context.Context, kind string) {
	if kind == verify.Unreadable && r.inARow.Add(1) >= mostInARow {
		if err := r.present(ctx); err != nil {
			r.stop(err)
			return
		}
		r.stop(fmt.Errorf("%s: %w", r.c.Name, errInARow))
		return
	}
	now := time.Now().UnixMilli()
	if last := r.asked.Load(); now-last < askEvery.Milliseconds() || !r.asked.CompareAndSwap(last, now) {
		return
	}
	if err := r.present(ctx); err != nil {
		r.stop(err)
	}
}

// present reports, as ErrStopped, that the copy is no longer the one it was.
func (r *check) present(ctx context.Context) error {
	id, err := r.c.Root.Identity(ctx)
	if err == nil && r.c.ID != "" && id.CopyID != r.c.ID {
		err = store.ErrOtherRoot
	}
	if err == nil || ctx.Err() != nil {
		return nil
	}
	return fault.Say(errors.Join(ErrStopped, err), "%s: it went away while it was read: %v", r.c.Name, err)
}

// settle finishes the report: in order, without what is not sure.
func (r *check) settle(ctx context.Context) {
	rep := &r.report
	unsure := func(d verify.Damage) bool { return d.Kind == verify.Gone || d.Kind == verify.Unreadable }
	if ctx.Err() == nil && slices.ContainsFunc(rep.Damage, unsure) {
		if err := r.present(ctx); err != nil {
			r.stop(err)
		}
	}
	if cause := context.Cause(ctx); cause != nil {
		// A drive on its way out makes files look gone and unreadable. A bucket
		// that does not answer said nothing of the kind.
		if r.c.Root.Can().Local && !errors.Is(cause, errInARow) {
			rep.Damage = slices.DeleteFunc(rep.Damage, unsure)
		}
		rep.Error = plain(cause)
	}
	r.forget(rep.Damage)
	sortDamage(rep.Damage)
	if rep.Damage == nil {
		rep.Damage = []verify.Damage{}
	}
	slices.SortFunc(rep.Behind, func(a, b verify.Behind) int { return strings.Compare(a.Object, b.Object) })
	rep.Unfinished = slices.Compact(slices.Sorted(slices.Values(rep.Unfinished)))
	looked := rep.ReadBack.Files + rep.Matched.Files + rep.Confirmed.Files
	bytes := rep.ReadBack.Bytes + rep.Matched.Bytes + rep.Confirmed.Bytes
	for _, d := range rep.Damage {
		looked += d.Files
		bytes += d.Bytes * int64(d.Files)
	}
	rep.Unread = verify.Share{Files: max(0, rep.Files-looked), Bytes: max(0, rep.Bytes-bytes)}
}

// forget makes what was remembered of damaged files void: they are no longer
// what was read back.
func (r *check) forget(damage []verify.Damage) {
	if r.o.Memory == nil {
		return
	}
	void := map[string][]verify.Held{}
	for _, d := range damage {
		if d.Object != "" && (d.Kind == verify.Altered || d.Kind == verify.Gone) {
			void[d.Object] = append(void[d.Object], verify.Held{Path: d.Content, Files: d.Files})
		}
	}
	for object, held := range void {
		// Only a cache is stale if this fails: the damage itself is reported.
		_ = r.o.Memory.Remember(r.c.Key(), object, held)
	}
}

// expected is Options.Expected, nil where nothing is known.
func (r *check) expected(object string) *manifest.Inventory {
	if r.o.Expected == nil {
		return nil
	}
	inv, err := r.o.Expected(object)
	if err != nil || inv == nil || inv.Head() == 0 {
		return nil // a cache that lost it: the copy is judged by itself
	}
	return inv
}

func kindOf(err error) string {
	if errors.Is(err, fs.ErrNotExist) {
		return verify.Gone
	}
	return verify.Unreadable
}

// plain is an error's text for a report, on one line.
func plain(err error) string {
	return strings.Join(strings.Fields(err.Error()), " ")
}
