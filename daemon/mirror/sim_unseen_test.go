package mirror

import (
	"context"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"time"

	"linecamp/daemon/mirror/plan"
	"linecamp/daemon/mirror/report"
	"linecamp/manifest"
	"linecamp/verify/restore"
)

// bring does what a report asks where something on record was never in the folder,
// as far as the machine knows: files with older bytes are moved away, and what the
// newest versions have comes back. It tells whether anything may still come.
func (s *sim) bring(m *machine, rep report.Report) (more bool) {
	rows, err := m.led.Unseen()
	s.must(err)
	for slug, row := range rows {
		if row.Open {
			more = true
		}
		v := s.heads[slug]
		for logical, d := range row.Paths {
			if v == nil || v.rec == nil || v.inv.State(v.inv.Head())[logical] != d || !s.anywhere(d) {
				continue
			}
			raw := manifest.RawPath(v.rec.Base, logical, v.rec.Paths[logical])
			if s.overlaps(raw) || s.isFolder(raw) || s.countsElsewhere(slug, raw) {
				simTaken++ // of another site now; only a person can make room for it
				s.takenPlace[raw] = true
				continue
			}
			more = true
		}
	}
	if len(s.files) == 0 || !more {
		return false // a folder without any file is never compared
	}
	for _, w := range rep.Waiting {
		if w.Reason == plan.ReasonNewer && s.files[w.Path] != nil {
			s.remove(w.Path)
		}
	}
	ctx := context.Background()
	copies, leave := s.reach(ctx)
	defer leave()
	var from []restore.Source
	for _, c := range copies {
		if c.Err == nil {
			from = append(from, restore.Source{Name: c.Name, Root: c.Root})
		}
	}
	brought, err := restore.Run(ctx, from, restore.Options{Everything: true, Into: s.folder, On: s.now.Add(time.Hour).Format(time.RFC3339), Workers: 1})
	s.must(err)
	s.t.Logf("%v are recoverable, and brought with failures %+v", rows, brought.Failed)
	s.must(filepath.WalkDir(s.folder, func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		path, err := filepath.Rel(s.folder, name)
		if err != nil || s.files[filepath.ToSlash(path)] != nil {
			return err
		}
		b, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		path = filepath.ToSlash(path)
		s.files[path] = &simFile{bytes: b, modified: info.ModTime()}
		s.meant(path, manifest.Sum(b))
		simBrought++
		return nil
	}))
	return true
}

// isFolder reports whether a folder has the name of a file on record.
func (s *sim) isFolder(raw string) bool {
	info, err := os.Stat(filepath.Join(s.folder, filepath.FromSlash(raw)))
	return err == nil && info.IsDir()
}

// countsElsewhere reports whether the file that stands there is on record for another
// site.
func (s *sim) countsElsewhere(slug, raw string) bool {
	f := s.files[raw]
	for other, v := range s.heads {
		if other == slug || v.rec == nil || f == nil {
			continue
		}
		for logical, e := range v.rec.Paths {
			if manifest.RawPath(v.rec.Base, logical, e) == raw && slices.Contains(f.may(), v.inv.State(v.inv.Head())[logical]) {
				return true
			}
		}
	}
	return false
}

var simTaken int // files that could not come back, since a folder has their name

var simBrought int // files that came back so
