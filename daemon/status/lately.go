package status

import (
	"encoding/json"
	"errors"
	"fmt"
	"hash/fnv"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"linecamp/daemon/archive"
	"linecamp/daemon/config"
	"linecamp/daemon/reach"
	"linecamp/daemon/service"
	"linecamp/manifest/wholefile"
)

// latelyFile is where the state folder has how the archive stood when all was well. It
// is taken away as soon as something wants a person.
const latelyFile = "standing.json"

// lately is what it holds.
type lately struct {
	Settings string    `json:"settings"` // of which it was so
	At       time.Time `json:"at"`
	Status   Status    `json:"status"`
}

// settingsPrint is another for other settings.
func settingsPrint(cfg config.Archive) string {
	h := fnv.New64a()
	fmt.Fprintf(h, "%+v", cfg)
	return fmt.Sprintf("%x", h.Sum64())
}

// Keep keeps how a round left the archive, for a later look at many.
func Keep(a *archive.Archive, r *reach.Copies, o Outlook) error {
	s := begun(a)
	if err := s.compose(a, r, o); err != nil {
		return err
	}
	return keep(a, s)
}

func keep(a *archive.Archive, s Status) error {
	if s.Wants() {
		return nil
	}
	b, err := json.Marshal(lately{settingsPrint(a.Config), s.Now.UTC(), s})
	if err != nil {
		return err
	}
	if err := wholefile.Replace(filepath.Join(a.Dir, latelyFile), 0o600, b); err != nil {
		a.Log.Warn("how the archive stands cannot be kept: "+err.Error(), "archive", a.Config.Name)
	}
	return nil
}

func forget(dir string) {
	if err := os.Remove(filepath.Join(dir, latelyFile)); err != nil && !errors.Is(err, fs.ErrNotExist) {
		_ = os.Truncate(filepath.Join(dir, latelyFile), 0) // what cannot be read is not believed
	}
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
	b, err := os.ReadFile(filepath.Join(dir, latelyFile))
	var was lately
	if err != nil || json.Unmarshal(b, &was) != nil || was.Settings != settingsPrint(cfg) || was.Status.Wants() {
		return Status{}, false
	}
	s := was.Status
	if age := now.Sub(was.At); age < 0 || age > latelyFor {
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
	for _, place := range append(roots(cfg, s), cfg.Folder) {
		if place == "" {
			continue
		}
		if info, err := os.Stat(place); err != nil || !info.IsDir() {
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
