package setup

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"linecamp/daemon"
	"linecamp/daemon/config"
	"linecamp/daemon/keys"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
)

// noteKeys remembers what the trials of buckets found out of their keys. What cannot
// be remembered is not known later, which is no reason to fail.
func noteKeys(o Options, file string, tried []*trial) {
	var buckets []*trial
	for _, t := range tried {
		if t.Tried != nil {
			buckets = append(buckets, t)
		}
	}
	if len(buckets) == 0 {
		return
	}
	all, _ := config.Load(file)
	if len(all) != 1 {
		return
	}
	a, err := daemon.Open(all[0], daemon.Options{Log: o.Log, Now: o.Now})
	if err != nil {
		return
	}
	defer a.Close()
	for _, t := range buckets {
		_ = keys.Note(a.Archive, t.Copy, keys.From(*t.Tried))
	}
}

// AskKeys asks for a bucket's new keys, unless they were given.
func AskKeys(in io.Reader, out io.Writer, secret func() (string, error), o Options) (Options, error) {
	if o.Credentials != "" || o.Access != "" {
		return o, nil
	}
	q := NewQuestions(in, out, secret)
	o.Access = q.Ask("What is the new access key id?", "it goes into a file only you can read", NotEmpty)
	o.Secret = q.AskSecret("And its secret key?", "not shown while you type")
	return o, q.err
}

// NewKeys has a bucket used with other keys, once they were seen to work there. Keys
// that were typed go into a new file; none is written over, and the old one stays.
func NewKeys(ctx context.Context, o Options, name string) (Report, error) {
	a, cfg, c, err := changing(o, name, false)
	if err != nil {
		return Report{}, err
	}
	defer a.Close()
	was, has := c.KeyID()
	switch {
	case !has:
		return Report{}, fault.Say(ErrAnswers, "%s is no bucket, and has no keys", c.Name)
	case o.Credentials == "" && o.Access == "":
		return Report{}, fault.Say(ErrAnswers, "no keys were given; name a file that holds them, or \"env\", with --credentials")
	case o.Credentials != "" && o.Credentials != "env":
		if o.Credentials, err = filepath.Abs(o.Credentials); err != nil {
			return Report{}, err
		}
	}
	o.OneWriter = c.Fence == "none" // a person vouched for it before
	forget, err := o.keepAnew(cfg.File, c.Name)
	if err != nil {
		return Report{}, err
	}
	t, err := o.tryKeys(ctx, c)
	if err == nil && t.Tried == nil {
		t.Tried = &config.KeyTried{}
	}
	if t != nil {
		defer closeAll([]*trial{t})
	}
	if err == nil {
		err = changed(a.Change(config.WithKeys(c.ID, o.Credentials)))
	}
	if err != nil {
		if there, rerr := os.ReadFile(cfg.File); rerr == nil && !bytes.Contains(there, []byte(filepath.Base(o.Credentials))) {
			forget() // the settings do not name that file
		}
		return Report{}, err
	}
	report := Report{Archive: cfg.Name, Config: cfg.File, Copies: []CopyReport{},
		Changed: &ChangeReport{Copy: c.Name, ID: c.ID, What: "new keys", Key: &KeyReport{Known: keys.From(*t.Tried), Credentials: o.Credentials}}}
	c.Credentials = o.Credentials
	if is, _ := c.KeyID(); is == was {
		report.Changed.Key.Same = true
	} else {
		report.Changed.Key.Revoke = was
	}
	report.Notes = append(report.Notes, t.notes...)
	with := cfg
	with.Copies = nil
	for _, other := range cfg.Copies {
		if other.ID == c.ID {
			other = c
		}
		with.Copies = append(with.Copies, other)
	}
	if said := keys.Shared(with.Copies); said != "" {
		report.Notes = append(report.Notes, said)
	}
	if err := keys.Note(a.Archive, c, keys.From(*t.Tried)); err != nil {
		return report, fmt.Errorf("the new keys are in the settings, and what they may do could not be remembered: %w", err)
	}
	return report, nil
}

// keepAnew keeps keys that were typed in the first file beside the settings whose
// name is free.
func (o *Options) keepAnew(settings, name string) (forget func(), err error) {
	base := strings.TrimSuffix(settings, filepath.Ext(settings)) + "-" + fileName(name)
	for n := 1; n < 1000; n++ {
		path := base + ".keys"
		if n > 1 {
			path = fmt.Sprintf("%s-%d.keys", base, n)
		}
		if _, err := os.Lstat(path); err == nil {
			continue
		}
		forget, err := o.keepSecret(path)
		if errors.Is(err, fs.ErrExist) || errors.Is(err, ErrConfigExists) {
			continue // it was made at this very moment
		}
		return forget, err
	}
	return func() {}, fault.Say(ErrAnswers, "there are a thousand files of keys beside %s; delete those that were revoked", settings)
}

// fileName is a copy's name as part of a file's.
func fileName(name string) string {
	return strings.Map(func(r rune) rune {
		if r == '/' || r == '\\' || r == ':' || r < ' ' {
			return '-'
		}
		return r
	}, name)
}

// tryKeys tries new keys on a bucket: what is there has to be the copy, and an object
// of linecamp's own is written, read, and tried to be deleted.
func (o Options) tryKeys(ctx context.Context, c config.Copy) (*trial, error) {
	ctx, cancel := context.WithTimeout(ctx, tryTime)
	defer cancel()
	c.Credentials = o.Credentials
	t := &trial{Copy: c}
	err := t.try(ctx, o)
	switch {
	case err != nil:
		err = fmt.Errorf("the new keys of %s do not work, and the settings stay as they are: %w", c.Name, err)
	case !t.adopted:
		err = fault.Say(store.ErrNoRoot, "with the new keys %s shows no copy, and the settings stay as they are", t.root.Name())
	case !strings.EqualFold(t.identity.CopyID, c.ID):
		err = fault.Say(store.ErrOtherRoot, "with the new keys %s shows another copy (%s), and the settings stay as they are", t.root.Name(), t.identity.CopyID)
	}
	return t, err
}
