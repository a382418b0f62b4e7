package newmachine

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"

	"linecamp/daemon/carried"
	"linecamp/daemon/config"
	"linecamp/daemon/reach"
	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
	"linecamp/manifest/words"
	"linecamp/verify"
	"linecamp/verify/history"
)

// Found is what is on a copy, shown before anything is written. Close it.
type Found struct {
	Archive  string
	From     string
	Sites    []verify.Site
	Files    int
	Bytes    int64
	Newest   string            // the newest visit
	Written  time.Time         // when the copy was last written; zero for not known
	Recorder string            // the machine that recorded
	Settings *carried.Settings // nil for none, and unsettled says why
	Left     *carried.List     // nil for none
	Notes    []string          // what could not be read
	Download int64             // bytes that have to be downloaded
	Seconds  int               // how long it may take; 0 for not known

	o    Options
	copy *reach.Copy
	id   store.Identity
	seal *seal.Seal

	unsettled string

	joined map[string][]string      // by object, those that its record joins to it
	has    map[manifest.Digest]bool // of what the list names
	mu     sync.Mutex
}

// Close closes the copy.
func (f *Found) Close() { f.copy.Root.Close() }

// Look opens the copy and says what is there. It writes nothing.
func Look(ctx context.Context, o Options) (*Found, error) {
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.From.Root == "" {
		return nil, fault.Say(ErrAnswers, "no copy is named; give the folder of a drive, or the https address of a bucket")
	}
	if !strings.Contains(o.From.Root, "://") {
		abs, err := filepath.Abs(o.From.Root)
		if err != nil {
			return nil, err
		}
		o.From.Root = abs
	}
	c, id, err := o.From.Open(ctx)
	if err != nil {
		return nil, err
	}
	f := &Found{Archive: id.Archive, From: c.Name, o: o, copy: c, id: id, has: map[manifest.Digest]bool{}, joined: map[string][]string{}}
	if err := f.look(ctx); err != nil {
		f.Close()
		return nil, err
	}
	return f, nil
}

func (f *Found) look(ctx context.Context) error {
	if f.id.ArchiveID == "" || f.id.CopyID == "" {
		return fault.Say(ErrHalf, "%s holds sites, but not the file that says which copy of which archive it is, so it is no whole copy and nothing can be recorded from it. Use another copy; or bring the files back with `linecamp restore --everything --into FOLDER --from %s`", f.From, words.Quote(f.o.From.Root))
	}
	root := f.copy.Root
	var err error
	if f.seal, err = store.ReadSeal(ctx, root); ctx.Err() != nil {
		return ctx.Err()
	} else if err != nil {
		return fmt.Errorf("the seal on %s cannot be read, so it is no whole copy and nothing can be recorded from it. Use another copy; or bring the files back with `linecamp restore --everything --into FOLDER --from %s`: %w: %w", f.From, words.Quote(f.o.From.Root), ErrHalf, err)
	}
	if lines := f.seal.Lines(); len(lines) > 0 {
		f.Written = lines[len(lines)-1].At
	}
	if a, _, err := store.ReadAuthor(ctx, root); err == nil {
		f.Recorder = a.Machine
	}
	if err := f.carried(ctx); err != nil {
		return err
	}
	if o := f.o.Archive; o != "" && o != f.Archive && o != f.id.Archive {
		return fault.Say(ErrOther, "%s is a copy of the archive %q, not of %q; name the right copy, or leave --archive out", f.From, f.Archive, o)
	}
	if err := f.count(ctx); err != nil {
		return err
	}
	return f.estimate(ctx)
}

// carried reads what the copy holds for a new machine.
func (f *Found) carried(ctx context.Context) error {
	s, err := carried.ReadSettings(ctx, f.copy.Root)
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case err == nil && s.Archive != f.Archive && !slices.ContainsFunc(s.Copies, func(c config.Copy) bool { return c.ID == f.id.CopyID }):
		f.unsettled = "The settings on this copy are of another archive"
		f.Notes = append(f.Notes, fmt.Sprintf("the settings on this copy are of the archive %q, and are left alone", s.Archive))
	case err == nil:
		f.Settings, f.Archive = &s, s.Archive // the name in object ids may be an older one
		for _, p := range s.Passed {
			f.Notes = append(f.Notes, "of the settings on this copy, this was passed over: "+p)
		}
	case errors.Is(err, fs.ErrNotExist):
		f.unsettled = "No settings are on this copy"
		f.Notes = append(f.Notes, "no settings are on this copy; schedule, units and limits are as usual, and no other copy is known")
	default:
		f.unsettled = "The settings on this copy could not be read"
		f.Notes = append(f.Notes, err.Error())
	}
	l, err := carried.ReadList(ctx, f.copy.Root)
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case err == nil:
		f.Left = &l
		if l.Made.After(f.Written) {
			f.Written = l.Made
		}
		for _, x := range l.NotHere {
			f.has[x.SHA256] = false
		}
	case errors.Is(err, fs.ErrNotExist):
		f.Notes = append(f.Notes, "no list of what was left behind is on this copy, so what it did not have yet is not known")
	default:
		f.Notes = append(f.Notes, err.Error())
	}
	return nil
}

// atOnce is how many sites are looked at side by side.
const atOnce = 8

// count looks at every site.
func (f *Found) count(ctx context.Context) error {
	slugs, err := store.Objects(ctx, f.copy.Root)
	if err != nil {
		return err
	}
	g, gctx := errgroup.WithContext(ctx)
	g.SetLimit(atOnce)
	for _, slug := range slugs {
		g.Go(func() error {
			inv, rec, err := history.ReadObject(gctx, f.copy.Root, slug)
			if gctx.Err() != nil {
				return gctx.Err()
			}
			if inv == nil || rec == nil {
				_ = err // the restore names what cannot be read
				return nil
			}
			f.add(slug, inv, rec)
			return nil
		})
	}
	if err := g.Wait(); err != nil {
		return err
	}
	slices.SortFunc(f.Sites, func(a, b verify.Site) int { return cmp.Compare(a.Object, b.Object) })
	f.Sites = verify.OneSite(f.Sites, f.joined, verify.ClosedBy(f.seal))
	return nil
}

func (f *Found) add(slug string, inv *manifest.Inventory, rec *manifest.Record) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if !manifest.Unfiled(slug) {
		f.Sites = append(f.Sites, verify.SiteOf(slug, rec))
		f.joined[slug] = verify.JoinedIn(rec)
	}
	for logical := range inv.State(inv.Head()) {
		if manifest.Reserved(logical) {
			continue
		}
		f.Files++
		e := rec.Paths[logical]
		f.Bytes += e.Bytes
		f.Newest = max(f.Newest, e.Visit)
	}
	for d := range f.has {
		if _, ok := inv.Content[d]; ok {
			f.has[d] = true
		}
	}
}

// Reading sample bytes for at most sampleTime tells how long all of them may take.
const (
	sampleBytes = 16 << 20
	sampleTime  = 2 * time.Second
)

// estimate reads a few files to tell how long all of them may take.
func (f *Found) estimate(ctx context.Context) error {
	if !f.copy.Can().Local {
		f.Download = f.Bytes
	}
	if f.Bytes == 0 || len(f.Sites) == 0 {
		return nil
	}
	inv, err := store.Head(ctx, f.copy.Root, f.Sites[0].Object)
	if err != nil {
		return ctx.Err()
	}
	began, read := time.Now(), int64(0)
	for _, paths := range inv.Content {
		if read >= min(sampleBytes, f.Bytes/20+1) || time.Since(began) > sampleTime || len(paths) == 0 {
			break
		}
		r, _, err := f.copy.Root.OpenFresh(ctx, f.Sites[0].Object+"/"+paths[0])
		if err != nil {
			continue
		}
		n, _ := io.Copy(io.Discard, io.LimitReader(r, sampleBytes))
		r.Close()
		read += n
	}
	if took := time.Since(began).Seconds(); read > 0 && took > 0 {
		f.Seconds = int(float64(f.Bytes)/(float64(read)/took)) + 1
	}
	return ctx.Err()
}
