// Package rot re-reads what copies and the working folder hold, and says what is
// damaged. Call [Check] for one copy, and [Working] for the working folder.
//
// # Copies
//
// [Check] judges a copy by the copy's own manifests, and judges those manifests by
// everyone else's. For each site it takes the newest inventory that this copy
// committed. It checks that inventory and all earlier ones against their sidecars,
// against the seal, and against the newest inventory known anywhere. Then it looks
// for every file that the inventory names:
//
//   - gone: the manifest names the file, and the copy does not have it. A version
//     that was committed without bytes nobody had shows up here too.
//   - altered: the file is there, with other bytes.
//   - unreadable: the drive or the service failed to hand the file out.
//   - stray: a file on the copy that no manifest names. Strays are reported and
//     never touched.
//
// A copy that lacks whole versions which it never had is behind, and a copy whose
// root pair lags after a crash is unfinished; neither is damage. Content under a
// version that is not committed yet is being built and is no stray.
//
// Only bytes that came from the copy and matched their SHA-256 count as read back.
// What a quick check compares (sizes, XXH64, ETags) is counted as matched, and what
// an S3 service says it checked on upload as confirmed.
//
// # The working folder
//
// The working folder belongs to people, so a difference there is a change until it
// cannot be one: [Working] calls a file altered only if its size and modification
// time are those of the record and its bytes are not.
package rot

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"golang.org/x/sync/errgroup"

	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/verify"
)

// Options say how a check is done.
type Options struct {
	Quick     bool
	Memory    verify.Memory // nil: nothing is remembered
	Allowance int64         // bytes that may be downloaded from S3 now; below 0 is no limit
	// Expected returns the newest inventory of an object committed anywhere;
	// the error wraps fs.ErrNotExist if there is none. May be nil.
	Expected        func(object string) (*manifest.Inventory, error)
	ExpectedObjects []string   // objects every copy should have
	Seal            *seal.Seal // the archive's seal, as the author has it; may be nil
	// Had is the newest version of each object that this copy is known to have
	// held, HadLines how long its seal was, and HadLogs those of other histories that it
	// kept. What lacks of that is gone, which is damage; what lacks beyond it never
	// came, and the copy is behind.
	Had      map[string]int
	HadLines int
	HadLogs  map[manifest.Digest]bool
	// Seconded reports whether a copy other than the one with this id holds the
	// beginning of that seal too, up to so many lines. It is asked only about a
	// copy whose own seal differs. May be nil: none does.
	Seconded func(ctx context.Context, copyID string, lines int) bool
	Paper    *seal.Printed // a seal somebody has on paper, which the copy's log must bear out; may be nil
	Now      func() time.Time
	Workers  int                     // files read at once; 0 chooses
	Progress func(done, total int64) // bytes
	// Yield is called again and again, between objects and between files. It
	// may hand the copy to a round that writes to it and come back when that is
	// done; changed says that it did. Files already in hand are read meanwhile:
	// what is committed never changes. May be nil.
	Yield func(context.Context) (changed bool, err error)
}

func (o *Options) fill() {
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Workers <= 0 {
		// Some wait for the drive while others digest.
		o.Workers = runtime.GOMAXPROCS(0) + 2
	}
}

// ErrStopped marks a check that could not go on because the copy no longer
// answers: a drive pulled out, a bucket out of reach. What was found before is
// in the report; what was not looked at is not called damaged.
var ErrStopped = errors.New("it could not be read any more")

// ErrMemory marks a check that ended because nothing could be remembered: the
// trouble is this machine's, and the copy's part in it none.
var ErrMemory = errors.New("the memory of checks cannot be written")

// Check re-reads one copy against its manifests. A fault in the copy is damage in
// the report; the error is for a copy that cannot be checked at all, or not to
// the end (ErrStopped), for ErrMemory, and for a context that ended. The report
// holds what was found until then, and says in its Error why it is not more.
func Check(ctx context.Context, c verify.Copy, o Options) (verify.CopyReport, error) {
	if o.Workers <= 0 && c.Root.Can().Local {
		o.Workers = runtime.GOMAXPROCS(0) // a drive reads each file ahead by itself, and seeks less
	}
	o.fill()
	r := &check{c: c, o: o, now: o.Now().UTC()}
	r.report = verify.CopyReport{Copy: c.Name, Depth: verify.Full, Heads: map[string]int{}}
	r.live = map[*object]bool{}
	if o.Quick {
		r.report.Depth = verify.Quick
	}
	if _, err := c.Root.Identity(ctx); err != nil {
		r.report.Error, r.report.Damage = plain(err), []verify.Damage{}
		return r.report, err
	}
	ctx, r.stop = context.WithCancelCause(ctx)
	defer r.stop(nil)
	if err := r.run(ctx); err != nil {
		r.stop(err)
	}
	r.settle(ctx)
	if context.Cause(ctx) == nil {
		if err := r.holdAgainstStandard(ctx); err != nil {
			r.stop(r.stopped(err))
			r.report.Error = plain(context.Cause(ctx))
		}
	}
	return r.report, context.Cause(ctx)
}

// check is one check of one copy.
type check struct {
	c    verify.Copy
	o    Options
	now  time.Time
	stop context.CancelCauseFunc

	seal   *seal.Seal
	parted *seal.Seal // the copy's own, where it tells another history
	unread bool       // that does not read
	sealed verify.Sealed
	heads  map[string]int   // by object folder, from the seals
	late   map[version]bool // those of other histories; nil before it was asked

	mu       sync.Mutex
	report   verify.CopyReport
	live     map[*object]bool // objects with jobs not done
	reserved int64            // S3, quick: bytes of the allowance in use

	done, total atomic.Int64
	inARow      atomic.Int32 // failures to read, without a success between
	asked       atomic.Int64 // when the identity was last asked for, Unix milliseconds
	jobs        chan job
	chosen      *choice // S3 within an allowance; else nil
	stale       bool    // written to since the listing began
}

func (r *check) run(ctx context.Context) error {
	if err := r.checkSeal(ctx); err != nil {
		return err
	}
	r.checkRoot(ctx)
	r.jobs = make(chan job, 4*r.o.Workers)
	if r.c.Root.Can().Metered && !r.o.Quick && r.o.Allowance >= 0 {
		r.chosen = &choice{left: r.o.Allowance}
	}
	r.countTotal()
	g, ctx := errgroup.WithContext(ctx)
	for range r.o.Workers {
		g.Go(func() error {
			for j := range r.jobs {
				if ctx.Err() == nil {
					r.do(ctx, j)
				}
				j.object.finish(r)
			}
			return nil
		})
	}
	g.Go(func() error {
		defer close(r.jobs)
		return r.walk(ctx)
	})
	err := g.Wait()
	for o := range r.live {
		r.write(o, o.found) // a check that was stopped has not read in vain
	}
	return err
}

// countTotal finds out how much there is to read, for progress only.
func (r *check) countTotal() {
	if r.o.Progress == nil || r.o.Memory == nil {
		return
	}
	for _, object := range r.o.ExpectedObjects {
		held, err := r.o.Memory.Held(r.c.Key(), object)
		if err != nil {
			return
		}
		for _, h := range held {
			r.total.Add(h.Size)
		}
	}
}

func (r *check) progress(n int64) {
	if r.o.Progress != nil && n > 0 {
		r.o.Progress(r.done.Add(n), r.total.Load())
	}
}

// walk goes through all keys of the copy, object by object. A listing that
// breaks off in one folder is taken up object by object, so that one folder
// that cannot be listed hides nothing but itself.
func (r *check) walk(ctx context.Context) error {
	seen := map[string]bool{}
	top, files, crowded := "", map[string]store.Info{}, false
	flush := func() {
		if crowded {
			r.unlistable(ctx, top, errCrowded)
		}
		if top != "" {
			seen[top] = true
			r.group(ctx, top, files, !crowded)
		}
		files, crowded = map[string]store.Info{}, false
	}
	var broke error
	for info, err := range r.c.Root.List(ctx, "") {
		if err != nil {
			broke = err
			break
		}
		first, rest, folder := strings.Cut(info.Key, "/")
		if !folder {
			r.rootFile(first, info)
			continue
		}
		if first != top {
			flush()
			top = first
		}
		if passedFolder(top) {
			r.pass(1)
			continue
		}
		if crowded = len(files) >= mostInFolder; !crowded {
			files[rest] = info
		}
	}
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	if broke == nil {
		flush()
	} else {
		if !r.c.Root.Can().Local {
			return r.stopped(fmt.Errorf("listing it: %w", broke))
		}
		if err := r.oneByOne(ctx, seen); err != nil {
			return err
		}
	}
	for _, object := range r.wanted() {
		if !seen[object] {
			r.group(ctx, object, nil, true)
		}
	}
	if r.chosen != nil {
		r.chosen.send(ctx, r)
	}
	return context.Cause(ctx)
}

// oneByOne lists what the broken listing of the whole did not get to.
func (r *check) oneByOne(ctx context.Context, seen map[string]bool) error {
	folders, err := r.c.Root.Folders(ctx, "")
	if err != nil {
		return r.stopped(fmt.Errorf("listing it: %w", err))
	}
	for _, top := range folders {
		if seen[top] || passedFolder(top) {
			continue
		}
		seen[top] = true
		files, err := r.list(ctx, top)
		if err != nil {
			if r.over(ctx, err) {
				return context.Cause(ctx)
			}
			r.unlistable(ctx, top, err)
		}
		r.group(ctx, top, files, err == nil)
	}
	return nil
}

// wanted are the objects this copy should have.
func (r *check) wanted() []string {
	all := map[string]bool{}
	for _, o := range r.o.ExpectedObjects {
		all[o] = true
	}
	for o := range r.heads {
		all[o] = true
	}
	for o := range r.o.Had {
		all[o] = true
	}
	return slices.Sorted(maps.Keys(all))
}

// group checks one top-level folder.
func (r *check) group(ctx context.Context, top string, files map[string]store.Info, listed bool) {
	if ctx.Err() != nil {
		return
	}
	if top == "extensions" {
		if r.extensions(ctx, files); listed {
			r.goneLogs(ctx, files)
		}
		return
	}
	if passedFolder(top) { // counted as it was listed
		return
	}
	if !r.yield(ctx) {
		return
	}
	if r.stale {
		var err error
		if files, err = r.list(ctx, top); err != nil {
			if r.over(ctx, err) {
				return
			}
			r.unlistable(ctx, top, err)
			listed = false
		}
	}
	r.object(ctx, top, files, listed)
}

// yield lets a round that writes go first, and reports whether to go on. Only
// the goroutine that walks calls it.
func (r *check) yield(ctx context.Context) bool {
	if r.o.Yield == nil {
		return true
	}
	changed, err := r.o.Yield(ctx)
	if err != nil {
		r.stop(err)
		return false
	}
	// A listing is read ahead: from here on, none of it is up to date.
	r.stale = r.stale || changed
	return true
}

// list lists one folder of the root.
func (r *check) list(ctx context.Context, top string) (map[string]store.Info, error) {
	files := map[string]store.Info{}
	for info, err := range r.c.Root.List(ctx, top) {
		if err != nil {
			return files, err
		}
		if len(files) >= mostInFolder {
			return files, errCrowded
		}
		files[strings.TrimPrefix(info.Key, top+"/")] = info
	}
	return files, nil
}

// mostInFolder is how many keys of one folder of a copy are held in memory; a
// site has nowhere near as many.
const mostInFolder = 2_000_000

var errCrowded = fmt.Errorf("it holds more than %d files, and the rest was not looked at", mostInFolder)

func (r *check) unlistable(ctx context.Context, top string, err error) {
	r.damaged(ctx, nil, verify.Damage{Path: verify.RootPath, Content: top, Kind: verify.Unreadable, Detail: "its folder could not be listed: " + plain(err)})
}
