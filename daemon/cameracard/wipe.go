package cameracard

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"time"

	"linecamp/daemon/archive"
	"linecamp/daemon/authority"
	"linecamp/daemon/intake"
	"linecamp/daemon/intake/maywipe"
	"linecamp/daemon/reach"
	"linecamp/daemon/samedisk"
	"linecamp/manifest"
	"linecamp/manifest/store/fault"
	"linecamp/manifest/tally"
	"linecamp/manifest/walk"
	"linecamp/manifest/within"
	"linecamp/manifest/words"
	"linecamp/verify"
)

// MayWipe says of each file on a card, or in an old laptop's folder, whether it
// is safe without it. othersMoved is a person's word that what linecamp keeps
// nowhere is somewhere else by now.
func MayWipe(ctx context.Context, card string, archives []*archive.Archive, othersMoved bool, p archive.Progress) (*maywipe.Answer, error) {
	// The archives first: what is on the card is what decides, so it is read
	// as late as can be.
	k := &keeper{}
	for _, a := range archives {
		if err := foreign(a, card); err != nil {
			return nil, err
		}
		kept, err := keptBy(ctx, a, card, p)
		if err != nil {
			return nil, fmt.Errorf("archive %s: %w", a.Config.Name, err)
		}
		defer kept.reach.Close()
		k.archives = append(k.archives, kept)
	}
	c, err := intake.ReadCard(ctx, card, archives[0].Now(), func(done, total int64) { p.Tell("card", done, total) })
	if err != nil {
		return nil, err
	}
	for _, kept := range k.archives {
		if err := kept.ask(ctx, c, p); err != nil {
			return nil, err
		}
	}
	return maywipe.Judge(c, k, othersMoved), nil
}

// foreign refuses the archive's own places: what is in them is on them by
// intent, and is what a card's files are counted against.
func foreign(a *archive.Archive, card string) error {
	if err := separate(card, a.Config.Folder, false); err != nil {
		return err
	}
	for _, c := range a.Config.Copies {
		if c.Can().Local && within.Folder(card, c.Root) {
			return fault.Say(intake.ErrAsked, "%s belongs to %s, a copy of the archive %s, which is to stay as it is; name the card's own folder", verify.Shown(card), c.Name, a.Config.Name)
		}
	}
	return nil
}

// keeper answers for several archives at once.
type keeper struct{ archives []*kept }

// kept is what one archive knows to be where.
type kept struct {
	archive   *archive.Archive
	reach     *reach.Copies
	name      string
	line      words.Line // of the archive, for command lines
	copies    []keptCopy
	elsewhere bool // another computer records it, so that no round from here brings anything to a copy
	recorded  map[manifest.Digest][]stored
	working   map[manifest.Digest]string
	held      []map[string]map[string]verify.Held // by copy, object, content path
	damaged   map[string]bool                     // copy, object and content path
	answers   []map[stored]string                 // by copy: why a file must not be counted on, "" where it is there
}

// keptCopy is one copy with the device it is on.
type keptCopy struct {
	name        string
	device, why string // as in maywipe.Holding
	here        bool
}

func keptBy(ctx context.Context, a *archive.Archive, card string, p archive.Progress) (*kept, error) {
	k := &kept{archive: a, name: a.Config.Name, line: a.Line, damaged: map[string]bool{}}
	if a.Config.Folder != "" {
		// It counts as no copy; it only tells what a mirror round would bring
		// to them. So a folder that is not there is no hindrance.
		t, err := a.Folder(ctx, p)
		switch {
		case err == nil:
			k.working = contents(t)
			if err := addUnsettled(ctx, a, t, k.working); err != nil {
				return nil, err
			}
		case !errors.Is(err, walk.ErrNoFolder):
			return nil, err
		}
	}
	r, err := a.Reach(ctx, a.Config.Copies, reach.Glance)
	if err != nil {
		return nil, err
	}
	k.reach = r
	last, err := authority.LastAuthor(a.Ledger, r.ID)
	if err == nil && last.Author != "" {
		self, serr := a.Self()
		err, k.elsewhere = serr, last.Author != self.Author
	}
	if err != nil {
		r.Close()
		return nil, fmt.Errorf("who records: %w", err)
	}
	if err := keptOn(ctx, a, k, card); err != nil {
		r.Close()
		return nil, err
	}
	return k, nil
}

// keptOn gathers what is known of each copy.
func keptOn(ctx context.Context, a *archive.Archive, k *kept, card string) (err error) {
	r := k.reach
	if k.recorded, err = recorded(ctx, a, r); err != nil {
		return err
	}
	objects := map[string]bool{}
	for _, all := range k.recorded {
		for _, s := range all {
			objects[s.object] = true
		}
	}
	for _, h := range r.All {
		k.copies = append(k.copies, placeOf(a, h, card))
		held := map[string]map[string]verify.Held{}
		for o := range objects {
			if held[o], err = a.Ledger.Held(h.ID, o); err != nil {
				return fmt.Errorf("the ledger: %w", err)
			}
		}
		k.held = append(k.held, held)
	}
	damage, err := a.Damage()
	if err != nil {
		return err
	}
	for _, d := range damage {
		k.damaged[d.Copy+"\x00"+d.Object+"\x00"+d.Content] = true
	}
	return nil
}

// addUnsettled adds the files that the tally leaves for later, because they
// changed a moment ago: they are filed, though no round would take them yet.
func addUnsettled(ctx context.Context, a *archive.Archive, t *tally.Result, to map[manifest.Digest]string) error {
	for _, w := range t.Waiting {
		if err := ctx.Err(); err != nil {
			return err
		}
		name := filepath.Join(a.Config.Folder, filepath.FromSlash(w.Path))
		if info, err := os.Lstat(name); err != nil || !info.Mode().IsRegular() {
			continue
		}
		// One that cannot be read counts for nothing.
		if d, err := digest(ctx, name); err == nil {
			to[d] = w.Path
		}
	}
	return nil
}

// digest reads a file to its end, or until ctx ends.
func digest(ctx context.Context, name string) (manifest.Digest, error) {
	f, err := os.Open(name)
	if err != nil {
		return manifest.Digest{}, err
	}
	defer f.Close()
	d, _, err := manifest.Copy(ctx, nil, f)
	return d, err
}

// placeOf finds out which device a copy is on, and whether it may be counted
// on. Drives that are away cannot be told apart and count as one device
// together.
func placeOf(a *archive.Archive, h *reach.Copy, card string) keptCopy {
	c := keptCopy{name: h.Name, here: h.Root != nil}
	switch {
	case h.Root != nil && !h.Can().Local:
		c.device = "bucket"
		if u, err := url.Parse(h.URL); err == nil {
			c.device = "bucket at " + u.Host
		}
	case h.Root != nil:
		c.device, c.why = driveDevice(h.Root.Name(), a.Config.Folder, card)
	case h.Away:
		c.device = "away"
	default:
		c.why = "is out of reach now: " + h.Err.Error()
	}
	return c
}

// driveDevice is the device of a drive's folder, "" with the reason where it
// does not help against the loss of the working folder or of the card.
func driveDevice(root, folder, card string) (device, why string) {
	own, err := samedisk.Device(root)
	if err != nil {
		return "", "is on a disk that cannot be told: " + err.Error()
	}
	if folder != "" {
		if d, err := samedisk.Device(folder); err == nil && d == own {
			return "", "is on the same disk as your folder"
		}
	}
	if within.Folder(root, card) {
		return "", "lies in the folder that is to be wiped"
	}
	if d, err := samedisk.Device(card); err != nil || d == own {
		return "", "is on the disk that is to be wiped"
	}
	return own, ""
}

// holdings are the copies that hold a content, as far as is known, and as they
// answered when they were asked for it just now.
func (k *kept) holdings(d manifest.Digest) []maywipe.Holding {
	var all []maywipe.Holding
	for i, c := range k.copies {
		h := maywipe.Holding{Copy: c.name, Archive: k.name, Device: c.device, Why: c.why}
		found, why := false, ""
		for _, s := range k.recorded[d] {
			is, ok := k.counted(i, s, d)
			if !ok {
				continue
			}
			if answer, asked := k.answers[i][s]; !asked || answer != "" {
				why = cmp.Or(answer, "was not asked for it")
				continue
			}
			found = true
			h.ReadBack, h.Confirmed = latest(h.ReadBack, is.ReadBack), latest(h.Confirmed, is.Confirmed)
		}
		if !found && why == "" && c.here && k.unchecked(c.name, d) {
			why = "was not checked from this computer since another one recorded it"
		}
		if !found && why != "" {
			h.Device, h.Why = "", cmp.Or(c.why, why)
		}
		if found || why != "" {
			all = append(all, h)
		}
	}
	return all
}

// spoiled reports whether a content is damage on record on a copy.
func (k *kept) spoiled(copy string, d manifest.Digest) bool {
	return slices.ContainsFunc(k.recorded[d], func(s stored) bool { return k.damaged[copy+"\x00"+s.object+"\x00"+s.path] })
}

// unchecked reports whether a copy may have a content that another computer recorded:
// a check from here finds out.
func (k *kept) unchecked(copy string, d manifest.Digest) bool {
	return k.elsewhere && len(k.recorded[d]) > 0 && !k.spoiled(copy, d)
}

// latest is the later of two moments, in whole seconds of UTC as reports have it.
func latest(a, b time.Time) time.Time {
	if a.After(b) {
		b = a
	}
	return b.UTC().Truncate(time.Second)
}

// Holdings asks every archive.
func (k *keeper) Holdings(d manifest.Digest) []maywipe.Holding {
	var all []maywipe.Holding
	for _, a := range k.archives {
		all = append(all, a.holdings(d)...)
	}
	return all
}

// Advice says what to do next: what brings the file to a copy that lacks it,
// then what reads it back, and if all is done, what adds a copy.
func (k *keeper) Advice(d manifest.Digest, _ []maywipe.Holding) (todo maywipe.Todo, ok bool) {
	for _, a := range k.archives {
		_, working := a.working[d]
		if len(a.recorded[d]) == 0 && !working {
			continue
		}
		return a.advice(d), true
	}
	return maywipe.Todo{}, false
}

func (k *kept) advice(d manifest.Digest) maywipe.Todo {
	held := k.holdings(d)
	run := func(words ...string) maywipe.Todo { return maywipe.Todo{Run: []string{k.line.Run(words...)}} }
	mirror := k.line.Run("mirror")
	var away string
	for _, c := range k.copies {
		i := slices.IndexFunc(held, func(h maywipe.Holding) bool { return h.Copy == c.name })
		switch {
		case c.device == "" || i >= 0 && held[i].Device != "":
		case c.here && k.unchecked(c.name, d):
			return run("verify", "--copy", c.name)
		case c.here && i >= 0: // it should have it, and it did not answer so
			return maywipe.Todo{Run: []string{k.line.Run("verify", "--copy", c.name), k.line.Run("mend")}}
		case c.here && k.spoiled(c.name, d):
			return run("mend")
		case c.here:
			return run("mirror")
		default:
			away = c.name
		}
	}
	if len(held) == 0 && away == "" {
		return run("mirror")
	}
	for _, h := range held {
		if h.Device != "" && h.ReadBack.IsZero() && h.Confirmed.IsZero() {
			return run("verify", "--copy", h.Copy)
		}
	}
	counted := slices.DeleteFunc(slices.Clone(held), func(h maywipe.Holding) bool { return h.Device == "" })
	devices := map[string]bool{}
	for _, h := range counted {
		devices[h.Device] = true
	}
	if len(devices) >= 2 {
		return run("verify", "--copy", counted[0].Copy) // all are only confirmed
	}
	if away != "" {
		return maywipe.Todo{First: "plug in " + away, Run: []string{mirror}}
	}
	for _, c := range k.copies {
		if c.why != "" && !c.here {
			return maywipe.Todo{First: "bring " + c.name + " within reach", Run: []string{mirror}}
		}
	}
	return maywipe.Todo{
		First: "choose a FOLDER on another disk, or a bucket (--s3 NAME=ADDRESS), for one more copy",
		Run:   []string{k.line.Run("setup", "--add-copy", "--drive", "another=FOLDER"), mirror},
	}
}
