package setup

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"linecamp/daemon"
	"linecamp/daemon/alone"
	"linecamp/daemon/config"
	"linecamp/daemon/keys"
	"linecamp/daemon/reach"
	"linecamp/manifest/store/fault"
	"linecamp/manifest/words"
)

// ChangeReport says what became of a copy.
type ChangeReport struct {
	Copy string `json:"copy"` // its name until now
	ID   string `json:"id"`
	What string `json:"what"` // "renamed", "removed", "replaced" or "new keys"
	To   string `json:"to,omitempty"`
	// Alone is what a copy that was replaced is known to have held alone.
	Alone *alone.Report `json:"alone,omitempty"`
	// Key tells of new keys.
	Key *KeyReport `json:"key,omitempty"`
}

// KeyReport says what the new keys of a bucket may do, and which are to be revoked.
type KeyReport struct {
	keys.Known
	Credentials string `json:"credentials"`      // "env", or their file
	Revoke      string `json:"revoke,omitempty"` // the id of the old key; "" where it is not known
	Same        bool   `json:"same,omitempty"`   // the id is the one in use before
}

// changing opens the archive that o means, with the copy of that name, or one that
// was given up where that is meant too.
func changing(o Options, name string, givenUp bool) (*daemon.Archive, config.Archive, config.Copy, error) {
	cfg, err := existing(o)
	if err != nil {
		return nil, cfg, config.Copy{}, err
	}
	named := func(c config.Copy) bool { return c.Name == name || c.ID == name }
	i := slices.IndexFunc(cfg.Copies, named)
	if j := slices.IndexFunc(cfg.GivenUp, named); i < 0 && j >= 0 && givenUp {
		a, err := daemon.Open(cfg, daemon.Options{Log: o.Log, Now: o.Now})
		return a, cfg, cfg.GivenUp[j], err
	}
	if i < 0 {
		var have []string
		for _, c := range cfg.Copies {
			have = append(have, c.Name)
		}
		return nil, cfg, config.Copy{}, fault.Say(reach.ErrNoCopy, "%s has no copy named %q; it has: %s", cfg.Name, name, strings.Join(have, ", "))
	}
	a, err := daemon.Open(cfg, daemon.Options{Log: o.Log, Now: o.Now})
	return a, cfg, cfg.Copies[i], err
}

// RenameCopy gives a copy another name.
func RenameCopy(_ context.Context, o Options, name, to string) (Report, error) {
	a, cfg, c, err := changing(o, name, false)
	if err != nil {
		return Report{}, err
	}
	defer a.Close()
	if err := changed(a.Change(config.Renaming(c.ID, to))); err != nil {
		return Report{}, err
	}
	return Report{Archive: cfg.Name, Config: cfg.File, Copies: []CopyReport{}, Changed: &ChangeReport{Copy: name, ID: c.ID, What: "renamed", To: to}}, nil
}

// changed tells what the settings would not have as answers that were wrong.
func changed(err error) error {
	var fault *config.Error
	if errors.As(err, &fault) {
		return answersError(fault)
	}
	return err
}

// RemoveCopy stops using a copy with which nothing is lost, or asks no more about
// one that was given up, named by its name or its id. What it holds stays there.
func RemoveCopy(ctx context.Context, o Options, name string) (Report, error) {
	a, cfg, c, err := changing(o, name, true)
	if err != nil {
		return Report{}, err
	}
	defer a.Close()
	if o.Now == nil {
		o.Now = time.Now
	}
	if c.GivenUp == "" {
		if err := needless(ctx, a, cfg, c); err != nil {
			return Report{}, err
		}
	}
	why := fmt.Sprintf("Taken out on %s with linecamp setup --remove-copy. To use it again: linecamp setup --add-copy", o.Now().Local().Format(time.DateOnly))
	if err := changed(a.Change(config.TakingOut(c.ID, why))); err != nil {
		return Report{}, err
	}
	return Report{Archive: cfg.Name, Config: cfg.File, Copies: []CopyReport{}, Changed: &ChangeReport{Copy: c.Name, ID: c.ID, What: "removed"}}, nil
}

// needless refuses to let a copy go that alone holds something.
func needless(ctx context.Context, a *daemon.Archive, cfg config.Archive, c config.Copy) error {
	if len(cfg.Copies) == 1 {
		return fault.Say(daemon.ErrLastCopy, "%s is the only copy of %s. Add another first, with `linecamp setup --add-copy --drive NAME=FOLDER`", c.Name, cfg.Name)
	}
	only, err := a.Alone(ctx, c.Name)
	if err != nil {
		return err
	}
	if r := only[0]; r.Any() {
		return fault.Say(daemon.ErrAlone, "%s. Run `linecamp mirror` with all copies within reach, then this again; where %s is lost, give it up with `linecamp mirror --without %s`", r.Reason(), c.Name, words.Quote(c.Name))
	}
	return nil
}

// ReplaceCopy gives up a copy that is lost, and makes the one that o names in its
// place, which may have its name.
func ReplaceCopy(ctx context.Context, o Options, name string) (Report, error) {
	if len(o.Drives)+len(o.S3s) != 1 {
		return Report{}, fault.Say(ErrAnswers, "one copy takes the place of %s: name it with --drive NAME=FOLDER or --s3 NAME=ADDRESS", name)
	}
	a, cfg, c, err := changing(o, name, false)
	if err != nil {
		return Report{}, err
	}
	defer a.Close()
	only, err := a.Alone(ctx, name)
	if err != nil {
		return Report{}, err
	}
	if only[0].Here {
		return Report{}, fault.Say(ErrAnswers, "%s is within reach, so what it holds can still be copied. Add the new one with --add-copy, run `linecamp mirror`, then take the old one out with --remove-copy", name)
	}
	without := cfg
	without.Copies = slices.DeleteFunc(slices.Clone(cfg.Copies), func(o config.Copy) bool { return o.ID == c.ID })
	report, err := addCopy(ctx, o, without, func(changes ...config.Change) error {
		return changed(a.Change(append([]config.Change{config.GivingUp(c.ID, time.Now())}, changes...)...))
	})
	if err != nil {
		return report, err
	}
	report.Changed = &ChangeReport{Copy: name, ID: c.ID, What: "replaced", To: report.Copies[0].Copy, Alone: &only[0]}
	return report, nil
}
