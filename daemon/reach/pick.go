package reach

import (
	"fmt"
	"slices"
	"strings"

	"linecamp/daemon/config"
	"linecamp/manifest/store/fault"
)

// Pick picks the copies of the config by name; none named is all.
func (o Opener) Pick(names ...string) ([]config.Copy, error) {
	names = slices.DeleteFunc(slices.Clone(names), func(n string) bool { return n == "" })
	if len(names) == 0 {
		return o.Archive.Copies, nil
	}
	var picked []config.Copy
	for _, n := range names {
		i := slices.IndexFunc(o.Archive.Copies, func(c config.Copy) bool { return c.Name == n })
		if i < 0 {
			var have []string
			for _, c := range o.Archive.Copies {
				have = append(have, c.Name)
			}
			return nil, fmt.Errorf("%w: %q; the archive %s has %s", ErrNoCopy, n, o.Archive.Name, strings.Join(have, ", "))
		}
		picked = append(picked, o.Archive.Copies[i])
	}
	return picked, nil
}

// NotUsed is where the ledger notes that a copy is no longer used. The settings
// say so too; a service that read them before would go on using the copy.
func NotUsed(copyID string) string { return "not used " + copyID }

// Stayed is where the ledger notes that a copy was within reach when it was given
// up, and has been ever since: nobody is asked about what has not turned up.
func Stayed(copyID string) string { return "given up, and still within reach " + copyID }

// inUse refuses a copy that was given up or taken out after this machine's
// settings were read.
func (o Opener) inUse(c config.Copy) error {
	day, _, err := o.Ledger.Value(NotUsed(c.ID))
	if err != nil {
		return err
	}
	if day != "" {
		return fault.Say(ErrNotUsed, "%s was given up or taken out of the settings on %s", c.Name, day)
	}
	return nil
}
