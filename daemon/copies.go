package daemon

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"linecamp/daemon/config"
	"linecamp/daemon/ledger"
	"linecamp/daemon/mirror"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
	"linecamp/verify"
	"linecamp/verify/say"
)

// How long opening a copy may take: a drive that has to spin up, a service far
// away. Status asks for less.
const (
	openTime   = 45 * time.Second
	glanceTime = 4 * time.Second
)

// ErrNoCopy marks a copy's name that the config does not have.
var ErrNoCopy = errors.New("no such copy")

// ErrNoReach: none of the copies that could do the work is within reach.
var ErrNoReach = errors.New("no copy is within reach")

// ErrNotUsed: a person gave the copy up or took it out of the settings.
var ErrNotUsed = errors.New("it is no longer used")

// held is one copy of the config, opened or with the reason why not.
type held struct {
	config.Copy
	Root store.Root // nil if Err is set
	Err  error
	// Away: the drive is not plugged in, and may be for some days yet.
	Away bool
	Seen ledger.CopySeen
	// after is how the round at hand left it; nil before.
	after *mirror.CopyState
}

// reach is the copies for one piece of work, in the config's order.
type reach struct {
	copies []*held
	id     string // the archive's uuid
	name   string // its name in object ids
}

func (r *reach) close() {
	for _, c := range r.copies {
		if c.Root != nil {
			c.Root.Close()
		}
	}
}

// open returns those that can be worked with.
func (r *reach) open() []*held {
	return slices.DeleteFunc(slices.Clone(r.copies), func(c *held) bool { return c.Root == nil })
}

// named returns the copy of that name, nil for none.
func (r *reach) named(name string) *held {
	for _, c := range r.copies {
		if c.Name == name {
			return c
		}
	}
	return nil
}

// nearest returns the open ones as sources, drives first: they are quick, and
// cost nothing to read.
func (r *reach) nearest() []*held {
	open := r.open()
	slices.SortStableFunc(open, func(a, b *held) int { return rank(a) - rank(b) })
	return open
}

func rank(c *held) int {
	if c.Kind == config.KindDrive {
		return 0
	}
	return 1
}

// none says that nothing can be done because no copy is there, and why.
func (r *reach) none() error {
	var why []string
	for _, c := range r.copies {
		if c.Err != nil {
			why = append(why, c.Name+": "+c.Err.Error())
		}
	}
	if len(why) == 0 {
		return ErrNoReach
	}
	return fmt.Errorf("%w (%s)", ErrNoReach, strings.Join(why, "; "))
}

// copiesNamed picks the copies of the config by name; none named is all.
func (a *Archive) copiesNamed(names ...string) ([]config.Copy, error) {
	names = slices.DeleteFunc(slices.Clone(names), func(n string) bool { return n == "" })
	if len(names) == 0 {
		return a.cfg.Copies, nil
	}
	var picked []config.Copy
	for _, n := range names {
		i := slices.IndexFunc(a.cfg.Copies, func(c config.Copy) bool { return c.Name == n })
		if i < 0 {
			var have []string
			for _, c := range a.cfg.Copies {
				have = append(have, c.Name)
			}
			return nil, fmt.Errorf("%w: %q; the archive %s has %s", ErrNoCopy, n, a.cfg.Name, strings.Join(have, ", "))
		}
		picked = append(picked, a.cfg.Copies[i])
	}
	return picked, nil
}

// reach opens copies, all at once, each within limit, and takes note of when
// each was met. What stands in the way of one is said in its Err; the error
// returned is for ctx and the ledger.
func (a *Archive) reach(ctx context.Context, copies []config.Copy, limit time.Duration) (*reach, error) {
	r := &reach{}
	var opening sync.WaitGroup
	for _, c := range copies {
		h := &held{Copy: c}
		r.copies = append(r.copies, h)
		opening.Go(func() {
			if err := a.inUse(c); err != nil {
				h.Err = err
				return
			}
			root, err := a.openCopy(ctx, c, limit)
			h.Root, h.Err = root, say.Told(err)
		})
	}
	opening.Wait()
	if err := ctx.Err(); err != nil {
		r.close()
		return nil, err
	}
	if err := a.oneArchive(ctx, r); err != nil {
		r.close()
		return nil, err
	}
	for _, h := range r.copies {
		if err := a.seen(h); err != nil {
			r.close()
			return nil, fmt.Errorf("the ledger: %w", err)
		}
	}
	return r, nil
}

// openCopy opens one copy, or gives up at the limit. An opening that comes to
// an end later is closed then; a drive that hangs in the kernel hangs alone.
func (a *Archive) openCopy(ctx context.Context, c config.Copy, limit time.Duration) (store.Root, error) {
	ctx, cancel := context.WithTimeout(ctx, limit)
	type opened struct {
		root store.Root
		err  error
	}
	done := make(chan opened, 1)
	go func() {
		root, err := a.openRoot(ctx, c)
		done <- opened{root, err}
	}()
	select {
	case o := <-done:
		cancel()
		return o.root, o.err
	case <-ctx.Done():
		cancel()
		go func() {
			if o := <-done; o.err == nil {
				o.root.Close()
			}
		}()
		if errors.Is(ctx.Err(), context.DeadlineExceeded) {
			return nil, fmt.Errorf("%s did not answer within %d seconds: %w", place(c), int(limit.Seconds()), store.ErrUnreachable)
		}
		return nil, ctx.Err()
	}
}

func place(c config.Copy) string {
	if c.Kind == config.KindDrive {
		return c.Root
	}
	return c.URL
}

func (a *Archive) openRoot(ctx context.Context, c config.Copy) (store.Root, error) {
	if c.Kind == config.KindDrive {
		return a.openDrive(ctx, c)
	}
	root, err := OpenBucket(ctx, c)
	if err != nil {
		return nil, err
	}
	id, err := root.Identity(ctx)
	if err == nil && !strings.EqualFold(id.CopyID, c.ID) {
		err = fmt.Errorf("%s holds another copy (%s of the archive %s) than the settings say (%s); nothing is written to it: %w", root.Name(), id.CopyID, id.Archive, c.ID, store.ErrOtherRoot)
	}
	if err != nil {
		root.Close()
		return nil, err
	}
	return root, nil
}

// OpenBucket opens the S3 root of a copy without looking at its identity.
func OpenBucket(ctx context.Context, c config.Copy) (*store.S3, error) {
	spec := c.Credentials
	if spec == "" {
		spec = "env"
	}
	access, secret, session, err := store.Credentials(spec)
	if err != nil {
		return nil, err
	}
	return store.OpenS3(ctx, store.S3Options{
		URL: c.URL, VirtualHost: c.Addressing == "host", Region: c.Region,
		Access: access, Secret: secret, Session: session, CAFile: c.CAFile,
		Fence: c.Fence != "none", ReadBack: c.ReadBack,
	})
}

// openDrive finds a drive by its copy's id, wherever it is mounted. One that
// stands in its place because the two are swapped month by month is no fault
// of this one: it is not here.
func (a *Archive) openDrive(ctx context.Context, c config.Copy) (store.Root, error) {
	root, err := store.OpenDrive(c.Root, c.ID)
	if err == nil {
		return root, nil
	}
	if errors.Is(err, store.ErrNotHere) || errors.Is(err, store.ErrOtherRoot) || errors.Is(err, store.ErrNoRoot) {
		search, cancel := halfOf(ctx)
		defer cancel()
		if found, ferr := store.FindDrive(search, c.ID, c.Root); ferr == nil && found != c.Root {
			if root, ferr := store.OpenDrive(found, c.ID); ferr == nil {
				return root, nil
			}
		}
	}
	if errors.Is(err, store.ErrOtherRoot) && a.swapped(c) {
		return nil, fmt.Errorf("another drive of this archive is in its place at %s: %w", c.Root, store.ErrNotHere)
	}
	return nil, err
}

// halfOf ends after half the time that ctx has left, so that the search for a
// drive that is away does not make it one that did not answer.
func halfOf(ctx context.Context) (context.Context, context.CancelFunc) {
	at, ok := ctx.Deadline()
	if !ok {
		return context.WithCancel(ctx)
	}
	return context.WithDeadline(ctx, at.Add(-time.Until(at)/2))
}

func (a *Archive) swapped(c config.Copy) bool {
	other, err := store.OpenDrive(c.Root, "")
	if err != nil {
		return false
	}
	defer other.Close()
	id, err := other.Identity(context.Background())
	return err == nil && slices.ContainsFunc(a.cfg.Copies, func(o config.Copy) bool {
		return o.Kind == config.KindDrive && o.ID != c.ID && strings.EqualFold(o.ID, id.CopyID)
	})
}

// What the ledger keeps of the archive's identity, for when no copy is there.
const (
	keyArchiveID   = "archive-id"
	keyArchiveName = "archive-name"
)

// oneArchive makes sure that all copies are of one archive: the one the ledger
// knows, else the one the first open copy names. Any other is taken out.
func (a *Archive) oneArchive(ctx context.Context, r *reach) error {
	id, known, err := a.ledger.Value(keyArchiveID)
	if err != nil {
		return fmt.Errorf("the ledger: %w", err)
	}
	if known {
		if r.name, _, err = a.ledger.Value(keyArchiveName); err != nil {
			return fmt.Errorf("the ledger: %w", err)
		}
	}
	r.id = id
	for _, h := range r.open() {
		is, err := h.Root.Identity(ctx)
		if err == nil && r.id == "" {
			r.id, r.name = is.ArchiveID, is.Archive
		}
		if err == nil && (is.ArchiveID != r.id || is.Archive != r.name) {
			err = fmt.Errorf("%s belongs to another archive (%s) than the other copies (%s); nothing is written to it: %w", h.Root.Name(), is.Archive, r.name, store.ErrOtherRoot)
		}
		if err != nil {
			h.Root.Close()
			h.Root, h.Err = nil, say.Told(err)
		}
	}
	if !known && r.id != "" {
		if err := a.ledger.SetValue(keyArchiveName, r.name); err != nil {
			return fmt.Errorf("the ledger: %w", err)
		}
		if err := a.ledger.SetValue(keyArchiveID, r.id); err != nil {
			return fmt.Errorf("the ledger: %w", err)
		}
	}
	return nil
}

// seen notes that a copy was met, or since when it was not, and settles
// whether a drive that is not plugged in may be away. How the last round left the
// copy stays as it is: only a round can say better, and the service goes by it.
func (a *Archive) seen(h *held) error {
	s, err := a.ledger.Seen(h.ID)
	if err != nil {
		return err
	}
	now := a.now()
	if h.Root != nil {
		s.LastReachable, s.AwaySince = now, time.Time{}
	} else {
		if s.AwaySince.IsZero() {
			s.AwaySince = now
		}
		since := s.AwaySince
		if !s.LastReachable.IsZero() {
			since = s.LastReachable
		}
		away := fault.Of(h.Err) == fault.Away
		h.Away = away && now.Sub(since) < h.Copy.Away
		if away && !h.Away && h.Copy.Away > 0 {
			h.Err = fmt.Errorf("%w; it may be unplugged for %s and was last seen %s", h.Err, days(h.Copy.Away), age(now.Sub(since)))
		}
	}
	h.Seen = s
	return a.ledger.SetSeen(h.ID, s)
}

// state is how a copy that could not be opened stands, in mirror's words.
func (h *held) state() string {
	switch {
	case h.Away:
		return mirror.Away
	}
	return mirror.StateOf(h.Err)
}

// note tells what is no fault, and what a person may wonder about: why a drive
// is away, and that one was found at another place than the settings say.
func (h *held) note() string {
	switch {
	case h.Away:
		return h.Err.Error()
	case h.Root != nil && h.Kind == config.KindDrive && h.Root.Name() != h.Copy.Root:
		return fmt.Sprintf("it is plugged in at %s, not at %s, and was found by its id", h.Root.Name(), h.Copy.Root)
	}
	return ""
}

func (h *held) forVerify() verify.Copy { return verify.Copy{Name: h.Name, ID: h.ID, Root: h.Root} }

func (h *held) forMirror() mirror.Copy {
	return mirror.Copy{Name: h.Name, ID: h.ID, Kind: h.Kind, Root: h.Root, Err: h.Err, Away: h.Away}
}
