package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"linecamp/daemon"
	"linecamp/daemon/config"
	"linecamp/daemon/show/screen"
	"linecamp/daemon/show/text"
)

// work is what a command does to one open archive.
type work func(ctx context.Context, a *daemon.Archive, p daemon.Progress) (report, error)

// chosen reads the settings and returns the archives that --archive leaves,
// and the faults of the others. several says that the reports are to be told
// apart, because no single archive was asked for.
func (t *tool) chosen() (all []config.Archive, faults []error, several bool, err error) {
	all, faults = config.LoadFrom(t.config)
	t.among = len(all)
	if t.archive == "" {
		if len(all) == 0 {
			if len(faults) == 0 {
				return nil, nil, false, errors.New("there is no archive to work on; to make one, run `linecamp setup`")
			}
			return nil, nil, false, errors.Join(faults...)
		}
		return all, faults, len(all) > 1 || len(faults) > 0, nil
	}
	var names []string
	for _, a := range all {
		if a.Name == t.archive {
			return []config.Archive{a}, nil, false, nil
		}
		names = append(names, a.Name)
	}
	for _, f := range faults {
		if faultOf(f) == t.archive {
			return nil, nil, false, told(f)
		}
	}
	if len(faults) > 0 {
		return nil, nil, false, errors.Join(append([]error{fmt.Errorf("no settings that can be read describe an archive named %q", t.archive)}, faults...)...)
	}
	return nil, nil, false, usagef("no archive is named %q; the settings name: %s", t.archive, strings.Join(names, ", "))
}

// faultOf is the name of the archive whose settings are at fault, as far as it
// could be read.
func faultOf(err error) string {
	var e *config.Error
	if errors.As(err, &e) {
		return e.Archive
	}
	return ""
}

// told is what the archive itself is told of its settings: nothing of another one.
func told(err error) error {
	var e *config.Error
	if errors.As(err, &e) {
		return errors.New(e.Told())
	}
	return err
}

// each does the work on every chosen archive, one after the other. What befalls
// one never keeps the next from its turn.
func (t *tool) each(ctx context.Context, check func(config.Archive) error, do work) error {
	cautioned := false
	return t.eachShown(ctx, func(ctx context.Context, _ []config.Archive) func(config.Archive) (report, error) {
		return func(cfg config.Archive) (report, error) { return t.do(ctx, cfg, check, do) }
	}, func(r text.Titled) error {
		line := t.of(r.Name)
		line.IsCautioned, cautioned = cautioned, true
		return t.print(r, line)
	})
}

// on does a command of the archive's own, such as Mirror, with its options.
func on[O any, R report](t *tool, cmd *cobra.Command, check func(config.Archive) error, do func(*daemon.Archive, context.Context, O, daemon.Progress) (R, error), o O) error {
	return t.each(cmd.Context(), check, func(ctx context.Context, a *daemon.Archive, p daemon.Progress) (report, error) {
		return do(a, ctx, o, p)
	})
}

// once does work that no archive's settings are needed for, and prints its report.
func (t *tool) once(do func(daemon.Progress) (report, error)) error {
	r, err := t.watched(do)
	return t.sayOr(r, err)
}

// eachShown is each, where the reports of several archives are made or shown in another
// way: from gets the report of one of all.
func (t *tool) eachShown(ctx context.Context, from func(ctx context.Context, all []config.Archive) func(config.Archive) (report, error), show func(text.Titled) error) error {
	all, faults, several, err := t.chosen()
	if err != nil {
		return err
	}
	get := from(ctx, all)
	if !several {
		r, err := get(all[0])
		if err != nil {
			return err
		}
		return t.say(r)
	}
	t.spoken = true
	status := exitWell
	list := []any{}
	fail := func(name string, err error) {
		status = worse(status, statusOf(err))
		text := t.of(name).Text(screen.Error(err))
		entry := map[string]string{"error": text}
		if name != "" {
			entry["archive"] = name
			text = "archive " + name + ": " + text
		}
		list = append(list, entry)
		fmt.Fprintln(t.errs, "linecamp:", text)
	}
	for _, cfg := range all {
		r, err := get(cfg)
		if ctx.Err() != nil {
			t.spoken = false
			return ctx.Err()
		}
		if err != nil {
			fail(cfg.Name, err)
			continue
		}
		status = worse(status, statusFor(r))
		list = append(list, r)
		if !t.json {
			if err := show(text.Titled{Name: cfg.Name, Report: r}); err != nil {
				return err
			}
		}
	}
	for _, f := range faults {
		fail(faultOf(f), f)
	}
	if t.json {
		if err := t.sayJSON(map[string]any{"archives": list}); err != nil {
			return err
		}
	}
	return exitError(status)
}

// do opens one archive, shows how far the work has come, and closes it again.
func (t *tool) do(ctx context.Context, cfg config.Archive, check func(config.Archive) error, do work) (report, error) {
	if check != nil {
		if err := check(cfg); err != nil {
			return nil, err
		}
	}
	a, err := daemon.Open(cfg, t.options())
	if err != nil {
		return nil, err
	}
	defer a.Close()
	return t.watched(func(p daemon.Progress) (report, error) { return do(ctx, a, p) })
}

// options are what an archive is opened with.
func (t *tool) options() daemon.Options {
	return daemon.Options{Log: t.log(), Among: t.among, Program: t.program()}
}

// progress starts bars on the screen, unless the person wants it quiet.
func (t *tool) progress() (show func(task string, done, total int64), end func()) {
	if t.quiet {
		return screen.Bars(nil)
	}
	return screen.Bars(t.bars)
}

// watched runs f with bars on the screen, where there is one.
func (t *tool) watched(f func(daemon.Progress) (report, error)) (report, error) {
	show, end := t.progress()
	r, err := f(show)
	end()
	return r, asUsage(err)
}

// holds finds the one archive that has the site, where one is named and there are
// several archives.
func (t *tool) holds(ctx context.Context, site string) error {
	if site == "" {
		return nil
	}
	all, _, several, err := t.chosen()
	if err != nil || !several {
		return err
	}
	var having []string
	var lacking error
	for _, cfg := range all {
		_, err := t.do(ctx, cfg, nil, func(ctx context.Context, a *daemon.Archive, p daemon.Progress) (report, error) {
			return a.History(ctx, site, "")
		})
		switch {
		case errors.Is(err, daemon.ErrNoSite):
			lacking = err
		case err != nil:
			return fmt.Errorf("looking for %q in the archive %s: %w", site, cfg.Name, err)
		default:
			having = append(having, cfg.Name)
		}
	}
	switch len(having) {
	case 0:
		return usageError{lacking}
	case 1:
		t.archive = having[0]
		return nil
	}
	return usagef("%q is a site of several archives; say which with --archive: %s", site, strings.Join(having, ", "))
}

// copiesOf are the names of the copies of archives.
func copiesOf(all ...config.Archive) (names []string) {
	for _, a := range all {
		for _, c := range a.Copies {
			names = append(names, c.Name)
		}
	}
	return names
}

// working stands for the working folder wherever a copy is named.
const working = "working"

// hasPlace is hasCopy for a command that may be about your folder as well.
func hasPlace(name string) func(config.Archive) error {
	if name == working {
		return nil
	}
	return hasCopy(name)
}

// hasCopy refuses a copy's name that the archive does not know.
func hasCopy(names ...string) func(config.Archive) error {
	return func(a config.Archive) error {
		known := copiesOf(a)
		for _, n := range names {
			if n != "" && !slices.Contains(known, n) {
				return usagef("%s has no copy named %q; it has: %s", a.Name, n, strings.Join(known, ", "))
			}
		}
		return nil
	}
}
