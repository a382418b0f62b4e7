// Package mend replaces damaged bytes by good ones from another copy. Call [Run]
// with the damage that a check found.
//
// For each damaged file the manifest says which bytes belong there. They are
// looked for on every other copy, then in the working folder, and last in the
// rest of the archive, since the same bytes may be kept under another site. Only
// bytes whose SHA-256 is that of the manifest ever take the place of others, and
// what they replace is set aside, never deleted. Afterwards they are read back.
//
// A working file belongs to a person: it is mended only if it is altered while
// its size and time are unchanged, and that is looked at again just before.
//
// Strays are left alone, and so is a manifest that was rewritten rather than
// damaged: nothing here decides which of two histories is the right one.
package mend

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strings"
	"time"

	"linecamp/daemon/authority"
	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
	"linecamp/verify"
)

// In is what mend works with.
type In struct {
	Archive string
	Damage  []verify.Damage // from a verification just done, or remembered
	// Unfinished names objects, by copy name, whose root pair is to be rewritten.
	Unfinished map[string][]string
	// Copies are all copies in reach, to mend and to take from. The caller holds
	// the lock of those drives that have damage.
	Copies   []verify.Copy
	Only     string        // mend only this copy (or "working"); "" is all
	Folder   string        // the working folder; "" where there is none
	Memory   verify.Memory // may be nil
	Seal     *seal.Seal    // as the author has it; may be nil
	Settings []byte        // what the copies keep for a new computer
	Aside    string        // local folder for bad bytes set aside
	Expected func(object string) (*manifest.Inventory, error)
	// Record returns the newest record of an object as the state folder has it,
	// which may be the last good one. May be nil.
	Record   func(object string) ([]byte, error)
	Now      func() time.Time
	Progress func(done, total int64) // files
}

// Report is what was mended, and what was not.
type Report struct {
	Archive  string     `json:"archive"`
	Mended   []Mended   `json:"mended"`
	Unmended []Unmended `json:"unmended"`
	Strays   int        `json:"strays"` // files that linecamp did not put there
	// Left are those files, left where they are: only a person can tell whether
	// they may go.
	Left []Left `json:"left_alone"`
	// Unreached are the copies that nothing could be done on, nor known of now.
	Unreached []Unreached `json:"out_of_reach,omitempty"`
}

// Unreached is a copy that could not be looked at, or the working folder.
type Unreached struct {
	Copy   string `json:"copy"`
	Reason string `json:"reason"`
}

// Left is a file on a copy that linecamp did not put there.
type Left struct {
	Copy   string `json:"copy"`
	Path   string `json:"path"`
	Detail string `json:"detail"`
}

// Mended is one file put right.
type Mended struct {
	Copy string `json:"copy"`
	Site string `json:"site"`
	Path string `json:"path"`
	// From is the copy the good bytes came from, "working", or "manifest" where
	// they were made again from what the manifests say.
	From    string `json:"from"`
	Already bool   `json:"already,omitempty"` // it was good when it was looked at again
	Object  string `json:"object,omitempty"`
	Content string `json:"content,omitempty"`
}

// Unmended is one file that could not be put right.
type Unmended struct {
	Copy    string `json:"copy"`
	Site    string `json:"site"`
	Path    string `json:"path"`
	Reason  string `json:"reason"`
	Nowhere bool   `json:"nowhere"` // no good bytes on any copy in reach, nor in the working folder
}

// Wants reports whether something is still damaged, or may be where nothing could
// be looked at; a file that does not belong on a copy is until somebody took it
// away.
func (r Report) Wants() bool { return len(r.Unmended)+len(r.Left)+len(r.Unreached) > 0 }

// Run mends what can be mended. What cannot is in the report; the error is for
// a context that ended.
func Run(ctx context.Context, in In) (Report, error) {
	if in.Now == nil {
		in.Now = time.Now
	}
	m := &mender{In: in, rep: Report{Archive: in.Archive, Mended: []Mended{}, Unmended: []Unmended{}, Left: []Left{}},
		bad: map[[3]string]bool{}, newer: map[string]bool{}, lost: map[string]string{}}
	var todo, gone []verify.Damage
	for _, d := range in.Damage {
		switch {
		case d.Kind == verify.Stray:
			if m.wanted(d.Copy) && m.movedOff(ctx, d) {
				m.mended(d, "", true)
			} else if m.wanted(d.Copy) {
				m.rep.Strays++
				m.rep.Left = append(m.rep.Left, Left{d.Copy, d.Path, d.Detail})
			}
			continue
		case d.Copy != verify.WorkingName:
			m.bad[[3]string{d.Copy, d.Object, d.Content}] = true
		}
		switch {
		case !m.wanted(d.Copy):
		case d.Path == verify.InventoryPath && d.Kind == verify.Gone:
			gone = append(gone, d)
		default:
			todo = append(todo, d)
		}
	}
	// Manifests first: what else is wrong is judged by them. Then newest
	// versions first is no better than any other order, so the given one stays.
	slices.SortStableFunc(todo, func(a, b verify.Damage) int { return rank(a) - rank(b) })
	for i, d := range todo {
		m.one(ctx, d)
		if ctx.Err() != nil {
			return m.rep, context.Cause(ctx)
		}
		if in.Progress != nil {
			in.Progress(int64(i+1), int64(len(todo)))
		}
	}
	m.lastResort(ctx)
	m.manifests(ctx, gone)
	for _, c := range in.Copies {
		if !m.wanted(c.Name) || m.lost[c.Name] != "" || m.isNewer(ctx, c) {
			continue
		}
		for _, object := range m.unfinished(c.Name) {
			m.settle(ctx, c, object)
		}
	}
	if ctx.Err() != nil {
		return m.rep, context.Cause(ctx)
	}
	return m.rep, nil
}

// unfinished are the objects of a copy whose root pair is to be written: those
// that a check found so, and those of which a manifest was put back.
func (m *mender) unfinished(copy string) []string {
	objects := slices.Clone(m.Unfinished[copy])
	for _, d := range m.rep.Mended {
		if d.Copy == copy && d.Path == verify.InventoryPath && !d.Already && !slices.Contains(objects, d.Object) {
			objects = append(objects, d.Object)
		}
	}
	return objects
}

// failed takes note of a copy that an error may be about: one that no longer says
// which copy it is, is left in peace, and the others are mended.
func (m *mender) failed(ctx context.Context, name string, err error) {
	if !fault.Of(err).OfCopy() || m.lost[name] != "" || ctx.Err() != nil {
		return
	}
	if c, ok := m.copy(name); ok {
		if _, err := c.Root.Identity(ctx); err != nil && ctx.Err() == nil {
			m.lost[name] = err.Error()
		}
	}
}

// movedOff reports that somebody took away what did not belong on a copy.
func (m *mender) movedOff(ctx context.Context, d verify.Damage) bool {
	c, ok := m.copy(d.Copy)
	if !ok {
		return false
	}
	key := path.Join(d.Object, d.Content)
	if strings.HasSuffix(d.Path, "/") { // a whole folder
		for range c.Root.List(ctx, key) {
			return false
		}
		return ctx.Err() == nil
	}
	_, err := c.Root.Stat(ctx, key)
	return errors.Is(err, fs.ErrNotExist)
}

// rank puts manifests before content.
func rank(d verify.Damage) int {
	switch d.Path {
	case verify.RootPath, verify.SealPath, verify.InventoryPath, verify.SettingsPath:
		return 0
	case manifest.RecordPath:
		return 1
	}
	return 2
}

// manifests puts back the manifests that went from a copy, after all content, the
// oldest version first: a version is there again once its sidecar is, and then it
// must have its files. Of a site whose newest versions went, a version that lacks
// a file stays away, and so do those after it; where a later one is there, nothing
// waits.
func (m *mender) manifests(ctx context.Context, gone []verify.Damage) {
	slices.SortStableFunc(gone, func(a, b verify.Damage) int {
		return cmp.Or(strings.Compare(a.Copy, b.Copy), strings.Compare(a.Object, b.Object), a.Version-b.Version, strings.Compare(a.Content, b.Content))
	})
	held := map[[2]string]bool{}
	for _, d := range gone {
		at := [2]string{d.Copy, d.Object}
		if !held[at] {
			held[at] = m.lacksFiles(ctx, d)
		}
		if ctx.Err() != nil {
			return
		}
		if held[at] {
			m.unmended(d, false, "its version went from this copy, and not all of its files can be had now; `linecamp mirror` sends it again as soon as they can")
			continue
		}
		m.one(ctx, d)
	}
}

// lacksFiles reports whether files of a version that went could not be put back,
// where no later version is there.
func (m *mender) lacksFiles(ctx context.Context, d verify.Damage) bool {
	for key := range m.bad {
		if key[0] != d.Copy || key[1] != d.Object || !strings.HasPrefix(key[2], fmt.Sprintf("v%d/content/", d.Version)) {
			continue
		}
		c, ok := m.copy(d.Copy)
		if !ok {
			return false // one says that it is out of reach
		}
		_, err := c.Root.Stat(ctx, fmt.Sprintf("%s/v%d/inventory.json.sha256", d.Object, d.Version+1))
		return err != nil
	}
	return false
}

type mender struct {
	In
	rep   Report
	bad   map[[3]string]bool // copy, object, content path: known to be damaged
	late  []need             // nowhere to be found so far
	lost  map[string]string  // copies that no longer answer, and why
	newer map[string]bool    // whether a newer program recorded on a copy, where that was asked
	seen
	sealed verify.Sealed // what the seal says; nil before it was asked
}

// isNewer reports whether a newer program recorded on a copy: nothing is written there.
func (m *mender) isNewer(ctx context.Context, c verify.Copy) bool {
	if is, asked := m.newer[c.Name]; asked {
		return is
	}
	log, err := store.ReadSeal(ctx, c.Root)
	is := err == nil && log.Newer()
	if is {
		best, _ := m.longestSeal(ctx, c.Name)
		is = best == nil || !log.Rotted(best)
	}
	if ctx.Err() == nil {
		m.newer[c.Name] = is
	}
	return is
}

func (m *mender) wanted(copy string) bool { return m.Only == "" || m.Only == copy }

func (m *mender) copy(name string) (verify.Copy, bool) {
	for _, c := range m.Copies {
		if c.Name == name {
			return c, true
		}
	}
	return verify.Copy{}, false
}

func (m *mender) mended(d verify.Damage, from string, already bool) {
	m.rep.Mended = append(m.rep.Mended, Mended{Copy: d.Copy, Site: d.Site, Path: d.Path, From: from, Already: already, Object: d.Object, Content: d.Content})
	delete(m.bad, [3]string{d.Copy, d.Object, d.Content})
}

func (m *mender) unmended(d verify.Damage, nowhere bool, format string, args ...any) {
	reason := strings.Join(strings.Fields(fmt.Sprintf(format, args...)), " ")
	m.rep.Unmended = append(m.rep.Unmended, Unmended{Copy: d.Copy, Site: d.Site, Path: d.Path, Reason: reason, Nowhere: nowhere})
}

// one puts one finding right, if it can be.
func (m *mender) one(ctx context.Context, d verify.Damage) {
	m.about(d.Object)
	if d.Copy == verify.WorkingName {
		m.working(ctx, d)
		return
	}
	c, ok := m.copy(d.Copy)
	switch {
	case !ok:
		m.unmended(d, false, "the copy is out of reach; run `linecamp mend` again when it is back")
	case m.lost[c.Name] != "":
		m.unmended(d, false, "the copy is out of reach (%s); run `linecamp mend` again when it is back", m.lost[c.Name])
	case m.isNewer(ctx, c):
		m.unmended(d, false, "%v", authority.ErrNewer)
	case d.Path == verify.RootPath:
		m.rootFile(ctx, c, d)
	case d.Path == verify.SealPath:
		m.seal(ctx, c, d)
	case d.Path == verify.SettingsPath && strings.Contains(d.Content, manifest.Sum(m.Settings).String()[:8]):
		m.put(ctx, c, d, d.Content, m.Settings, FromRecord)
	case d.Path == verify.SettingsPath:
		m.unmended(d, false, "the settings of this computer have changed since, so it cannot write these bytes again; run `linecamp mirror`, which writes the new ones, then `linecamp verify`")
	case d.Path == verify.InventoryPath:
		m.inventory(ctx, c, d)
	default:
		m.content(ctx, c, d)
	}
}
