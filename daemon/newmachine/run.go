package newmachine

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"linecamp/daemon"
	"linecamp/daemon/archive"
	"linecamp/daemon/config"
	"linecamp/daemon/keys"
	"linecamp/daemon/setup"
	"linecamp/manifest"
	"linecamp/manifest/store/fault"
	"linecamp/manifest/wholefile"
	"linecamp/manifest/within"
	"linecamp/manifest/words"
	"linecamp/verify/history"
	"linecamp/verify/restore"
)

// Settled is a recovery of which everything is decided and nothing written.
type Settled struct {
	f     *Found
	r     Report
	cfg   config.Archive
	keys  []keyFile
	mark  *mark
	first []string
}

// Settle decides what the settings will be, and refuses what could not come to an end.
// confirm asks for each bucket that only the copy's settings name; nil is a no to each.
func (f *Found) Settle(ctx context.Context, confirm Confirm) (*Settled, error) {
	s := &Settled{f: f, r: Report{Archive: f.Archive, Failed: []restore.Failed{}, Copies: []Copy{}, NotHere: NotHere{Versions: []Version{}, Files: []string{}}}}
	if f.o.Into == "" {
		return nil, fault.Say(ErrAnswers, "no folder is named that the photos are to go to")
	}
	var err error
	if s.r.Into, err = filepath.Abs(f.o.Into); err != nil {
		return nil, err
	}
	if s.first, err = f.first(); err != nil {
		return nil, err
	}
	if s.r.Settings, err = f.settingsFile(); err != nil {
		return nil, err
	}
	if s.cfg, s.keys, err = f.config(ctx, s.r.Into, s.r.Settings, confirm); err != nil {
		return nil, err
	}
	if s.mark, err = f.mark(s.cfg, s.r.Into); err != nil {
		return nil, err
	}
	return s, f.mayBegin(s.cfg, s.r.Settings, s.mark)
}

// Run brings this machine back to work.
func (s *Settled) Run(ctx context.Context, p Progress) (Report, error) {
	r, f := s.r, s.f
	if err := s.mark.set(); err != nil {
		return r, fmt.Errorf("nothing can be kept in the state folder: %w", err)
	}
	back, err := restore.Run(ctx, []restore.Source{{Name: f.From, Root: f.copy.Root}}, restore.Options{
		Archive: f.Archive, Seal: f.seal, Everything: true, Newest: true, First: s.first, Into: r.Into,
		Progress: func(done, _ int64) { p.Tell("restore", min(done, f.Bytes), f.Bytes) },
	})
	r.Files, r.Bytes, r.Already, r.Failed, r.Trouble = back.Files, back.Bytes, back.Already, back.Failed, back.Trouble
	if err != nil {
		return r, err
	}
	trouble, err := f.writeSettings(ctx, s.cfg, r.Settings, s.keys)
	if err != nil {
		return r, err
	}
	r.Trouble = append(r.Trouble, trouble...)
	taken, err := f.takeOver(ctx, r.Settings, s.cfg.Copies)
	if err != nil {
		return r, fmt.Errorf("the files are in %s and the settings in %s, but this computer could not become the recording computer; run this again: %w", r.Into, r.Settings, err)
	}
	r.Machine, r.Was = taken.Machine, taken.Was
	f.notHere(&r, back.Missing)
	f.copies(&r, s.cfg, taken)
	f.next(&r, s.cfg, taken.Held)
	return r, s.mark.remove()
}

// first is the object of the site that comes first.
func (f *Found) first() ([]string, error) {
	if f.o.First == "" {
		return nil, nil
	}
	s, err := history.Find(f.Sites, f.o.First)
	if err != nil {
		return nil, err
	}
	return []string{s.Object}, nil
}

// settingsFile is where the settings go.
func (f *Found) settingsFile() (string, error) {
	path, err := filepath.Abs(config.New(f.o.Config))
	if err != nil {
		return "", err
	}
	if info, err := os.Stat(path); err == nil && info.IsDir() || filepath.Ext(path) != ".toml" {
		path = filepath.Join(path, f.Archive+".toml")
	}
	return path, nil
}

// mayBegin refuses what could not come to an end, before anything is written.
func (f *Found) mayBegin(cfg config.Archive, file string, m *mark) error {
	if err := cfg.Check(file); err != nil {
		var wrong *config.Error
		if errors.As(err, &wrong) {
			var texts []string
			for _, p := range wrong.Problems {
				texts = append(texts, p.Text)
			}
			return fault.Say(ErrAnswers, "%s", strings.Join(texts, "; "))
		}
		return err
	}
	if !m.there {
		if err := f.known(file); err != nil {
			return err
		}
	}
	have, err := f.folder(cfg.Folder, m.there)
	if err != nil {
		return err
	}
	at := cfg.Folder
	for {
		if _, err := os.Stat(at); err == nil || filepath.Dir(at) == at {
			break
		}
		at = filepath.Dir(at)
	}
	if free, _, ok := setup.Space(at); ok && f.Bytes-have > free {
		return fault.Say(ErrSpace, "the files take %s, and the disk with %s has %s free; choose a folder on a larger disk", words.Size(f.Bytes-have), at, words.Size(free))
	}
	return nil
}

// known refuses an archive that this machine looks after already.
func (f *Found) known(file string) error {
	others, _ := config.Load(filepath.Dir(file))
	for _, a := range others {
		if a.Name == f.Archive || slices.ContainsFunc(a.Copies, func(c config.Copy) bool { return c.ID == f.id.CopyID }) {
			return fault.Say(ErrKnown, "the archive %s has settings on this computer, in %s; to bring files back, run `linecamp restore`. To begin anew, take it off this computer first: `linecamp setup --remove-archive %s`", a.Name, a.File, a.Name)
		}
	}
	if _, err := os.Lstat(file); err == nil {
		return fault.Say(ErrKnown, "%s is already there and is left as it is; name another file with --config", file)
	}
	return nil
}

// folder looks whether the photos may go to a folder, and how many bytes are there from
// an earlier try.
func (f *Found) folder(into string, again bool) (have int64, err error) {
	info, err := os.Stat(into)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return 0, nil
	case err != nil:
		return 0, fmt.Errorf("the folder %s cannot be looked at: %w", into, err)
	case !info.IsDir():
		return 0, fault.Say(ErrNotEmpty, "%s is a file; name a folder that is empty or not there yet", into)
	}
	entries, err := os.ReadDir(into)
	if err != nil {
		return 0, fmt.Errorf("the folder %s cannot be listed: %w", into, err)
	}
	if len(entries) > 0 && !again {
		return 0, fault.Say(ErrNotEmpty, "%s has something in it already (%s); name a folder that is empty or not there yet, so that nothing of yours is taken for the archive's", into, manifest.Printable(entries[0].Name()))
	}
	filepath.WalkDir(into, func(_ string, e fs.DirEntry, err error) error {
		if err == nil && e.Type().IsRegular() {
			if info, err := e.Info(); err == nil {
				have += info.Size()
			}
		}
		return nil // this is for a word of warning only
	})
	return have, nil
}

// takeOver makes this machine the one that records, and has it remember what it found
// out of the buckets' keys.
func (f *Found) takeOver(ctx context.Context, file string, tried []config.Copy) (daemon.Takeover, error) {
	all, faults := config.Load(file)
	if len(all) != 1 {
		return daemon.Takeover{}, errors.Join(faults...)
	}
	a, err := daemon.Open(all[0], daemon.Options{Log: f.o.Log, Now: f.o.Now})
	if err != nil {
		return daemon.Takeover{}, err
	}
	defer a.Close()
	for _, c := range tried {
		if c.Tried == nil {
			continue
		}
		if err := keys.Note(a.Archive, c, keys.From(*c.Tried)); err != nil {
			return daemon.Takeover{}, err
		}
	}
	return a.TakeOver(ctx)
}

// notHere says what is known and is not on this copy.
func (f *Found) notHere(r *Report, missing []restore.Missing) {
	for _, m := range missing {
		r.NotHere.Versions = append(r.NotHere.Versions, Version{Site: m.Site, Object: m.Object, Version: m.Version, Years: []int{m.Created.Local().Year()}})
	}
	l := f.Left
	if l == nil {
		return
	}
	r.NotHere.AsOf, r.NotHere.Machine = l.Made, l.Machine
	for _, x := range l.NotHere {
		if !f.has[x.SHA256] {
			r.NotHere.Files = append(r.NotHere.Files, x.Path)
		}
	}
	for _, w := range l.Waiting {
		if within.Local(w.Path) && !slices.Contains(r.NotHere.Files, w.Path) {
			if _, err := os.Lstat(filepath.Join(r.Into, filepath.FromSlash(w.Path))); err != nil {
				r.NotHere.Files = append(r.NotHere.Files, w.Path)
			}
		}
	}
	r.NotHere.More = l.Files - len(l.NotHere)
}

// mark tells that a recovery into a folder has begun and did not end.
type mark struct {
	file  string
	text  string
	there bool
}

func (f *Found) mark(cfg config.Archive, into string) (*mark, error) {
	dir, err := cfg.StateDir()
	if err != nil {
		return nil, err
	}
	m := &mark{file: filepath.Join(dir, archive.HalfBackFile), text: fmt.Sprintf("archive %s\ninto %q\n", f.id.ArchiveID, into)}
	b, err := os.ReadFile(m.file)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	m.there = string(b) == m.text
	return m, nil
}

func (m *mark) set() error {
	if m.there {
		return nil
	}
	if err := os.MkdirAll(filepath.Dir(m.file), 0o700); err != nil {
		return err
	}
	return wholefile.Replace(m.file, 0o600, []byte(m.text))
}

func (m *mark) remove() error { return os.Remove(m.file) }
