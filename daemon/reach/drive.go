package reach

import (
	"context"
	"errors"
	"io/fs"
	"slices"
	"strings"
	"time"

	"linecamp/daemon/config"
	"linecamp/manifest/store"
	"linecamp/manifest/store/drive"
	"linecamp/manifest/store/fault"
	"linecamp/manifest/store/near"
)

// openRoot opens a copy. One on a disk of this machine it finds by its id, wherever
// that is mounted. Another that stands in its place because the two are swapped month
// by month is no fault of this one: it is not here.
func (o Opener) openRoot(ctx context.Context, c config.Copy) (store.Root, error) {
	root, err := c.Open(ctx)
	if err == nil || !c.Can().Local {
		return root, err
	}
	if errors.Is(err, store.ErrNotHere) || errors.Is(err, store.ErrOtherRoot) || errors.Is(err, store.ErrNoRoot) {
		search, cancel := halfOf(ctx)
		defer cancel()
		if found, ferr := drive.Find(search, c.ID, c.Root); ferr == nil && found != c.Root {
			moved := c
			moved.Root = found
			if root, ferr := moved.Open(ctx); ferr == nil {
				return root, nil
			}
		}
	}
	if errors.Is(err, store.ErrOtherRoot) && o.swapped(ctx, c) {
		return nil, fault.Say(store.ErrNotHere, "another drive of this archive is in its place at %s", c.Root)
	}
	if errors.Is(err, store.ErrOtherRoot) || errors.Is(err, store.ErrNoRoot) && isStrange(ctx, c) {
		err = fault.Say(fault.Because(err, ErrElsewhere), "%v", err)
	}
	return nil, err
}

// ErrElsewhere: what stands in a drive's place is something else, so the drive itself is
// not here.
var ErrElsewhere = errors.New("the drive is not here")

// isStrange reports whether nothing where a drive should be is of any copy: what is left
// of one may be this one, damaged.
func isStrange(ctx context.Context, c config.Copy) bool {
	c.ID = ""
	root, err := c.Open(ctx)
	if err != nil {
		return false
	}
	defer root.Close()
	for _, key := range []string{store.RootNamaste, store.IdentityKey, store.ReadmeKey} {
		if _, err := root.Stat(ctx, key); !errors.Is(err, fs.ErrNotExist) {
			return false
		}
	}
	holds, err := near.Holds(ctx, root)
	return err == nil && !holds
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

func (o Opener) swapped(ctx context.Context, c config.Copy) bool {
	there := c
	there.ID = ""
	other, err := there.Open(ctx)
	if err != nil {
		return false
	}
	defer other.Close()
	id, err := other.Identity(ctx)
	return err == nil && slices.ContainsFunc(o.Archive.Copies, func(other config.Copy) bool {
		return other.Can().Local && other.ID != c.ID && strings.EqualFold(other.ID, id.CopyID)
	})
}
