// Package making puts the content of a new version in place on the copy where it is
// made first. Fill in a [Version] and call [Version.Store]; what it returns is ready to
// be committed. What the version is to be, [What] says: [Folder] makes it what the
// working folder shows, [Brought] what brings a late version.
//
// Nothing drafted is final before it is stored. A file that changed since it was read
// drops out and waits, and bytes that turn up under the version in a bucket have to be
// named by it: the version is then drafted again. The record goes last, since it tells
// of all of it.
package making

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"sync"
	"sync/atomic"

	"golang.org/x/sync/errgroup"

	"linecamp/daemon/attention"
	"linecamp/daemon/link"
	"linecamp/daemon/mirror/queue"
	"linecamp/daemon/mirror/report"
	"linecamp/daemon/mirror/source"
	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
)

// What is what a version is to be.
type What interface {
	// Next is the version, without the logical paths left out. It also says which
	// logical paths each new digest is wanted for. ok is false where nothing is
	// left to record.
	Next(out map[string]bool) (next manifest.Next, fresh map[manifest.Digest][]string, ok bool)
	// From is where the bytes of a fresh digest can be read, wanted for these paths.
	From(d manifest.Digest, logical []string) []source.Source
	// Name is what people call a logical path.
	Name(logical string) string
}

// Copy is the copy on which a version is made.
type Copy struct {
	Root    store.Root
	Queue   *queue.Queue // the way to it
	Workers int          // files under way at once
	Advance func(int64)  // bytes that are done
	// Lacks notes content that the version is committed without, by a name of it for
	// people; large where the copy cannot hold a file of that size.
	Lacks func(content string, d manifest.Digest, name string, large bool) error
}

// Version is one version being made.
type Version struct {
	Copy
	What
	Slug  string
	N     int
	Inv   *manifest.Inventory // of the version before
	Build store.Build
	Found map[string]manifest.Digest          // content already under the version, in buckets
	Where map[manifest.Digest][]source.Source // where found content can be read
	Wait  func(kind attention.Kind, path, reason string, person bool)

	mu      sync.Mutex
	Stored  map[string]store.Info // content path → what was stored there
	Doubt   bool                  // something may have been stored without an answer
	changed map[string]bool       // logical paths whose file changed meanwhile
	redraft bool                  // something was learned that the draft does not know
}

// ErrWaits: the site's next version cannot be made in this round, and Wait was told
// why. The other sites go on.
var ErrWaits = errors.New("this site's next version has to wait")

// Store puts the version's content in place. It returns nil when nothing is left to
// record.
func (m *Version) Store(ctx context.Context) (*manifest.Draft, error) {
	m.changed = map[string]bool{}
	for {
		next, fresh, ok := m.Next(m.changed)
		if !ok {
			return nil, nil
		}
		next.Found = m.Found
		draft, err := m.Inv.Add(next)
		if err != nil { // the fault is this site's alone
			m.Wait(attention.FileWaits, m.Slug, "the site's next version cannot be written: "+err.Error(), true)
			return nil, ErrWaits
		}
		m.redraft = false
		if err := m.put(ctx, draft, fresh); err != nil {
			return nil, err
		}
		if !m.redraft {
			return draft, nil
		}
	}
}

// put stores what the draft names and the copy does not have yet: what is new,
// and what was found under the version in a bucket.
func (m *Version) put(ctx context.Context, draft *manifest.Draft, fresh map[manifest.Digest][]string) error {
	record := manifest.Sum(draft.Record)
	// Once one fails no other is begun. What is under way ends by itself: nobody
	// can tell what became of a write that is cut off.
	var g errgroup.Group
	var failed atomic.Bool
	g.SetLimit(m.Workers)
	content := draft.Inventory.Paths(m.N)
	for _, path := range slices.Sorted(maps.Keys(content)) {
		d := content[path]
		m.mu.Lock()
		was, there := m.Stored[path]
		m.mu.Unlock()
		if there && was.SHA256 == d {
			continue
		}
		if d == record && len(fresh[d]) == 0 {
			continue // last, once it is sure that nothing dropped out
		}
		g.Go(func() error {
			if failed.Load() {
				return nil
			}
			err := m.putOne(ctx, path, d, append(m.From(d, fresh[d]), m.Where[d]...), fresh[d])
			if err != nil {
				failed.Store(true)
			}
			return err
		})
	}
	if err := g.Wait(); err != nil {
		return err
	}
	for path, d := range content {
		if _, there := m.Stored[path]; d == record && !m.redraft && !there {
			if err := m.putOne(ctx, path, d, []source.Source{source.Bytes("the record", draft.Record)}, nil); err != nil {
				return err
			}
		}
	}
	return nil
}

func (m *Version) putOne(ctx context.Context, path string, d manifest.Digest, from []source.Source, logical []string) error {
	err := m.Queue.Link.May()
	var info store.Info
	if err == nil {
		info, err = source.Bring(ctx, source.Into(m.Build, path), d, from, m.Advance)
	}
	switch {
	case err == nil:
		info.SHA256 = d
		m.mu.Lock()
		m.Stored[path] = info
		if !m.Root.Can().Staged {
			m.Found[path] = d // it cannot be taken back: the version must name it
		}
		m.mu.Unlock()
		return nil
	case errors.Is(err, store.ErrTooLarge), errors.Is(err, source.ErrNobody) && len(logical) == 0:
		// Committed without it; mend fills it if it turns up.
		name := path
		if len(logical) > 0 {
			name = m.Name(logical[0])
		}
		return m.Lacks(path, d, name, errors.Is(err, store.ErrTooLarge))
	case errors.Is(err, source.ErrNotNow) && len(logical) == 0:
		m.Wait(attention.FileWaits, m.Slug, "bytes that the site's next version needs could not be brought: "+err.Error(), true)
		return ErrWaits
	case errors.Is(err, source.ErrNobody), errors.Is(err, source.ErrNotNow):
		m.mu.Lock()
		defer m.mu.Unlock()
		m.redraft = true
		for _, l := range logical {
			m.changed[l] = true
			m.Wait(attention.FileWaits, m.Name(l), report.ReasonCopied, false)
		}
		return nil
	case errors.Is(err, store.ErrConflict) && !m.Root.Can().Staged:
		// Something this round's listing did not show lies at the path: it is
		// named by the version, and the file gets another path.
		return m.learnFound(ctx, path)
	case errors.Is(err, link.ErrHeld):
		m.Queue.Keep(m.Slug, err)
		m.Wait(attention.RecordingHeld, m.Slug, report.ReasonLink+m.Queue.Why(), false)
		return ErrWaits
	default:
		m.mu.Lock()
		m.Doubt = m.Doubt || !fault.IsUnstored(err)
		m.mu.Unlock()
		return fmt.Errorf("version %d of %s: %w", m.N, m.Slug, err)
	}
}

// learnFound takes in what lies at a path that was thought free, and has the
// version drafted again.
func (m *Version) learnFound(ctx context.Context, path string) error {
	b, err := m.Root.Begin(ctx, m.Slug, m.N)
	if err != nil {
		return err
	}
	defer b.Close()
	info, ok := b.Found()[path]
	if !ok {
		return fault.Say(store.ErrConflict, "version %d of %s: %s is taken, and cannot be read", m.N, m.Slug, path)
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	m.Found[path], m.Stored[path] = info.SHA256, info
	m.redraft = true
	return nil
}

// State is a copy of the newest state without the record, which each version
// makes anew. Found content stays.
func State(inv *manifest.Inventory) map[string]manifest.Digest {
	state := maps.Clone(inv.State(inv.Head()))
	if state == nil {
		state = map[string]manifest.Digest{}
	}
	delete(state, manifest.RecordPath)
	return state
}
