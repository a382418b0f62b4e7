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
	"time"

	"linecamp/daemon"
	"linecamp/daemon/attention"
	"linecamp/daemon/config"
	"linecamp/daemon/reach"
	"linecamp/manifest/store/fault"
	"linecamp/manifest/wholefile"
	"linecamp/manifest/words"
)

// Removal is an archive that this machine no longer looks after, or is about not to:
// only its settings are set aside, and all else stays where it is.
type Removal struct {
	Archive  string    `json:"archive"`
	Settings string    `json:"settings"`            // the file that described it
	Aside    string    `json:"set_aside,omitempty"` // where that is now; "" until it is done
	Folder   string    `json:"folder,omitempty"`    // the working folder
	State    string    `json:"state"`
	Copies   []Staying `json:"copies"`
	// Lacks are sentences: what some copy does not have, as far as is known.
	Lacks  []string `json:"lacks,omitempty"`
	Served bool     `json:"served"` // a service runs its rounds here
}

// Staying is a copy, and where it stays.
type Staying struct {
	Copy  string `json:"copy"`
	Kind  string `json:"kind"`
	At    string `json:"at"`
	State string `json:"state"`
	Files int    `json:"files"`
	Bytes int64  `json:"bytes"`
}

// Wants is false: it was asked for, and done.
func (Removal) Wants() bool { return false }

// lacking are the kinds of attention for which a photo may be in one place only.
var lacking = []attention.Kind{
	attention.FolderGone, attention.FolderEmpty, attention.NothingKept, attention.NotRecorded, attention.ChangeWaits,
	attention.FileWaits, attention.RecordingHeld, attention.CopyBehind, attention.CopyAway, attention.CopyUnreachable,
	attention.CopyFailed, attention.CopyShort, attention.Damage, attention.WentMissing,
}

// Removing looks what removing the archive from this machine would leave where. It
// changes nothing.
func Removing(ctx context.Context, cfg config.Archive, log *slog.Logger) (Removal, error) {
	r := Removal{Archive: cfg.Name, Settings: cfg.File, Folder: cfg.Folder, State: stateOf(cfg), Copies: []Staying{}}
	a, err := daemon.Open(cfg, daemon.Options{Log: log})
	if err != nil {
		return r, err
	}
	defer a.Close()
	s, err := a.Status(ctx)
	if err != nil {
		return r, err
	}
	r.Served = s.Service.Running
	told := func(kind attention.Kind, copy string) bool {
		return slices.ContainsFunc(s.Attention, func(i attention.Item) bool { return i.Kind == kind && i.Copy == copy })
	}
	for _, i := range s.Attention {
		if slices.Contains(lacking, i.Kind) {
			r.Lacks = append(r.Lacks, i.What)
		}
	}
	if s.Unrecorded.Files > 0 && !told(attention.NotRecorded, "") && !told(attention.NothingKept, "") {
		r.Lacks = append(r.Lacks, fmt.Sprintf("%s in your folder are not recorded yet, so no copy has them.", s.Unrecorded))
	}
	for i, c := range s.Copies {
		r.Copies = append(r.Copies, Staying{Copy: c.Copy, Kind: c.Kind, At: cfg.Copies[i].Place(), State: c.State, Files: c.Files, Bytes: c.Bytes})
		switch {
		case told(attention.CopyBehind, c.Copy) || told(attention.CopyAway, c.Copy) || told(attention.CopyShort, c.Copy):
		case c.ToGo.Files > 0:
			r.Lacks = append(r.Lacks, fmt.Sprintf("%s lacks %s.", c.Copy, c.ToGo))
		case c.State == reach.Behind:
			r.Lacks = append(r.Lacks, fmt.Sprintf("%s is not up to date.", c.Copy))
		}
	}
	return r, nil
}

// ErrLacks marks a removal that a person has to say yes to although a copy lacks
// something.
var ErrLacks = errors.New("nothing was changed")

// Hindrance is why the archive should not be removed yet; nil for nothing.
func (r Removal) Hindrance() error {
	if len(r.Lacks) == 0 {
		return nil
	}
	text := ""
	for _, l := range r.Lacks {
		text += l + " "
	}
	return fault.Say(ErrLacks, "%sRun `linecamp mirror` first; to remove %s all the same, add --yes", text, words.Quote(r.Archive))
}

// SetAside gives the settings file another name, with the day in it, under which no
// program reads it. Nothing else is touched.
func (r *Removal) SetAside(now time.Time) error {
	dir, name := filepath.Split(r.Settings)
	root, err := os.OpenRoot(filepath.Clean(dir))
	if err != nil {
		return fmt.Errorf("the settings of %s cannot be set aside: %w", r.Archive, err)
	}
	defer root.Close()
	aside := name + ".removed-" + now.Local().Format(time.DateOnly)
	for n := 2; ; n++ {
		err = wholefile.Name(root, name, aside)
		if !errors.Is(err, fs.ErrExist) {
			break
		}
		aside = fmt.Sprintf("%s.removed-%s-%d", name, now.Local().Format(time.DateOnly), n)
	}
	if err == nil {
		// A name that is left over would have the archive looked after as before.
		if err = root.Remove(name); errors.Is(err, fs.ErrNotExist) {
			err = wholefile.SyncFolder(root, ".")
		}
	}
	if err != nil {
		return fmt.Errorf("the settings of %s cannot be set aside: %w", r.Archive, err)
	}
	r.Aside = filepath.Join(dir, aside)
	return nil
}
