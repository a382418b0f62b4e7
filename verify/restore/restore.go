// Package restore brings an archive's files back, every byte checked. Call [Run].
//
// # How a file comes back
//
// A file is written under a temporary name in the folder it belongs to, digested
// on the way, made durable, and only then given its name; so whatever stands
// under a name is what the manifest says, even after a power cut. Bytes that
// disagree are thrown away and the next source is tried. A name that is taken
// is never taken over: the same bytes there count as delivered, which is also
// how an interrupted restore goes on, and other bytes are a failure.
//
// # Where it goes
//
// Manifests and records come from a copy, and a copy may be damaged or forged.
// Every write goes through os.Root, so no link in the target leads out of it,
// and a path is used only if it is relative, without "." or "..", not below
// .linecamp, and one the system can have.
package restore

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"

	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/manifest/store/drive"
	"linecamp/manifest/store/fault"
	"linecamp/manifest/within"
	"linecamp/manifest/words"
	"linecamp/verify"
)

// Source is a copy to restore from.
type Source struct {
	Name string
	Root store.Root
}

// Options say what is brought back, and where to.
type Options struct {
	Archive      string        // its name, for the report; "" takes the source's
	Sites        []verify.Site // what to bring back
	Everything   bool          // all objects, instead of Sites
	Seal         *seal.Seal    // as the archive's author has it; nil: the longest a source has
	Into         string        // folder to restore into; made if it is not there
	Called       string        // what errors call that folder; "" for Into
	Year         string        // only this year's visits: "2019"
	On           string        // "2019-06-21", the end of that local day, or RFC 3339
	EveryVersion bool          // also replaced bytes, named by version
	// Newest brings each site back as it is now, rather than its full history: what left
	// the working folder stays away.
	Newest bool
	// First are objects that come before all others, of Everything. Then come the newest
	// visits of all, and then what is left.
	First []string
	// Leave is asked of each file, by its path below the working folder and its
	// kind ("" where that is lost), whether it is left out; nil leaves none.
	Leave func(path string, kind manifest.Kind) bool
	// Came is told of each file once it stands under its name, with right bytes;
	// nil is told nothing. It is called from several goroutines.
	Came     func(Came)
	Location *time.Location // of On; nil is time.Local
	Workers  int
	Progress func(done, total int64) // bytes; total is 0 until all is planned
}

// Errors callers decide on.
var (
	// ErrAsked marks options that cannot be obeyed: a date that is none, two
	// wishes that exclude each other.
	ErrAsked = errors.New("this cannot be asked for")
	// ErrInto marks a folder that nothing can be restored into.
	ErrInto = errors.New("nothing can be restored into it")
)

// Report is what was brought back.
type Report struct {
	Archive string   `json:"archive"`
	Into    string   `json:"into"`
	Files   int      `json:"files"` // delivered, or there already with the same bytes
	Bytes   int64    `json:"bytes"`
	Already int      `json:"already"` // of Files: there already
	Failed  []Failed `json:"failed"`
	// Nothing says why no file at all answers to what was asked for.
	Nothing string `json:"nothing,omitempty"`
	// Missing are versions the seal names and no source has.
	Missing []Missing `json:"missing_versions,omitempty"`
	// Trouble is what else went wrong: sources that could not be used to the
	// end, records that are lost.
	Trouble []string `json:"trouble,omitempty"`

	bare bool // everything was asked for, and nothing has been recorded yet
}

// Failed is a file that could not be delivered as it was.
type Failed struct {
	Path   string `json:"path"` // relative to the working folder
	Reason string `json:"reason"`
	// Altered: a source has other bytes than the manifest says.
	Altered bool `json:"-"`
}

// Came is a file that was delivered.
type Came struct {
	Path   string // as reports show it, relative to the working folder
	Raw    string // as it is below the folder restored into
	Digest manifest.Digest
}

// Missing is a version that exists, or existed, somewhere else.
type Missing struct {
	Object  string    `json:"object"`
	Site    string    `json:"site"`
	Version int       `json:"version"`
	Created time.Time `json:"created"`
}

// Wants reports whether something was not delivered.
func (r Report) Wants() bool {
	return len(r.Failed) > 0 || len(r.Missing) > 0 || r.Nothing != "" && !r.bare
}

// nothing is what to say where a wish was understood and nothing answers to it.
func (o *Options) nothing() string {
	switch {
	case o.On != "" && o.Year != "":
		return "no file of the visits of " + o.Year + " was recorded by " + o.On + "; the days before the first mirror have no state"
	case o.On != "":
		return "nothing was recorded by " + o.On + "; the days before the first mirror have no state. The photos of one year: --year"
	case o.Year != "":
		return "no visit of " + o.Year + " is on record; " + o.lister() + " lists the visits"
	case o.Everything:
		return "no site and no file is recorded there yet"
	}
	return "it has no file on record"
}

// lister is the command that lists the visits there are.
func (o *Options) lister() string {
	if len(o.Sites) == 1 {
		return "`" + (words.Line{}).Run("history", o.Sites[0].Asked()) + "`"
	}
	return "`linecamp tally`"
}

// Run restores from the sources, the first being the preferred one. The newest
// manifest any source has decides what there is, unless the seal tells of
// another history and a source has that one; each file comes from the first
// source that has its bytes. What could not be delivered is in the report; the
// error is for a restore that could not be done, or was stopped.
func Run(ctx context.Context, sources []Source, o Options) (Report, error) {
	rep := Report{Archive: o.Archive, Into: o.Into, Failed: []Failed{}}
	w, err := o.wish()
	if err != nil {
		return rep, err
	}
	if len(sources) == 0 {
		return rep, fault.Say(store.ErrNotHere, "there is no copy in reach to restore from")
	}
	if rep.Archive == "" {
		id, err := sources[0].Root.Identity(ctx)
		if err != nil && !errors.Is(err, store.ErrNoRoot) {
			return rep, err // a root that lost its identity still holds the photos
		}
		rep.Archive = id.Archive
	}
	t, err := openTarget(o.Into, cmp.Or(o.Called, o.Into))
	if err != nil {
		return rep, err
	}
	defer t.close()

	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	d := &delivery{target: t, sources: newSources(sources), progress: o.Progress, came: o.Came, stop: cancel, report: &rep, mustSync: !drive.SyncfsLasts(t.dir)}
	p := &planner{delivery: d, wish: w}
	workers := o.Workers
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0) + 1
	}
	// Each part has its names before the next begins, so that a restore that is stopped
	// has brought whole visits.
	var parts []part
	if parts, err = p.begin(ctx, o); err == nil {
		for _, part := range parts {
			if err = d.run(ctx, workers, part.last, func(ctx context.Context, post func(item) bool) error { return p.run(ctx, part, post) }); err != nil {
				break
			}
		}
	}
	if cause := context.Cause(ctx); cause != nil {
		err = cause
	}
	slices.SortFunc(rep.Failed, func(a, b Failed) int { return strings.Compare(a.Path, b.Path) })
	rep.Trouble = append(rep.Trouble, d.sources.trouble()...)
	if err == nil && rep.Files+len(rep.Failed)+len(rep.Missing) == 0 {
		rep.Nothing = o.nothing()
		rep.bare = o.Everything && o.Year == "" && o.On == "" && len(rep.Trouble) == 0
	}
	return rep, err
}

// run writes what plan posts. Where another run follows, the names are made durable by
// the last one.
func (d *delivery) run(ctx context.Context, workers int, last bool, plan func(context.Context, func(item) bool) error) error {
	jobs := make(chan item, 4*workers)
	written := make(chan written, 256)
	named := make(chan error, 1)
	go func() { named <- d.nameAll(ctx, last, written) }()

	g, gctx := errgroup.WithContext(ctx)
	for range workers {
		g.Go(func() error {
			for it := range jobs {
				if gctx.Err() == nil {
					d.deliver(gctx, it, written)
				}
			}
			return nil
		})
	}
	g.Go(func() error {
		defer close(jobs)
		err := plan(gctx, func(it item) bool {
			d.total.Add(it.size)
			select {
			case jobs <- it:
				return true
			case <-gctx.Done():
				return false
			}
		})
		d.planned.Store(err == nil)
		return err
	})
	err := g.Wait()
	close(written)
	return errors.Join(err, <-named)
}

// wish is what Options ask for, understood.
type wish struct {
	year  string
	on    time.Time // zero: the full history
	every bool
	head  bool // the newest state alone
	leave func(path string, kind manifest.Kind) bool
}

// state reports whether one state of each site is wanted, rather than its history.
func (w wish) state() bool { return w.head || !w.on.IsZero() }

func (o *Options) wish() (wish, error) {
	w := wish{year: o.Year, every: o.EveryVersion, head: o.Newest, leave: o.Leave}
	if o.Year != "" {
		if _, err := time.Parse("2006", o.Year); err != nil {
			return w, fault.Say(ErrAsked, "the year %q is not a year such as 2019", o.Year)
		}
	}
	if o.On != "" {
		t, err := ParseDay(o.On, o.Location)
		if err != nil {
			return w, err
		}
		w.on = t
		if w.every {
			return w, fault.Say(ErrAsked, "one day's state has one version of each file; leave out either the day or every version")
		}
	}
	if o.Newest && (o.On != "" || o.EveryVersion) {
		return w, fault.Say(ErrAsked, "the newest state is one state; leave out the day and every version")
	}
	if o.Into == "" {
		return w, fault.Say(ErrAsked, "no folder to restore into was given")
	}
	if o.Everything == (len(o.Sites) > 0) {
		return w, fault.Say(ErrAsked, "either sites or everything is restored")
	}
	return w, nil
}

// ParseDay reads a day, which means its end in loc (nil: local time), or a full
// RFC 3339 time. Other text is ErrAsked.
func ParseDay(s string, loc *time.Location) (time.Time, error) {
	if loc == nil {
		loc = time.Local
	}
	if t, err := time.Parse(time.RFC3339Nano, s); err == nil {
		return t, nil
	}
	d, err := time.ParseInLocation(time.DateOnly, s, loc)
	if err != nil {
		return time.Time{}, fault.Say(ErrAsked, "%q is neither a day such as 2019-06-21 nor a full time such as 2019-06-21T18:00:00-06:00", s)
	}
	return time.Date(d.Year(), d.Month(), d.Day()+1, 0, 0, 0, 0, loc).Add(-time.Nanosecond), nil
}

// target is the folder restored into, held open from the start.
type target struct {
	name string // as errors have it
	root *os.Root
	dir  *os.File

	grown []string // the folders that a folder was made in, up to this one
}

func openTarget(into, called string) (*target, error) {
	if at, ok := insideCopy(into); ok {
		return nil, fault.Say(ErrInto, "%s lies in the copy at %s, where only linecamp's own files belong. Choose another folder", verify.Shown(called), verify.Shown(at))
	}
	var grown []string
	for at := into; ; at = filepath.Dir(at) {
		if _, err := os.Stat(at); err == nil || at == filepath.Dir(at) {
			break
		}
		grown = append(grown, filepath.Dir(at))
	}
	if err := os.MkdirAll(into, 0o777); err != nil {
		return nil, fault.Say(errors.Join(ErrInto, err), "the folder %s cannot be made: %v", verify.Shown(called), err)
	}
	root, err := os.OpenRoot(into)
	if err != nil {
		return nil, fault.Say(errors.Join(ErrInto, err), "the folder %s cannot be opened: %v", verify.Shown(called), err)
	}
	dir, err := root.Open(".")
	if err == nil {
		err = lockFolder(dir)
	}
	if err != nil {
		if dir != nil {
			dir.Close()
		}
		root.Close()
		return nil, fmt.Errorf("the folder %s: %w: %w", verify.Shown(called), ErrInto, err)
	}
	return &target{called, root, dir, grown}, nil
}

func (t *target) close() { t.dir.Close(); t.root.Close() }

// insideCopy reports whether a folder is, or lies in, a storage root (OCFL 1.1
// section 4.1).
func insideCopy(folder string) (root string, inside bool) {
	// Links lead on in the part that exists, whatever is yet to be made below it.
	at := within.Resolve(folder)
	for {
		if st, err := os.Lstat(filepath.Join(at, store.RootNamaste)); err == nil && st.Mode().IsRegular() {
			return at, true
		}
		up := filepath.Dir(at)
		if up == at {
			return "", false
		}
		at = up
	}
}

// objects are what is asked for, by folder name, in order.
func (p *planner) objects(ctx context.Context, o Options) ([]string, error) {
	if !o.Everything {
		var list []string
		for _, s := range o.Sites {
			list = append(list, s.Object)
		}
		return list, nil
	}
	all := map[string]bool{}
	read := 0
	for _, s := range p.sources.all {
		names, err := store.Objects(ctx, s.Root)
		if ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		if err != nil {
			s.fault(err)
			continue
		}
		read++
		for _, n := range names {
			all[n] = true
		}
	}
	if read == 0 {
		return nil, fault.Say(fs.ErrNotExist, "none of the copies could be listed (%s)", strings.Join(p.sources.trouble(), "; "))
	}
	return slices.Sorted(maps.Keys(all)), nil
}
