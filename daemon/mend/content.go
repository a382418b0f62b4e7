package mend

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

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/verify"
)

// need is a damaged file that good bytes are looked for.
type need struct {
	copy   verify.Copy
	damage verify.Damage
	digest manifest.Digest
	why    []string // what was tried in vain
}

// content mends a file that the manifest names.
func (m *mender) content(ctx context.Context, c verify.Copy, d verify.Damage) {
	inv := m.judge(ctx, c, d.Object)
	if inv == nil {
		m.unmended(d, false, "no copy in reach has a readable manifest of this site, so what belongs here is not known")
		return
	}
	want, ok := m.index(inv).digests[d.Content]
	if !ok {
		m.unmended(d, false, "the manifest no longer names %s; run `linecamp verify` again", d.Content)
		return
	}
	if m.goodAlready(ctx, c, inv, d, want) {
		return
	}
	n := need{copy: c, damage: d, digest: want}
	for _, s := range m.candidates(ctx, n, inv) {
		if m.try(ctx, &n, s) || ctx.Err() != nil {
			return
		}
	}
	m.late = append(m.late, n)
}

// goodAlready looks at the file once more: it may have been put right since.
func (m *mender) goodAlready(ctx context.Context, c verify.Copy, inv *manifest.Inventory, d verify.Damage, want manifest.Digest) bool {
	f, info, err := c.Root.OpenFresh(ctx, d.Object+"/"+d.Content)
	if err != nil {
		return false
	}
	defer f.Close()
	if !m.fits(ctx, inv, want, info.Size) {
		return false
	}
	got, size, err := manifest.Copy(ctx, nil, io.LimitReader(f, info.Size+1))
	if err != nil || got != want {
		return false
	}
	info.Size = size
	m.remember(c, d, want, info)
	m.mended(d, c.Name, true)
	return true
}

// place is somewhere good bytes may be.
type place struct {
	from string
	size func(context.Context) (int64, error)
	open func(context.Context) (io.ReadCloser, error)
}

// who is where they are as a person calls it.
func (p place) who() string {
	if p.from == verify.WorkingName {
		return "your folder"
	}
	return p.from
}

// onCopy is a file on a copy. What does not fit in size is not read.
func onCopy(c verify.Copy, key string, fits func(size int64) bool) place {
	return place{
		from: c.Name,
		size: func(ctx context.Context) (int64, error) {
			info, err := c.Root.Stat(ctx, key)
			if err == nil && !fits(info.Size) {
				err = store.ErrDigest
			}
			return info.Size, err
		},
		open: func(ctx context.Context) (io.ReadCloser, error) {
			f, _, err := c.Root.Open(ctx, key)
			return f, err
		},
	}
}

// inFolder is a file of the working folder. Links are not followed out of it.
func inFolder(folder, raw string) place {
	open := func() (*os.File, error) {
		root, err := os.OpenRoot(folder)
		if err != nil {
			return nil, err
		}
		defer root.Close()
		st, err := root.Lstat(raw)
		if err == nil && !st.Mode().IsRegular() {
			err = fs.ErrNotExist
		}
		if err != nil {
			return nil, err
		}
		return root.Open(raw)
	}
	return place{
		from: verify.WorkingName,
		size: func(context.Context) (int64, error) {
			f, err := open()
			if err != nil {
				return 0, err
			}
			defer f.Close()
			st, err := f.Stat()
			if err != nil {
				return 0, err
			}
			return st.Size(), nil
		},
		open: func(context.Context) (io.ReadCloser, error) { return open() },
	}
}

// candidates are the places of the same object that should have the bytes, the
// nearest first: other drives, the working folder, then what has to be
// downloaded.
func (m *mender) candidates(ctx context.Context, n need, inv *manifest.Inventory) []place {
	var drives, far []place
	fits := func(size int64) bool { return m.fits(ctx, inv, n.digest, size) }
	for _, c := range m.Copies {
		its := inv
		if own := m.ownOf(ctx, c, inv.Slug()); own != nil && !m.agree(own, inv) {
			its = own
		}
		for _, p := range its.Content[n.digest] {
			itself := c.Name == n.copy.Name && inv.Slug() == n.damage.Object && p == n.damage.Content
			if itself || m.lost[c.Name] != "" || m.bad[[3]string{c.Name, inv.Slug(), p}] {
				continue
			}
			if c.Root.Can().Local {
				drives = append(drives, onCopy(c, inv.Slug()+"/"+p, fits))
			} else {
				far = append(far, onCopy(c, inv.Slug()+"/"+p, fits))
			}
		}
	}
	if n.digest == inv.State(inv.Head())[manifest.RecordPath] {
		if raw := m.cachedRecord(inv); raw != nil {
			drives = append(drives, atHand(raw))
		}
	} else if raw := m.earlierRecord(ctx, inv, n.digest); raw != nil {
		drives = append(drives, atHand(raw))
	}
	return append(append(drives, m.workingPlaces(ctx, n.digest, inv)...), far...)
}

// atHand is bytes that need no reading.
func atHand(b []byte) place {
	return place{
		from: "manifest",
		size: func(context.Context) (int64, error) { return int64(len(b)), nil },
		open: func(context.Context) (io.ReadCloser, error) { return io.NopCloser(bytes.NewReader(b)), nil },
	}
}

// workingPlaces are the files of the working folder that had the bytes when the
// newest version was made.
func (m *mender) workingPlaces(ctx context.Context, d manifest.Digest, inv *manifest.Inventory) []place {
	if m.Folder == "" {
		return nil
	}
	paths := m.index(inv).paths[d]
	if len(paths) == 0 {
		return nil
	}
	rec := m.record(ctx, inv)
	if rec == nil {
		return nil
	}
	var out []place
	for _, p := range paths {
		if raw := verify.WorkingPath(rec, p); raw != "" {
			out = append(out, inFolder(m.Folder, raw))
		}
	}
	return out
}

// bad is what is wrong with the bytes at a place, nil where they are good.
func (p place) bad(ctx context.Context, want manifest.Digest) error {
	if _, err := p.size(ctx); err != nil {
		return err
	}
	f, err := p.open(ctx)
	if err != nil {
		return err
	}
	defer f.Close()
	got, _, err := manifest.Copy(ctx, nil, f)
	if err == nil && got != want {
		err = store.ErrDigest
	}
	return err
}

// notPlaced is said of good bytes that could not be put where they belong.
const notPlaced = "%s has good bytes, but they could not be put in place: %v"

// try mends from one place; false if that had no good bytes.
func (m *mender) try(ctx context.Context, n *need, p place) bool {
	size, err := p.size(ctx)
	key := n.damage.Object + "/" + n.damage.Content
	if err == nil {
		err = n.copy.Root.Mend(ctx, key, store.Content{Size: size, SHA256: n.digest, Open: p.open}, m.Aside)
	}
	if ctx.Err() != nil {
		return false
	}
	if err != nil {
		m.failed(ctx, n.copy.Name, err)
		m.failed(ctx, p.from, err)
		if bad := p.bad(ctx, n.digest); bad != nil {
			n.why = append(n.why, p.who()+": "+reason(bad))
			return false
		}
		m.unmended(n.damage, false, notPlaced, p.who(), err)
		return true
	}
	info, err := n.copy.Root.Stat(ctx, key)
	if err == nil {
		m.remember(n.copy, n.damage, n.digest, info)
	}
	m.mended(n.damage, p.from, false)
	return true
}

func reason(err error) string {
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "it is not there"
	case errors.Is(err, store.ErrDigest):
		return "the bytes there are not those of the manifest"
	}
	return strings.Join(strings.Fields(err.Error()), " ")
}

// remember notes what Mend, or a reading, just read back.
func (m *mender) remember(c verify.Copy, d verify.Damage, want manifest.Digest, info store.Info) {
	if m.Memory == nil || d.Object == "" {
		return
	}
	now := m.Now().UTC()
	h := verify.Held{Path: d.Content, SHA256: want, Size: info.Size, ETag: info.ETag, ReadBack: now}
	if info.SHA256 == want {
		h.Confirmed = now
	}
	// A cache: if this fails, the file is read again.
	_ = m.Memory.Remember(c.Key(), d.Object, []verify.Held{h})
}

// lastResort looks through all other objects for bytes that were found nowhere
// in their own: a file moved to another site is kept there.
func (m *mender) lastResort(ctx context.Context) {
	if len(m.late) == 0 {
		return
	}
	open := map[manifest.Digest][]*need{}
	for i := range m.late {
		n := &m.late[i]
		open[n.digest] = append(open[n.digest], n)
	}
	done := map[*need]bool{}
	seen := map[string]bool{}
	for _, c := range m.Copies {
		objects, err := store.Objects(ctx, c.Root)
		if err != nil {
			continue
		}
		for _, object := range objects {
			if seen[object] {
				continue
			}
			seen[object] = true
			m.about(object)
			inv := m.newest(ctx, object)
			if inv == nil {
				continue
			}
			for d := range inv.Content {
				for _, n := range open[d] {
					if done[n] || n.damage.Object == object {
						continue
					}
					for _, p := range m.candidates(ctx, *n, inv) {
						if m.try(ctx, n, p) {
							done[n] = true
							break
						}
						if ctx.Err() != nil {
							return
						}
					}
				}
			}
		}
	}
	for i := range m.late {
		n := &m.late[i]
		if done[n] || ctx.Err() != nil {
			continue
		}
		tried := ""
		if len(n.why) > 0 {
			tried = " (" + strings.Join(n.why, "; ") + ")"
		}
		m.unmended(n.damage, true, "NO GOOD COPY ANYWHERE in reach%s. A card, an old drive or a mailbox may still have it: put it back into your folder and run `linecamp mirror`, then `linecamp mend`", tried)
	}
}

// asideFile makes a new file in the folder for bad bytes.
func (m *mender) asideFile(name string) (*os.File, error) {
	if m.Aside == "" {
		return nil, errors.New("no folder was given to keep the bad bytes in")
	}
	if err := os.MkdirAll(m.Aside, 0o700); err != nil {
		return nil, err
	}
	stamp := m.Now().UTC().Format("20060102T150405.000000000Z")
	name = strings.Map(func(r rune) rune {
		if r == '/' || r == filepath.Separator || r < ' ' || strings.ContainsRune(`:*?"<>|`, r) {
			return '_'
		}
		return r
	}, name)
	if len(name) > 150 {
		name = name[len(name)-150:]
	}
	return os.OpenFile(filepath.Join(m.Aside, fmt.Sprintf("%s-%s", stamp, strings.ToValidUTF8(name, "_"))), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
}
