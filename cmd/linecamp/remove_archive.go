package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"linecamp/daemon/setup"
	"linecamp/daemon/show/screen"
	"linecamp/daemon/show/text"
)

// errKept ends a removal that a person did not say yes to.
var errKept = errors.New("nothing was changed, since the answer was not yes")

// removeArchive sets an archive's settings aside, once a person has read what stays
// where.
func (t *tool) removeArchive(ctx context.Context, name string, yes bool) error {
	if t.archive != "" && t.archive != name {
		return usagef("--archive names %q, and --remove-archive %q; name one", t.archive, name)
	}
	if name == "" {
		return usagef("--remove-archive takes the archive's name")
	}
	t.archive = name
	all, _, _, err := t.chosen()
	if err != nil {
		return err
	}
	line := t.line() // as long as the settings are there
	r, err := setup.Removing(ctx, all[0], t.log())
	if err != nil {
		return err
	}
	if !yes {
		if err := r.Hindrance(); err != nil {
			return err
		}
		if t.json {
			return usagef("--json asks no question; to remove %s, add --yes", name)
		}
		text.Print(screen.Writer(t.errs, line), r)
		if isYes, err := t.asks(ctx, fmt.Sprintf("Remove %s from this computer?", name)); err != nil {
			return err
		} else if !isYes {
			return errKept
		}
	}
	if err := r.SetAside(time.Now()); err != nil {
		return err
	}
	return t.say(r)
}
