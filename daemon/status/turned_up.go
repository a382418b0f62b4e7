package status

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"

	"linecamp/daemon/archive"
	"linecamp/daemon/config"
	"linecamp/daemon/reach"
	"linecamp/manifest/words"
)

// back is a copy that was given up and is within reach again.
type back struct {
	config.Copy
	at   string // the drive's folder
	name string // a name that is free for it
}

// turnedUp looks for drives that a person gave up, and that were away since. A bucket
// is not asked: its keys may be another's by now, and nobody plugs it in unawares.
func turnedUp(ctx context.Context, a *archive.Archive) ([]back, error) {
	found := make([]*back, len(a.Config.GivenUp))
	var looking sync.WaitGroup
	for i, c := range a.Config.GivenUp {
		if !c.Can().Local {
			continue
		}
		looking.Go(func() {
			if root, err := a.Opener().One(ctx, c, reach.Glance); err == nil {
				found[i] = &back{c, root.Name(), free(a, c.Name)}
				root.Close()
			}
		})
	}
	looking.Wait()
	if ctx.Err() != nil { // what was not found may be there
		return nil, ctx.Err()
	}
	var all []back
	for i, c := range a.Config.GivenUp {
		stayed, _, err := a.Ledger.Value(reach.Stayed(c.ID))
		if err == nil && stayed != "" && found[i] == nil {
			err = a.Ledger.SetValue(reach.Stayed(c.ID), "")
		}
		if err != nil {
			return nil, err
		}
		if found[i] != nil && stayed == "" {
			all = append(all, *found[i])
		}
	}
	return all, nil
}

// next is how the copy is used again, and how nobody is asked about it any more.
func (b back) next() string {
	gone := b.Name
	if b.name != b.Name { // another copy has its name by now
		gone = b.ID
	}
	return fmt.Sprintf("to use it again, run `%s`; to be asked no more, run `%s`",
		words.Line{}.Run("setup", "--add-copy", "--drive", b.name+"="+b.at, "--use-again"), words.Line{}.Run("setup", "--remove-copy", gone))
}

// free is a name that no copy has: the one given, or one like it.
func free(a *archive.Archive, name string) string {
	taken := func(n string) bool {
		return slices.ContainsFunc(a.Config.Copies, func(c config.Copy) bool { return strings.EqualFold(c.Name, n) })
	}
	for n, free := 2, name; ; n++ {
		if !taken(free) {
			return free
		}
		free = fmt.Sprintf("%s-%d", name, n)
	}
}
