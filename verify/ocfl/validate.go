package ocfl

import "linecamp/verify/ocfl/inventory"

import (
	"context"
	"fmt"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
)

// Options for Validate; the zero value checks everything.
type Options struct {
	// NoContent leaves out reading the content: everything but E092 and E093
	// for bytes that differ is still found.
	NoContent bool
	// Workers read content at the same time; 0 is one for each processor.
	Workers int
	// Progress is told the bytes of content done and in all. It may be nil and
	// is called from several goroutines.
	Progress func(done, total int64)
}

// Validate checks the object or the storage root in f. What is wrong there is
// in the report; the error says only that the check could not be done, because
// the folder itself could not be listed or the context ended.
func Validate(ctx context.Context, f Files, o Options) (Report, error) {
	v := &validator{files: f, opts: o, links: map[string]string{}, through: map[string]int64{}}
	if v.opts.Workers <= 0 {
		v.opts.Workers = runtime.GOMAXPROCS(0)
	}
	entries, err := f.List(ctx, "")
	if err != nil {
		return Report{}, fmt.Errorf("%s cannot be listed: %w", f.Name(), err)
	}
	entries = sorted(entries)
	r := Report{Root: f.Name(), Objects: []Object{}, Errors: []Finding{}, Warnings: []Finding{}}
	if looksLikeObject(entries) {
		var ob *object
		if err := v.measure(ctx, []string{""}); err != nil {
			return Report{}, err
		}
		ob, err = v.object(ctx, "", nil)
		if err != nil {
			return Report{}, err
		}
		r.Objects = append(r.Objects, ob.report())
	} else if err := v.storageRoot(ctx, entries, &r); err != nil {
		return Report{}, err
	}
	r.Valid = len(r.Errors) == 0 && !slices.ContainsFunc(r.Objects, func(o Object) bool { return !o.Valid })
	return r, nil
}

// looksLikeObject tells an object from a storage root. A declaration decides;
// without one, an inventory or folders of versions make it an object. A root may
// hold any file, so its own declaration is only passed over for both of them.
func looksLikeObject(entries []Entry) bool {
	root, marked, versions := false, false, false
	for _, e := range entries {
		if marksObject(e) && !strings.EqualFold(e.Name, inventoryName) {
			return true
		}
		n, _ := inventory.ParseVersionName(e.Name)
		versions = versions || e.Kind == Folder && n > 0
		marked = marked || marksObject(e)
		root = root || e.Kind == File && rootDeclaration.versionOf(e.Name) != ""
	}
	return marked && versions || !root && (marked || versions)
}

// marksObject reports whether a name belongs into an object and nowhere else in
// a hierarchy.
func marksObject(e Entry) bool {
	return strings.Contains(e.Name, "=ocfl_object") || e.Kind == File && strings.EqualFold(e.Name, inventoryName)
}

// validator is one run.
type validator struct {
	files Files
	opts  Options

	mu    sync.Mutex
	links map[string]string // files with several names: the first of them seen

	total   int64
	through map[string]int64 // bytes up to the end of each object
	done    atomic.Int64
}

// list lists a folder below base. A folder that cannot be listed is a finding,
// and ok is false; the error is only the context's.
func (v *validator) list(ctx context.Context, base, folder string, note noteFunc) (entries []Entry, ok bool, err error) {
	entries, err = v.files.List(ctx, full(base, folder))
	if ctx.Err() != nil {
		return nil, false, ctx.Err()
	}
	if err != nil {
		note(Unreadable, folder, "the folder cannot be listed: %v", err)
		return nil, false, nil
	}
	return sorted(entries), true, nil
}

func sorted(entries []Entry) []Entry {
	return slices.SortedFunc(slices.Values(entries), func(a, b Entry) int { return strings.Compare(a.Name, b.Name) })
}

// full is the name of something in base, relative to what is being checked.
func full(base, name string) string {
	switch {
	case base == "":
		return name
	case name == "":
		return base
	}
	return base + "/" + name
}

// odd notes what a file system can hold and the standard cannot (section 4.6):
// links of both kinds, and what is neither file nor folder. It reports whether
// the entry is to be passed over for it.
func (v *validator) odd(base string, e Entry, path string, note noteFunc) bool {
	switch e.Kind {
	case Link:
		note("E090", path, "a symbolic link; links are not followed")
		return true
	case Special:
		note("E089", path, "neither a file nor a folder")
		return true
	}
	if e.Same != "" {
		v.mu.Lock()
		first, seen := v.links[e.Same]
		if !seen {
			v.links[e.Same] = full(base, path)
		}
		v.mu.Unlock()
		if seen && first != full(base, path) {
			note("E090", path, "a hard link: another name of %s", first)
		}
	}
	return false
}

// measure adds up what lies in these objects, for Progress.
func (v *validator) measure(ctx context.Context, objects []string) error {
	if v.opts.Progress == nil || v.opts.NoContent {
		return nil
	}
	var walk func(folder string) error
	walk = func(folder string) error {
		entries, err := v.files.List(ctx, folder)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil {
			return nil // found again and reported
		}
		for _, e := range entries {
			switch e.Kind {
			case File:
				v.total += e.Size
			case Folder:
				if err := walk(join(folder, e.Name)); err != nil {
					return err
				}
			}
		}
		return nil
	}
	for _, o := range objects {
		if err := walk(o); err != nil {
			return err
		}
		v.through[o] = v.total
	}
	return nil
}

// progress counts bytes that are done with.
func (v *validator) progress(n int64) {
	if v.opts.Progress != nil && !v.opts.NoContent {
		v.opts.Progress(min(v.done.Add(n), v.total), v.total)
	}
}

// finished counts what of an object needed no reading.
func (v *validator) finished(object string) {
	v.progress(v.through[object] - v.done.Load())
}
