package setup

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"linecamp/daemon"
	"linecamp/daemon/config"
	"linecamp/manifest/store/fault"
)

// AddCopy adds the drives and buckets of o to a config that is there: the one
// at o.Config, or the one for o.Archive in that folder.
func AddCopy(ctx context.Context, o Options) (Report, error) {
	if len(o.Drives)+len(o.S3s) == 0 {
		return Report{}, fault.Say(ErrAnswers, "--add-copy needs the copy to add: --drive NAME=FOLDER or --s3 NAME=ADDRESS")
	}
	cfg, err := existing(o)
	if err != nil {
		return Report{}, err
	}
	return addCopy(ctx, o, cfg, func(changes ...config.Change) error { return config.Rewrite(cfg.File, changes...) })
}

// addCopy is AddCopy to the settings in cfg; write changes their file.
func addCopy(ctx context.Context, o Options, cfg config.Archive, write func(...config.Change) error) (Report, error) {
	var err error
	o.Archive, o.Folder, o.Layout, o.State = cfg.Name, "", "", ""
	if o, err = o.checked(); err != nil {
		return Report{}, err
	}
	id, name, err := identity(ctx, cfg, o)
	if err != nil {
		return Report{}, err
	}
	copies := o.copies()
	for _, c := range copies {
		if slices.ContainsFunc(cfg.Copies, func(h config.Copy) bool { return strings.EqualFold(h.Name, c.Name) }) {
			return Report{}, fault.Say(ErrAnswers, "the archive %s already has a copy named %s; give the new one another name", cfg.Name, c.Name)
		}
	}
	with := cfg
	with.Copies = append(slices.Clone(cfg.Copies), copies...)
	if err := apart(cfg.File, with); err != nil {
		return Report{}, err
	}
	if err := others(cfg.File, with); err != nil {
		return Report{}, err
	}
	forget, err := o.keepSecret(secretBeside(cfg.File, copies))
	if err != nil {
		return Report{}, err
	}
	report, err := addCopies(ctx, o, cfg, o.copies(), id, name, write)
	if err != nil {
		forget()
	}
	return report, err
}

// secretBeside names the file for typed-in keys of an added copy.
func secretBeside(file string, copies []config.Copy) string {
	return strings.TrimSuffix(file, filepath.Ext(file)) + "-" + copies[0].Name + ".keys"
}

func addCopies(ctx context.Context, o Options, cfg config.Archive, copies []config.Copy, id, name string, write func(...config.Change) error) (Report, error) {
	report := Report{Archive: cfg.Name, Config: cfg.File, State: stateOf(cfg)}
	tried, err := tryAll(ctx, o, copies)
	defer closeAll(tried)
	if err != nil {
		return report, err
	}
	have, _, err := agree(tried, name)
	if err != nil {
		return report, err
	}
	if have != "" && have != id {
		return report, fault.Say(ErrOtherArchive, "the copy there belongs to another archive that is also named %q; it is left alone", name)
	}
	var changes []config.Change
	for _, t := range tried {
		was, err := o.again(cfg, t)
		if err != nil {
			return report, err
		}
		if was.ID != "" {
			why := fmt.Sprintf("Given up on %s, and used again since %s: as %s, below.", was.GivenUp, o.Now().Local().Format(time.DateOnly), t.Name)
			changes = append(changes, config.TakingOut(was.ID, why))
		}
		if t.adopted && slices.ContainsFunc(cfg.Copies, func(c config.Copy) bool { return c.ID == t.identity.CopyID }) {
			return report, fault.Say(ErrAnswers, "%s is in the settings already; it is found by its id wherever the drive is mounted", t.root.Name())
		}
	}
	for _, t := range tried {
		line, err := t.settle(ctx, id, name, thisMachine(cfg), o.Now())
		if err != nil {
			return report, err
		}
		report.Copies = append(report.Copies, line)
	}
	report.Notes = append(report.Notes, fits(cfg, tried)...)
	with := cfg
	with.Copies = slices.Clone(cfg.Copies)
	for _, t := range tried {
		with.Copies = append(with.Copies, t.Copy)
	}
	report.Notes = append(report.Notes, shared(with)...)
	for _, t := range tried {
		changes = append(changes, config.Adding(t.Copy))
	}
	if err := write(changes...); err != nil {
		return report, err
	}
	noteKeys(o, cfg.File, tried)
	return report, nil
}

// again is the copy that was given up and turned up here, the zero value for
// none. It is used again only where a person says so.
func (o Options) again(cfg config.Archive, t *trial) (config.Copy, error) {
	i := slices.IndexFunc(cfg.GivenUp, func(c config.Copy) bool { return t.adopted && c.ID == t.identity.CopyID })
	switch {
	case i < 0:
		return config.Copy{}, nil
	case !o.UseAgain:
		return config.Copy{}, fault.Say(ErrAnswers, "%s is the copy %s, which was given up on %s. Add --use-again if it is to be used again", t.root.Name(), cfg.GivenUp[i].Name, cfg.GivenUp[i].GivenUp)
	}
	return cfg.GivenUp[i], nil
}

// identity asks the archive's other copies, or its ledger, which archive it is.
func identity(ctx context.Context, cfg config.Archive, o Options) (id, name string, err error) {
	if len(cfg.Copies) == 0 {
		return uuid.NewString(), cfg.Name, nil
	}
	a, err := daemon.Open(cfg, daemon.Options{Log: o.Log, Now: o.Now})
	if err != nil {
		return "", "", err
	}
	defer a.Close()
	if id, name, err = a.Identity(ctx); err != nil {
		return "", "", fmt.Errorf("a new copy needs one of the archive's other copies within reach, to know which archive it is: %w", err)
	}
	return id, name, nil
}

// existing loads the one config that is meant.
func existing(o Options) (config.Archive, error) {
	path := config.Find(o.Config)
	archives, errs := config.LoadFrom(o.Config)
	if o.Archive != "" {
		archives = slices.DeleteFunc(archives, func(a config.Archive) bool { return a.Name != o.Archive })
	}
	switch {
	case len(archives) == 1:
		return archives[0], nil
	case len(archives) > 1:
		return config.Archive{}, fault.Say(ErrAnswers, "%s describes several archives; say which with --archive", path)
	case len(errs) > 0:
		return config.Archive{}, errors.Join(errs...)
	case o.Archive != "":
		return config.Archive{}, fault.Say(os.ErrNotExist, "no settings in %s describe an archive named %q", path, o.Archive)
	}
	return config.Archive{}, fault.Say(os.ErrNotExist, "%s describes no archive", path)
}

// TakeOver makes this machine the author of the archive at o.Config.
func TakeOver(ctx context.Context, o Options) (Report, error) {
	cfg, err := existing(o)
	if err != nil {
		return Report{}, err
	}
	a, err := daemon.Open(cfg, daemon.Options{Log: o.Log, Now: o.Now})
	if err != nil {
		return Report{}, err
	}
	defer a.Close()
	t, err := a.TakeOver(ctx)
	if err != nil {
		return Report{}, err
	}
	return Report{Archive: t.Archive, Config: cfg.File, Copies: []CopyReport{}, Author: &AuthorReport{
		Machine: t.Machine, Was: t.Was, Epoch: t.Epoch, Already: t.Already, Copies: t.Copies, Later: t.Later, Parted: t.Parted, Held: t.Held,
	}}, nil
}
