package status

import (
	"encoding/json"
	"fmt"
	"hash/fnv"
	"os"
	"path/filepath"
	"time"

	"linecamp/daemon/archive"
	"linecamp/daemon/config"
	"linecamp/daemon/notice"
	"linecamp/daemon/reach"
	"linecamp/daemon/service"
	"linecamp/manifest/store"
)

// lately is what it holds.
type lately struct {
	Settings string    `json:"settings"` // of which it was so
	At       time.Time `json:"at"`
	Until    time.Time `json:"until"` // from then on somebody has to look
	Status   Status    `json:"status"`
}

// settingsPrint is another for other settings.
func settingsPrint(cfg config.Archive) string {
	h := fnv.New64a()
	fmt.Fprintf(h, "%+v", cfg)
	return fmt.Sprintf("%x", h.Sum64())
}

// Kept composes how a round leaves the archive, and returns what keeps that for a later
// look at many once the round has ended well. l began before the round gathered it.
func Kept(a *archive.Archive, l archive.Look, r *reach.Copies, o Outlook) (keepIt func() error, err error) {
	s := begun(a)
	if err := s.compose(a, r, o); err != nil {
		return nil, err
	}
	return func() (err error) {
		if s.Last, s.Next, err = pastAndNext(a, a.Now()); err != nil {
			return err
		}
		return keep(a, l, s, o)
	}, nil
}

func keep(a *archive.Archive, l archive.Look, s Status, o Outlook) error {
	until, lasts := o.lasts(a, s.Now)
	if s.Wants() || !lasts {
		return nil
	}
	b, err := json.Marshal(lately{settingsPrint(a.Config), s.Now.UTC(), until.UTC(), s})
	if err != nil {
		return err
	}
	if err := l.Keep(b); err != nil {
		a.Log.Warn("how the archive stands cannot be kept: "+err.Error(), "archive", a.Config.Name)
	}
	return nil
}

// lasts says until when an archive that is well can be taken to be, as long as nothing
// happens; not at all where something is not settled, or where only a look can tell.
func (o Outlook) lasts(a *archive.Archive, now time.Time) (until time.Time, lasts bool) {
	until = now.Add(latelyFor)
	before := func(t time.Time) {
		if t.Before(until) {
			until = t
		}
	}
	for _, s := range o.standings {
		switch {
		case s.state == reach.Current && (s.note == "" || !s.local):
		case s.state == reach.Away:
			before(s.awayUntil)
		default:
			return until, false
		}
		if !s.drillUntil.IsZero() {
			before(s.drillUntil)
		}
	}
	if o.Folder == "" && o.Quiet > 0 {
		before(o.Wrote.Add(o.Quiet))
	}
	for _, c := range a.Config.GivenUp {
		if c.Can().Local { // it may turn up
			return until, false
		}
	}
	return until, o.Unsent == ""
}

// latelyFor is how long what was well counts as known: until a nightly round is late.
const latelyFor = 26 * time.Hour

// Lately is how an archive stood at its last round, where all was well, nothing tells
// that it is another way now, and a service looks after it. Without that, somebody has
// to look: [Of]. It opens no state, so that many archives can be looked at at once.
func Lately(cfg config.Archive, among int, now time.Time) (Status, bool) {
	dir, err := cfg.StateDir()
	if err != nil {
		return Status{}, false
	}
	b, err := archive.Standing(dir)
	var was lately
	if err != nil || json.Unmarshal(b, &was) != nil || was.Settings != settingsPrint(cfg) || was.Status.Wants() {
		return Status{}, false
	}
	s := was.Status
	if age := now.Sub(was.At); age < 0 || age > latelyFor || !now.Before(was.Until) {
		return s, false
	}
	if _, why := notice.Unsent(dir); why != "" {
		return s, false
	}
	tables, err := service.Timetables(cfg, among)
	if err != nil {
		return s, false
	}
	last := map[string]time.Time{}
	for _, r := range s.Last {
		last[r.Round] = r.At
	}
	for kind, t := range tables {
		if t.IsSet() && (last[kind].IsZero() && kind != service.Drill || !t.Overdue(last[kind], now).IsZero()) {
			return s, false
		}
	}
	if cfg.Folder != "" && folderFault(cfg.Folder) != "" {
		return s, false
	}
	for _, place := range roots(cfg, s) { // what a drive is mounted on stays without it
		if _, err := os.Stat(filepath.Join(place, store.RootNamaste)); err != nil {
			return s, false
		}
	}
	if s.Service = service.StateOf(dir, now); !s.Service.Running {
		return s, false
	}
	s.AsOf, s.Now = moment(was.At), now
	return s, true
}

// roots are the folders of the copies that were within reach where the settings say.
func roots(cfg config.Archive, s Status) (all []string) {
	for i, c := range s.Copies {
		if i < len(cfg.Copies) && cfg.Copies[i].Can().Local && c.State == reach.Current && c.Note == "" {
			all = append(all, cfg.Copies[i].Root)
		}
	}
	return all
}
