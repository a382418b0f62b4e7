// Package handover makes a bag (RFC 8493) of what one person hands to another: a
// site's pictures and notes for an agency, a client's whole record when the client
// leaves. Call [Run].
//
// # What goes in
//
// The newest bytes of every file in the full history of what was asked for, under
// people's own paths, each checked against the manifest on the way. Beside them
// stand the years as a table, and the archive's seal.
//
// # What stays out, unless it is asked for
//
// Where a site is, and whose the land is. So cards and waypoints stay out, and
// files that could tell it and cannot be looked through; each is named. A
// position in a picture is taken out of the picture. That changes its bytes, so
// the table of changes gives the digest that the record has for it.
//
// # How
//
// restore brings the files into a folder beside data/, each is looked through and
// put into data/, and bag.Finish makes the lists. What was stopped is carried on
// by the same call: a file that lies in data/ with the same bytes is done.
package handover

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/wholefile"
	"linecamp/manifest/words"
	"linecamp/verify"
	"linecamp/verify/bag"
	"linecamp/verify/restore"
)

// Options say what is handed over, and into which folder.
type Options struct {
	Archive       string        // its name
	Sites         []verify.Site // what is handed over
	Everything    bool          // all objects, instead of Sites
	Seal          *seal.Seal    // nil: the longest a source has
	SealLine      string        // as it is printed on paper; "" for none
	Years         []verify.Year // of the sites that are handed over
	Into          string        // the folder that becomes the bag; new or empty
	EveryVersion  bool          // also bytes that were replaced
	WithPositions bool          // also positions, cards, and files that may tell one
	Now           time.Time
	Progress      func(what string, done, total int64)
}

// Report is what was handed over.
type Report struct {
	Archive string `json:"archive"`
	Bag     string `json:"bag"`
	Files   int    `json:"files"`
	Bytes   int64  `json:"bytes"`
	Oxum    string `json:"oxum"` // of the payload, as in bag-info.txt
	// Blanked are pictures whose position was taken out.
	Blanked []string `json:"blanked"`
	// Left are files that stayed out because of where they could lead.
	Left []File `json:"left"`
	// Failed are files that should be in the bag, and of which no good bytes were
	// found; Missing are versions that no copy in reach has.
	Failed  []File            `json:"failed"`
	Missing []restore.Missing `json:"missing_versions,omitempty"`
}

// File is one file with what is to be said of it.
type File struct {
	Path   string `json:"path"`
	Reason string `json:"reason"`
}

// ErrInto marks a folder that cannot become a bag.
var ErrInto = errors.New("cannot become a bag")

// Wants reports whether something that was asked for is not in the bag.
func (r Report) Wants() bool { return len(r.Failed)+len(r.Missing) > 0 }

// taking is where restore puts files until they have been looked through.
const taking = ".linecamp-taking"

// Run makes the bag. Its error is for a bag that could not be made; files that
// are not in it are in the report.
func Run(ctx context.Context, sources []restore.Source, o Options) (Report, error) {
	rep := Report{Archive: o.Archive, Bag: o.Into, Blanked: []string{}, Left: []File{}, Failed: []File{}}
	if err := ready(o.Into); err != nil {
		return rep, err
	}
	leave := leaving{with: o.WithPositions}
	got, err := restore.Run(ctx, sources, restore.Options{
		Archive: o.Archive, Sites: o.Sites, Everything: o.Everything, Seal: o.Seal, EveryVersion: o.EveryVersion,
		Into: filepath.Join(o.Into, taking), Called: o.Into, Leave: leave.leave,
		Progress: func(done, total int64) { o.Progress("bring", done, total) },
	})
	if err != nil {
		return rep, err
	}
	for _, f := range got.Failed {
		rep.Failed = append(rep.Failed, File{Path: f.Path, Reason: f.Reason})
	}
	rep.Missing, rep.Left = got.Missing, append(rep.Left, leave.left...)
	root, err := os.OpenRoot(o.Into)
	if err != nil {
		return rep, err
	}
	defer root.Close()
	m := mover{root: root, with: o.WithPositions, rep: &rep}
	if err := m.all(ctx); err != nil {
		return rep, fmt.Errorf("the bag %s: %w", o.Into, err)
	}
	slices.SortFunc(rep.Left, func(a, b File) int { return strings.Compare(a.Path, b.Path) })
	slices.Sort(rep.Blanked)
	c := bag.Contents{Day: o.Now, Info: o.info(rep), Files: map[string][]byte{"years.csv": years(o.Years)}}
	if len(m.changes) > 0 {
		c.Files["changes.csv"] = changes(m.changes)
	}
	if rep.Oxum, err = bag.Finish(ctx, o.Into, c, func(done, total int64) { o.Progress("read back", done, total) }); err != nil {
		return rep, err
	}
	if _, err := fmt.Sscanf(rep.Oxum, "%d.%d", &rep.Bytes, &rep.Files); err != nil {
		return rep, err
	}
	// Until here it tells the same call, made again, that the folder is its own.
	return rep, root.RemoveAll(taking)
}

// ready reports, as ErrInto, why a folder cannot become a bag. What an earlier
// call that was stopped left in it does not stand in the way.
func ready(into string) error {
	if st, err := os.Stat(into); err == nil && !st.IsDir() {
		return fmt.Errorf("%s is not a folder, so it %w", into, ErrInto)
	}
	list, err := os.ReadDir(into)
	if errors.Is(err, fs.ErrNotExist) || err == nil && len(list) == 0 {
		return nil
	}
	if err != nil {
		return fmt.Errorf("%s %w: %w", into, ErrInto, err)
	}
	if _, err := os.Lstat(filepath.Join(into, taking)); err == nil {
		return nil
	}
	return fmt.Errorf("%s is not empty, so it %w; choose a new folder", into, ErrInto)
}

// leaving decides which files stay out.
type leaving struct {
	with bool // positions were asked for
	mu   sync.Mutex
	left []File
}

// leave is asked of each file before it is brought.
func (l *leaving) leave(name string, kind manifest.Kind) bool {
	if l.with {
		return false
	}
	why := ""
	switch {
	case kind == manifest.KindCard:
		why = "it tells where sites are, or whose the land is"
	case picture(name) || kind == manifest.KindNote:
		return false
	case kind == manifest.KindPhoto || kind == manifest.KindCompanion:
		why = "a position cannot be taken out of a file of its kind"
	default:
		why = "linecamp does not know what is in it"
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.left = append(l.left, File{name, why})
	return true
}

// mover puts what was brought into data/.
type mover struct {
	root    *os.Root
	with    bool
	rep     *Report
	changes []change
}

// change is a picture whose bytes are not those of the record.
type change struct {
	path     string
	recorded manifest.Digest
}

// all moves every file and makes the names last.
func (m *mover) all(ctx context.Context) error {
	err := fs.WalkDir(m.root.FS(), taking, func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		return m.one(strings.TrimPrefix(p, taking+"/"))
	})
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return m.sync()
}

// mostBytes is the largest picture that is looked through; it is read as a whole.
const mostBytes = 256 << 20

// one looks one file through and puts it into data/. What is there already is
// what an earlier call put there, and is written again if it is not the same.
func (m *mover) one(name string) error {
	from, to := path.Join(taking, name), path.Join("data", name)
	if err := m.root.MkdirAll(path.Dir(to), 0o777); err != nil {
		return err
	}
	if m.with || !picture(name) {
		return m.root.Rename(from, to)
	}
	st, err := m.root.Stat(from)
	if err != nil {
		return err
	}
	if st.Size() > mostBytes {
		return m.leave(name, from, "it is too large to be looked through for a position")
	}
	b, err := m.root.ReadFile(from)
	if err != nil {
		return err
	}
	recorded := manifest.Sum(b)
	changed, sure := blankPositions(b)
	if !sure {
		return m.leave(name, from, "it may tell a position that cannot be taken out")
	}
	if !changed {
		return m.root.Rename(from, to)
	}
	m.rep.Blanked = append(m.rep.Blanked, name)
	m.changes = append(m.changes, change{name, recorded})
	if old, err := m.root.ReadFile(to); err == nil && bytes.Equal(old, b) {
		return nil
	}
	return m.write(from, to, b, st.ModTime())
}

// leave names a file that stays out.
func (m *mover) leave(name, from, why string) error {
	m.rep.Left = append(m.rep.Left, File{name, why})
	return m.root.Remove(from)
}

// write gives the changed bytes of a picture their name in data/.
func (m *mover) write(from, to string, b []byte, modified time.Time) error {
	temp := from + ".blank"
	_ = m.root.Remove(temp) // of a run that was ended
	draft, err := wholefile.BeginIn(m.root, temp, to, 0)
	if err != nil {
		return err
	}
	defer draft.Drop()
	if _, err := draft.Write(b); err != nil {
		return err
	}
	if err := draft.Finish(); err != nil {
		return err
	}
	if err := m.root.Chtimes(temp, modified, modified); err != nil {
		return err
	}
	return draft.Replace()
}

// sync makes the names in data/ durable.
func (m *mover) sync() error {
	return fs.WalkDir(m.root.FS(), "data", func(p string, d fs.DirEntry, err error) error {
		if errors.Is(err, fs.ErrNotExist) {
			return m.root.Mkdir("data", 0o777) // nothing was brought
		}
		if err != nil || !d.IsDir() {
			return err
		}
		dir, err := m.root.Open(p)
		if err != nil {
			return err
		}
		return errors.Join(wholefile.SyncOpen(dir), dir.Close())
	})
}

// info is what bag-info.txt says beside the sizes.
func (o Options) info(rep Report) []bag.Tag {
	tags := []bag.Tag{{Label: "External-Identifier", Value: o.Archive}}
	var names []string
	for _, s := range o.Sites {
		names = append(names, s.Label())
	}
	what := "the photo-monitoring record of " + strings.Join(names, "; ")
	if o.Everything {
		what = "the whole photo-monitoring record"
	}
	tags = append(tags, bag.Tag{Label: "External-Description", Value: what})
	if o.SealLine != "" {
		tags = append(tags, bag.Tag{Label: "Linecamp-Seal", Value: o.SealLine})
	}
	positions := "included"
	if !o.WithPositions {
		positions = fmt.Sprintf("left out; %s changed for it, %s not in the bag", words.Count(len(rep.Blanked), "picture"), words.Count(len(rep.Left), "file"))
	}
	return append(tags, bag.Tag{Label: "Linecamp-Positions", Value: positions})
}
