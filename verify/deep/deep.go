// Package deep decodes the photos of the working folder to the end. Call [Check]; it
// decodes only what no earlier check decoded, and marks in the input what is at fault.
package deep

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"iter"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"sync"
	"syscall"

	"golang.org/x/sync/errgroup"

	"linecamp/manifest"
	"linecamp/verify"
	"linecamp/verify/decode"
	"linecamp/verify/gather"
)

// Decodes remembers what decoding told, by digest: the same bytes decode or not
// for ever. Methods are called from several goroutines at once.
type Decodes interface {
	// Decoded is all that is remembered.
	Decoded() (map[manifest.Digest]decode.Verdict, error)
	SetDecoded(manifest.Digest, decode.Verdict) error
}

// Check decodes the photos of the working folder, those that no earlier check
// did, and gives the input what it found. It ends within a second of ctx.
func Check(ctx context.Context, in *gather.Input, folder string, d Decodes, progress func(done, total int64)) (*verify.DeepReport, error) {
	known, err := d.Decoded()
	if err != nil {
		return nil, err
	}
	root, err := os.OpenRoot(folder)
	if err != nil {
		return nil, fmt.Errorf("your folder %s cannot be opened: %w", folder, err)
	}
	x := &decoding{root: root, decodes: d, progress: progress, report: &verify.DeepReport{Skipped: []verify.NotDecoded{}}, verdicts: known}
	todo := x.choose(in)
	ended := make(chan error, 1)
	go func() { // a decoder that is in the middle of a large picture is not waited for
		ended <- x.all(ctx, todo)
		root.Close()
	}()
	select {
	case err = <-ended:
	case <-ctx.Done():
		err = ctx.Err()
		x.mu.Lock()
		x.over = true
		x.mu.Unlock()
	}
	if err != nil {
		return nil, err
	}
	slices.SortFunc(x.report.Skipped, func(a, b verify.NotDecoded) int { return cmp.Compare(a.Path, b.Path) })
	Mark(in, x.verdicts)
	x.report.Faults = x.faults(in)
	return x.report, nil
}

// Mark gives the input those of the verdicts that are faults.
func Mark(in *gather.Input, verdicts map[manifest.Digest]decode.Verdict) {
	in.Undecodable = map[manifest.Digest]string{}
	for sum, v := range verdicts {
		if v.State == decode.Bad {
			in.Undecodable[sum] = v.Why
		}
	}
}

// photos yields every photo of the working folder.
func photos(in *gather.Input) iter.Seq[gather.Item] {
	return func(yield func(gather.Item) bool) {
		for _, list := range append([]gather.SiteItems{in.Unfiled}, in.Sites...) {
			for _, it := range list.List() {
				if it.File != nil && it.Kind == manifest.KindPhoto && !yield(it) {
					return
				}
			}
		}
	}
}

type decoding struct {
	root     *os.Root
	decodes  Decodes
	progress func(done, total int64)

	mu          sync.Mutex
	over        bool // nobody waits for more
	report      *verify.DeepReport
	verdicts    map[manifest.Digest]decode.Verdict
	done, total int64
}

// choose lists the photos to decode, each content once.
func (x *decoding) choose(in *gather.Input) (todo []gather.Item) {
	seen := map[manifest.Digest]bool{}
	for it := range photos(in) {
		sum := it.File.SHA256
		if seen[sum] {
			continue
		}
		seen[sum] = true
		x.report.Photos++
		v, ok := x.verdicts[sum]
		switch {
		case it.File.Fault != "": // its structure tells already
		case !ok:
			todo = append(todo, it)
			x.total += it.File.Size
		default:
			x.count(it.Path, v, true)
		}
	}
	return todo
}

func (x *decoding) count(path string, v decode.Verdict, before bool) {
	switch {
	case v.State == decode.Other:
		x.report.Structure++
	case v.State == decode.Unasked:
		x.report.Skipped = append(x.report.Skipped, verify.NotDecoded{Path: path, Reason: v.Why})
	case before:
		x.report.Known++
	default:
		x.report.Decoded++
	}
}

func (x *decoding) faults(in *gather.Input) (n int) {
	seen := map[manifest.Digest]bool{}
	for it := range photos(in) {
		sum := it.File.SHA256
		if _, bad := in.Undecodable[sum]; bad && !seen[sum] {
			seen[sum] = true
			n++
		}
	}
	return n
}

// all decodes on every core.
func (x *decoding) all(ctx context.Context, todo []gather.Item) error {
	g, inner := errgroup.WithContext(ctx)
	g.SetLimit(runtime.GOMAXPROCS(0))
	for _, it := range todo {
		if inner.Err() != nil {
			break
		}
		g.Go(func() error { return x.one(inner, it) })
	}
	return cmp.Or(g.Wait(), ctx.Err())
}

func (x *decoding) one(ctx context.Context, it gather.Item) error {
	v, err := x.verdict(ctx, it)
	x.mu.Lock()
	defer x.mu.Unlock()
	if x.over || ctx.Err() != nil {
		return ctx.Err()
	}
	switch {
	case err == nil:
		if err := x.decodes.SetDecoded(it.File.SHA256, v); err != nil {
			return err
		}
	case errors.Is(err, decode.ErrSlow):
		v = decode.Verdict{State: decode.Unasked, Why: err.Error() + "; the next check tries again"}
	default:
		v = decode.Verdict{State: decode.Unasked, Why: "it could not be read: " + plainError(err)}
	}
	x.verdicts[it.File.SHA256] = v
	x.count(it.Path, v, false)
	x.done += it.File.Size
	if x.progress != nil {
		x.progress(x.done, x.total)
	}
	return nil
}

func (x *decoding) verdict(ctx context.Context, it gather.Item) (decode.Verdict, error) {
	f, err := x.root.OpenFile(filepath.FromSlash(it.Path), os.O_RDONLY|syscall.O_NONBLOCK, 0)
	if err != nil {
		return decode.Verdict{}, err
	}
	defer f.Close()
	if info, err := f.Stat(); err != nil || !info.Mode().IsRegular() {
		return decode.Verdict{}, cmp.Or(err, errNoFile)
	}
	return decode.File(ctx, f, it.File.SHA256)
}

var errNoFile = errors.New("it is not a regular file any more")

func plainError(err error) string {
	var p *os.PathError
	if errors.As(err, &p) {
		err = p.Err
	}
	return err.Error()
}
