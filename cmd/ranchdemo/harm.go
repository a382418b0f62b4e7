package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"time"

	"linecamp/cmd/ranchdemo/ranch"
)

// harm is what the story breaks, and what it remembers of it.
type harm struct {
	rotten string // the picture whose copy rotted, as people know it
	held   string // where the drive holds it
	good   []byte // what it should be

	gone *ranch.Visit    // the visit deleted from the folder
	kept map[string]file // every file of its site, by path below the site's folder
}

// file is a file as it was drawn.
type file struct {
	bytes    []byte
	modified time.Time
}

// The site and years that are harmed: nothing was lacking there.
const (
	rottenSite, rottenYear = "Playa Stake 5", 2015
	goneSite, goneYear     = "Windmill Stake 1", 2012
)

// break_ flips one bit of a picture on the drive without touching its size or
// time, as failing hardware does, and deletes one year of a site from the
// working folder, as people do.
func (s *story) break_(ctx context.Context) error {
	v := s.ranch.Visit(rottenSite, rottenYear)
	s.harm.rotten = v.Folder() + "/plot.jpg"
	var err error
	if s.harm.good, err = os.ReadFile(s.working(s.harm.rotten)); err != nil {
		return err
	}
	if s.harm.held, err = holding(s.at.drive(), s.harm.good); err != nil {
		return err
	}
	if err := flip(s.harm.held); err != nil {
		return err
	}
	s.harm.gone = s.ranch.Visit(goneSite, goneYear)
	site := s.harm.gone.Site
	if s.harm.kept, err = filesIn(s.working(site.Pasture + "/" + site.Name)); err != nil {
		return err
	}
	if err := os.RemoveAll(s.working(s.harm.gone.Folder())); err != nil {
		return err
	}
	s.say("\nOn the drive a bit flips in %s.", s.harm.rotten)
	s.say("Somebody deletes %s from the folder.", s.harm.gone.Folder())
	if _, err := s.linecamp.ask(ctx, "mirror"); err != nil { // the nightly one, as always: it deletes nothing on the copies
		return err
	}
	for name, f := range s.harm.kept {
		_, err := holding(s.at.drive(), f.bytes)
		s.expect(err == nil, "%s still has %s: %v", driveName, name, err)
	}
	return nil
}

func (s *story) working(name string) string {
	return filepath.Join(s.at.ranch(), filepath.FromSlash(name))
}

// holding finds the file below dir that has these bytes.
func holding(dir string, want []byte) (string, error) {
	found := ""
	err := filepath.WalkDir(dir, func(name string, d fs.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() {
			return err
		}
		if info, err := d.Info(); err != nil || info.Size() != int64(len(want)) {
			return err
		}
		b, err := os.ReadFile(name)
		if err == nil && bytes.Equal(b, want) {
			found = name
			return fs.SkipAll
		}
		return err
	})
	if err == nil && found == "" {
		err = fmt.Errorf("no file below %s has those bytes: %w", dir, fs.ErrNotExist)
	}
	return found, err
}

// flip turns one bit in the middle of a file and puts its time back.
func flip(name string) error {
	info, err := os.Stat(name)
	if err != nil {
		return err
	}
	if err := os.Chmod(name, 0o600); err != nil { // copies are kept read-only
		return err
	}
	f, err := os.OpenFile(name, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	var one [1]byte
	at := info.Size() / 2
	_, err = f.ReadAt(one[:], at)
	if err == nil {
		one[0] ^= 0x10
		_, err = f.WriteAt(one[:], at)
	}
	return errors.Join(err, f.Close(), os.Chmod(name, info.Mode().Perm()), os.Chtimes(name, info.ModTime(), info.ModTime()))
}

// mended reports whether the drive holds the picture as drawn again.
func (h *harm) mended() (bool, error) {
	b, err := os.ReadFile(h.held)
	return err == nil && bytes.Equal(b, h.good), err
}

// filesIn reads all files below a folder, by slash-separated path.
func filesIn(dir string) (map[string]file, error) {
	all := map[string]file{}
	err := filepath.WalkDir(dir, func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		b, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(dir, name)
		all[filepath.ToSlash(rel)] = file{b, info.ModTime()}
		return err
	})
	return all, err
}

// restore brings the harmed site's full history back beside the working folder,
// holds it against what was drawn, and then brings the deleted year home.
func (s *story) restore(ctx context.Context) error {
	site, year := s.harm.gone.Site, fmt.Sprint(s.harm.gone.Year)
	if err := s.screen(ctx, 2, "restore", site.Name, "--into", s.at.back()); err != nil {
		return err
	}
	got, err := filesIn(filepath.Join(s.at.back(), filepath.FromSlash(path.Join(site.Pasture, site.Name))))
	if err != nil {
		return err
	}
	for _, w := range differences(s.harm.kept, got) {
		s.expect(false, "%s", w)
	}
	s.expect(len(got) == len(s.harm.kept), "%d files are brought back; %d are.", len(s.harm.kept), len(got))
	return s.screen(ctx, 2, "restore", site.Name, "--year", year, "--into", s.at.ranch())
}

// differences lists what was not brought back as it was, or too much.
func differences(want, got map[string]file) []string {
	var wrong []string
	for name, w := range want {
		g, ok := got[name]
		switch {
		case !ok:
			wrong = append(wrong, name+" was brought back; it is not there")
		case !bytes.Equal(w.bytes, g.bytes):
			wrong = append(wrong, name+" is the same; its bytes differ")
		case !w.modified.Equal(g.modified):
			wrong = append(wrong, fmt.Sprintf("%s has its time, %s; it has %s", name, w.modified, g.modified))
		}
	}
	for name := range got {
		if _, ok := want[name]; !ok {
			wrong = append(wrong, name+" belongs to the site; it was never drawn")
		}
	}
	return wrong
}
