package drive

import (
	"context"
	"errors"
	"io/fs"
	"path"
	"strings"
	"sync"
	"syscall"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
)

// build is one version being built in staging. Below
// extensions/linecamp-staging/OBJECT it has the shape the object will have:
// vN with its content, and the root pair that is to come. A new object is
// renamed into the root as that whole folder, a further version as its vN.
type build struct {
	d       *Drive
	object  string
	version int
	isNew   bool // the object has no committed version yet
	resumed bool // something was staged by an earlier try

	mu   sync.Mutex
	put  map[string]manifest.Digest // object-relative content path → digest
	done bool
}

func (b *build) staged(name string) string {
	return store.StagingFolder + "/" + b.object + "/" + name
}

// Begin starts or resumes a version; see recover.go for what it puts right
// first. Files staged by a run that was killed are used again if their bytes
// still match.
func (d *Drive) Begin(ctx context.Context, object string, version int) (store.Build, error) {
	n, err := store.HeadNumber(ctx, d, object)
	if err != nil {
		return nil, err
	}
	if err := d.checkAbove(ctx, object, n); err != nil {
		return nil, err
	}
	if err := store.CheckNext(d, object, n, version); err != nil {
		return nil, err
	}
	if err := d.clearWay(object, n); err != nil {
		return nil, err
	}
	b := &build{d: d, object: object, version: version, isNew: n == 0, put: map[string]manifest.Digest{}}
	names, err := d.names(store.StagingFolder + "/" + object)
	if err != nil {
		return nil, err
	}
	for _, name := range names {
		if name == store.VersionName(version) {
			b.resumed = true
			continue
		}
		if err := d.removeStaged(b.staged(name)); err != nil {
			return nil, d.fail("clearing", b.staged(name), err)
		}
	}
	return b, nil
}

func (b *build) Found() map[string]store.Info { return nil }

func (b *build) Put(ctx context.Context, p string, c store.Content) (store.Info, error) {
	if err := errors.Join(ctx.Err(), store.CheckContentPath(p, b.version)); err != nil {
		return store.Info{}, err
	}
	b.mu.Lock()
	done, had := b.put[p]
	b.mu.Unlock()
	if had {
		if done == c.SHA256 {
			return store.Info{Key: b.object + "/" + p, Size: c.Size, SHA256: done}, nil
		}
		return store.Info{}, fault.Say(store.ErrConflict, "%s was already stored with other bytes", p)
	}
	if b.d.most > 0 && c.Size > b.d.most { // found out before 4 GiB are written in vain
		return store.Info{}, b.d.fail("storing", b.object+"/"+p, syscall.EFBIG)
	}
	name := b.staged(p)
	s, err := b.d.write(ctx, name, c, !b.d.disk.SyncsAll())
	if errors.Is(err, fs.ErrExist) {
		s, err = b.again(ctx, name, c)
	}
	if err != nil {
		return store.Info{}, b.d.fail("storing", b.object+"/"+p, err)
	}
	b.mu.Lock()
	b.put[p] = s.SHA256
	b.mu.Unlock()
	return store.Info{Key: b.object + "/" + p, Size: s.Size, SHA256: s.SHA256, XXH64: s.XXH64}, nil
}

// again keeps what an earlier try staged if it is whole, and writes it anew if
// not. What this try put is never touched: where the drive takes two names for
// one, the second has no place.
func (b *build) again(ctx context.Context, name string, c store.Content) (store.Sums, error) {
	b.mu.Lock()
	for p := range b.put {
		if strings.EqualFold(b.staged(p), name) {
			b.mu.Unlock()
			return store.Sums{}, fault.Say(store.ErrConflict, "this drive does not tell it from %s", p)
		}
	}
	b.mu.Unlock()
	if info, err := b.d.Stat(ctx, name); err == nil && info.Size == c.Size {
		s, _, err := store.DigestOf(ctx, b.d, name, false)
		if err != nil && ctx.Err() != nil {
			return store.Sums{}, err
		}
		if err == nil && s.SHA256 == c.SHA256 {
			return s, b.syncStaged(name)
		}
	}
	if err := b.d.removeStaged(name); err != nil {
		return store.Sums{}, err
	}
	return b.d.write(ctx, name, c, !b.d.disk.SyncsAll())
}

// syncStaged makes a file that another try wrote durable: that try may have been
// killed before it could.
func (b *build) syncStaged(name string) error {
	if b.d.disk.SyncsAll() {
		return nil // Commit does
	}
	return b.d.syncFile(name)
}

func (b *build) Close() error {
	if !b.done {
		b.tidy()
	}
	return nil
}

// tidy removes the staging folders that are empty.
func (b *build) tidy() {
	b.d.removeEmpty(store.StagingFolder + "/" + b.object)
	b.d.disk.Remove(store.StagingFolder)
}

// Commit makes the version part of the copy. See recover.go for what a
// crash between any two steps leaves.
func (b *build) Commit(ctx context.Context, inventory []byte) error {
	paths, err := store.CheckCommit(inventory, b.object, b.version)
	if err != nil {
		return err
	}
	if err := b.agree(ctx, paths); err != nil {
		return err
	}
	if err := b.finishStaging(ctx, inventory); err != nil {
		return b.d.fail("committing", store.VersionFile(b.object, b.version, ""), err)
	}
	if err := b.moveIn(); err != nil {
		return b.d.fail("committing", store.VersionFile(b.object, b.version, ""), err)
	}
	b.done = true
	b.tidy()
	return nil
}

// agree makes staging hold exactly what the inventory names for this version,
// less what nobody has. Files left by an earlier try and not Put in this one
// stay if their bytes are right.
func (b *build) agree(ctx context.Context, paths map[string]manifest.Digest) error {
	drop := map[string]bool{}
	for p, d := range b.put {
		want, named := paths[p]
		if named && want != d {
			return fault.Say(store.ErrConflict, "%s was stored with other bytes than the inventory names", p)
		}
		if !named {
			drop[p] = true
		}
	}
	if b.resumed {
		content := b.staged(store.VersionName(b.version))
		for info, err := range b.d.List(ctx, content) {
			if err != nil {
				return err
			}
			p := info.Key[len(b.staged("")):]
			if _, ours := b.put[p]; ours {
				continue
			}
			want, named := paths[p]
			if named {
				s, _, err := store.DigestOf(ctx, b.d, info.Key, false)
				if err != nil && ctx.Err() != nil {
					return err
				}
				if err == nil && s.SHA256 == want {
					if err := b.syncStaged(info.Key); err != nil {
						return b.d.fail("syncing", info.Key, err)
					}
					b.put[p] = want
					continue
				}
			}
			drop[p] = true
		}
	}
	for p := range drop {
		if err := b.d.removeStaged(b.staged(p)); err != nil {
			return b.d.fail("clearing", b.staged(p), err)
		}
		delete(b.put, p)
	}
	if len(drop) > 0 || b.resumed {
		b.d.removeEmpty(b.staged(store.VersionName(b.version)))
	}
	return nil
}

// finishStaging writes everything but content, and makes all of it durable.
func (b *build) finishStaging(ctx context.Context, inventory []byte) error {
	sidecar := manifest.Sidecar(inventory)
	v := store.VersionName(b.version) + "/"
	files := []store.KeyBytes{
		{Key: b.staged(v + store.InventoryName), Bytes: inventory},
		{Key: b.staged(v + store.SidecarName), Bytes: sidecar},
	}
	if b.isNew {
		files = append(files, store.KeyBytes{Key: b.staged(store.ObjectNamaste), Bytes: store.NamasteContent(store.ObjectNamaste)})
	}
	files = append(files,
		store.KeyBytes{Key: b.staged(store.InventoryName), Bytes: inventory},
		store.KeyBytes{Key: b.staged(store.SidecarName), Bytes: sidecar},
		store.KeyBytes{Key: markerName(b.object, b.version), Bytes: marker(b.put)},
	)
	each := !b.d.disk.SyncsAll()
	for _, f := range files {
		if err := b.d.removeStaged(f.Key); err != nil { // left by a try that failed here
			return err
		}
		if _, err := b.d.write(ctx, f.Key, store.Bytes(f.Bytes), each); err != nil {
			return err
		}
	}
	if each {
		return b.syncFolders()
	}
	return b.d.disk.SyncAll()
}

// syncFolders syncs each folder of this build, deepest first, where the system
// cannot sync everything at once.
func (b *build) syncFolders() error {
	seen := map[string]bool{}
	dirs := []string{b.staged(store.VersionName(b.version))}
	for p := range b.put {
		for dir := path.Dir(b.staged(p)); len(dir) > len(dirs[0]) && !seen[dir]; dir = path.Dir(dir) {
			seen[dir] = true
			if err := b.d.disk.SyncFolder(dir); err != nil {
				return err
			}
		}
	}
	for dir := dirs[0]; dir != "."; dir = path.Dir(dir) {
		if err := b.d.disk.SyncFolder(dir); err != nil {
			return err
		}
	}
	return nil
}

// moveIn renames the version into its place, and makes that durable before the
// root pair shows it.
func (b *build) moveIn() error {
	disk := b.d.disk
	rename := func(from, to, folder string) error {
		if err := disk.Rename(from, to); err != nil {
			return err
		}
		return disk.SyncFolder(folder)
	}
	if b.isNew {
		if err := rename(store.StagingFolder+"/"+b.object, b.object, "."); err != nil {
			return err
		}
	} else {
		v := store.VersionName(b.version)
		if err := rename(b.staged(v), b.object+"/"+v, b.object); err != nil {
			return err
		}
		for _, name := range []string{store.InventoryName, store.SidecarName} {
			if err := disk.Rename(b.staged(name), b.object+"/"+name); err != nil {
				return err
			}
		}
		if err := disk.SyncFolder(b.object); err != nil {
			return err
		}
	}
	if err := disk.Remove(markerName(b.object, b.version)); err != nil {
		return err
	}
	err := disk.SyncFolder(store.StagingFolder)
	if errors.Is(err, fs.ErrNotExist) {
		// Whoever wrote a small file meanwhile took the empty folder away.
		err = disk.SyncFolder(path.Dir(store.StagingFolder))
	}
	return err
}
