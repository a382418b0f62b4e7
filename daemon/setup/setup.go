// Package setup makes an archive: it tries each copy, makes its root, and writes the
// config last, so that a config always describes copies that were seen to work. Begin
// with [Run]; [AddCopy], [RemoveCopy], [ReplaceCopy], [RenameCopy], [TakeOver] and
// [Removing] change what is there.
//
// It is the only part of linecamp that ever makes a root. Everything it does
// can be done again after it broke off: a root that an earlier try made, or
// that belongs to this archive since another machine made it, is taken into the
// config as it is. A root of another archive, a place with other things in it,
// and a config that is there already are refused and left alone.
package setup

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"linecamp/daemon/config"
	"linecamp/daemon/keys"
	"linecamp/daemon/samedisk"
	"linecamp/manifest/layout"
	"linecamp/manifest/store/fault"
)

// NamedDir is a drive copy to be: NAME=DIR.
type NamedDir struct{ Name, Dir string }

// NamedURL is an S3 copy to be: NAME=URL/BUCKET[/PREFIX].
type NamedURL struct{ Name, URL string }

// Options are the answers setup needs.
type Options struct {
	Archive string
	Title   string // the archive's name as people write it; "" for none
	// Client says that it is one of many archives, that of a client.
	Client bool
	Words  func(TakeHome) string // what the client takes home: package show/text/takehome has it
	Folder string                // working folder; "" where this machine only keeps the archive
	Layout string                // "" for the common layouts
	Drives []NamedDir
	S3s    []NamedURL
	// Credentials is "env", or the file that holds the keys; "" is "env".
	Credentials string
	// Access and Secret are keys a person typed in; they go into a file only
	// its owner can read, beside the config.
	Access, Secret string
	Region         string
	CAFile         string
	OneWriter      bool   // a person vouches that one machine writes to the buckets
	UseAgain       bool   // AddCopy may use a copy that was given up
	Config         string // the config file, or the folder for it; "" for the usual place
	State          string // "" for the usual place
	Log            *slog.Logger
	Now            func() time.Time // nil for time.Now
}

var (
	// ErrConfigExists: setup never overwrites a config.
	ErrConfigExists = errors.New("settings are never overwritten")
	// ErrOtherArchive: a root there belongs to another archive.
	ErrOtherArchive = errors.New("it is another archive's copy")
	// ErrAnswers: an answer cannot be used.
	ErrAnswers = errors.New("cannot be used")
)

// The away allowance a new drive gets.
const defaultAway = 14 * 24 * time.Hour

// Run sets an archive up.
func Run(ctx context.Context, o Options) (Report, error) {
	if o.Client {
		var err error
		if o, err = o.asClient(); err != nil {
			return Report{}, err
		}
	}
	o, err := o.checked()
	if err != nil {
		return Report{}, err
	}
	path, err := configPath(o)
	if err != nil {
		return Report{}, err
	}
	forget, err := o.keepSecret(strings.TrimSuffix(path, filepath.Ext(path)) + ".keys")
	if err != nil {
		return Report{}, err
	}
	report, err := run(ctx, o, path)
	if err != nil {
		forget()
	}
	return report, err
}

func run(ctx context.Context, o Options, path string) (Report, error) {
	cfg := config.Archive{Name: o.Archive, Title: o.Title, Folder: o.Folder, Layout: o.Layout, State: o.State, Copies: o.copies()}
	if err := apart(path, cfg); err != nil {
		return Report{}, err
	}
	if err := others(path, cfg); err != nil {
		return Report{}, err
	}
	report := Report{Archive: o.Archive, Config: path, State: stateOf(cfg)}
	tried, err := tryAll(ctx, o, cfg.Copies)
	defer closeAll(tried)
	if err != nil {
		return report, err
	}
	id, name, err := agree(tried, o.Archive)
	if err != nil {
		return report, err
	}
	if id == "" {
		id, name = uuid.NewString(), o.Archive
	}
	for i, t := range tried {
		line, err := t.settle(ctx, id, name, thisMachine(cfg), o.Now())
		if err != nil {
			return report, err
		}
		cfg.Copies[i] = t.Copy
		report.Copies = append(report.Copies, line)
	}
	report.Notes = append(report.Notes, fits(cfg, tried)...)
	report.Notes = append(report.Notes, shared(cfg)...)
	if err := cfg.Write(path); err != nil {
		if errors.Is(err, fs.ErrExist) {
			return report, fault.Say(errors.Join(ErrConfigExists, err), "%v", err)
		}
		return report, err
	}
	noteKeys(o, path, tried)
	if o.Client && o.Words != nil {
		o.takeHome(cfg, &report)
	}
	return report, nil
}

// checked completes the options, and refuses what could not work.
func (o Options) checked() (Options, error) {
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Log == nil {
		o.Log = slog.Default()
	}
	if o.Credentials == "" {
		o.Credentials = "env"
	}
	if err := archiveName(o.Archive); err != nil {
		var b better
		if errors.As(err, &b) {
			return o, fault.Say(errors.Join(ErrAnswers, err), "%v; %s would do", err, b.answer)
		}
		return o, fault.Say(errors.Join(ErrAnswers, err), "%v", err)
	}
	if len(o.Drives)+len(o.S3s) == 0 {
		return o, fault.Say(ErrAnswers, "no copy is named; an archive needs one at least, on a drive or in a bucket")
	}
	for _, p := range []*string{&o.Folder, &o.State, &o.CAFile} {
		if *p != "" {
			abs, err := filepath.Abs(*p)
			if err != nil {
				return o, err
			}
			*p = abs
		}
	}
	if o.Credentials != "env" {
		abs, err := filepath.Abs(o.Credentials)
		if err != nil {
			return o, err
		}
		o.Credentials = abs
	}
	o.Drives = slices.Clone(o.Drives)
	for i := range o.Drives {
		abs, err := filepath.Abs(o.Drives[i].Dir)
		if err != nil {
			return o, err
		}
		o.Drives[i].Dir = abs
	}
	if o.Folder != "" {
		info, err := os.Stat(o.Folder)
		switch {
		case errors.Is(err, fs.ErrNotExist):
			return o, fault.Say(ErrAnswers, "your folder %s is not there; give the folder that holds the photos", o.Folder)
		case err != nil:
			return o, fmt.Errorf("your folder: %w", err)
		case !info.IsDir():
			return o, fault.Say(ErrAnswers, "your folder %s is a file; give the folder that holds the photos", o.Folder)
		}
		if _, err := os.ReadDir(o.Folder); err != nil {
			return o, fmt.Errorf("your folder cannot be listed: %w", err)
		}
	}
	if o.Layout != "" {
		if _, err := layout.New(o.Layout, nil, o.Now()); err != nil {
			return o, fault.Say(errors.Join(ErrAnswers, err), "the layout cannot be used: %v", err)
		}
	}
	return o, nil
}

// copies are the copies to be as the config will have them, without ids.
func (o Options) copies() []config.Copy {
	var list []config.Copy
	for _, d := range o.Drives {
		list = append(list, config.Copy{Name: d.Name, Kind: config.KindDrive, Root: d.Dir, Away: defaultAway})
	}
	for _, s := range o.S3s {
		c := config.CopyAt(s.URL)
		if c.Can().Local { // no address: the settings' own rules say so
			c = config.Copy{Kind: config.KindS3, URL: s.URL}
		}
		c.Name = s.Name
		if c.Can().Metered {
			c.Region, c.Credentials, c.CAFile = o.Region, o.Credentials, o.CAFile
			c.Reread, _ = config.ParseAllowance(config.DefaultReread)
		}
		list = append(list, c)
	}
	return list
}

// configPath is the file the config goes to. It must not be there, nor may
// another config in the folder have the same archive.
func configPath(o Options) (string, error) {
	path, err := filepath.Abs(config.New(o.Config))
	if err != nil {
		return "", err
	}
	if info, err := os.Stat(path); err == nil && info.IsDir() || filepath.Ext(path) != ".toml" {
		path = filepath.Join(path, o.Archive+".toml")
	}
	if _, err := os.Lstat(path); err == nil {
		return "", fault.Say(ErrConfigExists, "%s is already there and is left as it is; add a copy to it with --add-copy, or name another file with --config", path)
	}
	others, _ := config.Load(filepath.Dir(path))
	for _, a := range others {
		if a.Name == o.Archive {
			return "", fault.Say(ErrConfigExists, "the archive %s already has settings, %s; add a copy to it with --add-copy, or choose another name", o.Archive, a.File)
		}
		if o.State != "" && a.State == o.State {
			return "", fault.Say(ErrAnswers, "the state folder %s is that of the archive %s; give each archive its own, or leave --state out", o.State, a.Name)
		}
	}
	return path, nil
}

// apart lets the config's own rules judge the places of the copies before any
// of them is touched: not inside the working folder, not one inside another,
// not another archive's.
func apart(path string, cfg config.Archive) error {
	dir, err := os.MkdirTemp("", "linecamp-setup-")
	if err != nil {
		return fmt.Errorf("the answers cannot be checked: %w", err)
	}
	defer os.RemoveAll(dir)
	trial := cfg
	trial.Copies = slices.Clone(cfg.Copies)
	for i := range trial.Copies {
		trial.Copies[i].ID = uuid.NewString()
	}
	if err := trial.Write(filepath.Join(dir, filepath.Base(path))); err != nil {
		var fault *config.Error
		if errors.As(err, &fault) {
			return answersError(fault)
		}
		return err
	}
	return nil
}

// others refuses places that are those of another archive of this machine.
func others(path string, cfg config.Archive) error {
	cfg.File = path
	beside, _ := config.Load(filepath.Dir(path))
	if faults := cfg.Against(slices.DeleteFunc(beside, func(a config.Archive) bool { return a.File == path })); faults != nil {
		return answersError(faults)
	}
	return nil
}

// answersError tells the faults of a config that is not written yet, without
// its file and lines.
func answersError(faults *config.Error) error {
	var texts []string
	for _, p := range faults.Problems {
		if p.Other != "" { // whoever sets archives up runs the machine
			p.Text += " (the other one is that of " + p.Other + ")"
		}
		texts = append(texts, p.Text)
	}
	return fault.Say(ErrAnswers, "%s", strings.Join(texts, "; "))
}

// agree makes sure that the roots found there are all of this archive, and
// returns its id and its name in object ids; none for a new archive.
func agree(tried []*trial, archive string) (id, name string, err error) {
	copies := map[string]string{}
	for _, t := range tried {
		if !t.adopted {
			continue
		}
		is := t.identity
		if is.Archive != archive {
			return "", "", fault.Say(ErrOtherArchive, "%s is a copy of the archive %q, not of %q; it is left alone. Give this copy a place of its own, or set the archive up under its name", t.root.Name(), is.Archive, archive)
		}
		if id != "" && is.ArchiveID != id {
			return "", "", fault.Say(ErrOtherArchive, "%s is a copy of another archive that is also named %q; it is left alone. Give this copy a place of its own", t.root.Name(), archive)
		}
		if other, ok := copies[is.CopyID]; ok {
			return "", "", fault.Say(ErrAnswers, "%s and %s are one and the same copy; name it once", other, t.root.Name())
		}
		copies[is.CopyID] = t.root.Name()
		id, name = is.ArchiveID, is.Archive
	}
	return id, name, nil
}

// shared says which copies lie on one disk with the photos or with one another, and
// where one key reaches all of them.
func shared(cfg config.Archive) []string {
	var drives []samedisk.Drive
	for _, c := range cfg.Copies {
		if c.Can().Local {
			drives = append(drives, samedisk.Drive{Name: c.Name, Folder: c.Root})
		}
	}
	notes := samedisk.Notes(cfg.Folder, drives)
	if said := keys.Shared(cfg.Copies); said != "" {
		notes = append(notes, said)
	}
	return notes
}

func closeAll(tried []*trial) {
	for _, t := range tried {
		if t != nil && t.root != nil {
			t.root.Close()
		}
	}
}
