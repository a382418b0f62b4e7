package store

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"strings"
	"sync"
	"syscall"

	"linecamp/manifest"
)

// driveBuild is one version being built in staging. Below
// extensions/linecamp-staging/OBJECT it has the shape the object will have:
// vN with its content, and the root pair that is to come. A new object is
// renamed into the root as that whole folder, a further version as its vN.
type driveBuild struct {
	d       *Drive
	object  string
	version int
	isNew   bool // the object has no committed version yet
	resumed bool // something was staged by an earlier try

	mu   sync.Mutex
	put  map[string]manifest.Digest // object-relative content path → digest
	done bool
}

func (b *driveBuild) staged(name string) string {
	return stagingFolder + "/" + b.object + "/" + name
}

// Begin starts or resumes a version; see drive_recover.go for what it puts right
// first. Files staged by a run that was killed are used again if their bytes
// still match.
func (d *Drive) Begin(ctx context.Context, object string, version int) (Build, error) {
	n, err := headNumber(ctx, d, object)
	if err != nil {
		return nil, err
	}
	if err := d.checkAbove(ctx, object, n); err != nil {
		return nil, err
	}
	if err := checkNext(d, object, n, version); err != nil {
		return nil, err
	}
	if err := d.clearWay(object, n); err != nil {
		return nil, err
	}
	b := &driveBuild{d: d, object: object, version: version, isNew: n == 0, put: map[string]manifest.Digest{}}
	names, err := d.names(stagingFolder + "/" + object)
	if err != nil {
		return nil, err
	}
	for _, name := range names {
		if name == versionName(version) {
			b.resumed = true
			continue
		}
		if err := d.removeStaged(b.staged(name)); err != nil {
			return nil, d.fail("clearing", b.staged(name), err)
		}
	}
	return b, nil
}

// headNumber is the highest committed version of an object, 0 for none.
func headNumber(ctx context.Context, r Root, object string) (int, error) {
	inv, _, _, err := head(ctx, r, object)
	if errors.Is(err, ErrNoObject) {
		return 0, nil
	}
	if err != nil {
		return 0, err
	}
	return inv.Head(), nil
}

// checkNext refuses any version but the next one: history is only ever added
// to, and has no gaps.
func checkNext(r Root, object string, n, version int) error {
	switch {
	case version <= n:
		return fmt.Errorf("%s already holds version %d of %s: %w", r.Name(), version, object, ErrConflict)
	case version > n+1:
		return fmt.Errorf("%s holds %s up to version %d, so version %d cannot come next: %w", r.Name(), object, n, version, ErrConflict)
	}
	return nil
}

func (b *driveBuild) Found() map[string]Info { return nil }

func (b *driveBuild) Put(ctx context.Context, p string, c Content) (Info, error) {
	if err := errors.Join(ctx.Err(), checkContentPath(p, b.version)); err != nil {
		return Info{}, err
	}
	b.mu.Lock()
	done, had := b.put[p]
	b.mu.Unlock()
	if had {
		if done == c.SHA256 {
			return Info{Key: b.object + "/" + p, Size: c.Size, SHA256: done}, nil
		}
		return Info{}, fmt.Errorf("%s was already stored with other bytes: %w", p, ErrConflict)
	}
	if b.d.most > 0 && c.Size > b.d.most { // found out before 4 GiB are written in vain
		return Info{}, b.d.fail("storing", b.object+"/"+p, syscall.EFBIG)
	}
	name := b.staged(p)
	s, err := b.d.write(ctx, name, c, !b.d.disk.SyncsAll())
	if errors.Is(err, fs.ErrExist) {
		s, err = b.again(ctx, name, c)
	}
	if err != nil {
		return Info{}, b.d.fail("storing", b.object+"/"+p, err)
	}
	b.mu.Lock()
	b.put[p] = s.sha256
	b.mu.Unlock()
	return Info{Key: b.object + "/" + p, Size: s.size, SHA256: s.sha256, XXH64: s.xxh64}, nil
}

// again keeps what an earlier try staged if it is whole, and writes it anew if
// not. What this try put is never touched: where the drive takes two names for
// one, the second has no place.
func (b *driveBuild) again(ctx context.Context, name string, c Content) (sums, error) {
	b.mu.Lock()
	for p := range b.put {
		if strings.EqualFold(b.staged(p), name) {
			b.mu.Unlock()
			return sums{}, fmt.Errorf("this drive does not tell it from %s: %w", p, ErrConflict)
		}
	}
	b.mu.Unlock()
	if info, err := b.d.Stat(ctx, name); err == nil && info.Size == c.Size {
		s, _, err := digestOf(ctx, b.d, name, false)
		if err != nil && ctx.Err() != nil {
			return sums{}, err
		}
		if err == nil && s.sha256 == c.SHA256 {
			return s, b.syncStaged(name)
		}
	}
	if err := b.d.removeStaged(name); err != nil {
		return sums{}, err
	}
	return b.d.write(ctx, name, c, !b.d.disk.SyncsAll())
}

// syncStaged makes a file that another try wrote durable: that try may have been
// killed before it could.
func (b *driveBuild) syncStaged(name string) error {
	if b.d.disk.SyncsAll() {
		return nil // Commit does
	}
	return b.d.syncFile(name)
}

func (b *driveBuild) Close() error {
	if !b.done {
		b.tidy()
	}
	return nil
}

// tidy removes the staging folders that are empty.
func (b *driveBuild) tidy() {
	b.d.removeEmpty(stagingFolder + "/" + b.object)
	b.d.disk.Remove(stagingFolder)
}

// Commit makes the version part of the copy. See drive_recover.go for what a
// crash between any two steps leaves.
func (b *driveBuild) Commit(ctx context.Context, inventory []byte) error {
	paths, err := checkCommit(inventory, b.object, b.version)
	if err != nil {
		return err
	}
	if err := b.agree(ctx, paths); err != nil {
		return err
	}
	if err := b.finishStaging(ctx, inventory); err != nil {
		return b.d.fail("committing", versionFile(b.object, b.version, ""), err)
	}
	if err := b.moveIn(); err != nil {
		return b.d.fail("committing", versionFile(b.object, b.version, ""), err)
	}
	b.done = true
	b.tidy()
	return nil
}

// agree makes staging hold exactly what the inventory names for this version,
// less what nobody has. Files left by an earlier try and not Put in this one
// stay if their bytes are right.
func (b *driveBuild) agree(ctx context.Context, paths map[string]manifest.Digest) error {
	drop := map[string]bool{}
	for p, d := range b.put {
		want, named := paths[p]
		if named && want != d {
			return fmt.Errorf("%s was stored with other bytes than the inventory names: %w", p, ErrConflict)
		}
		if !named {
			drop[p] = true
		}
	}
	if b.resumed {
		content := b.staged(versionName(b.version))
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
				s, _, err := digestOf(ctx, b.d, info.Key, false)
				if err != nil && ctx.Err() != nil {
					return err
				}
				if err == nil && s.sha256 == want {
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
		b.d.removeEmpty(b.staged(versionName(b.version)))
	}
	return nil
}

// finishStaging writes everything but content, and makes all of it durable.
func (b *driveBuild) finishStaging(ctx context.Context, inventory []byte) error {
	sidecar := manifest.Sidecar(inventory)
	v := versionName(b.version) + "/"
	files := []keyBytes{
		{b.staged(v + inventoryName), inventory},
		{b.staged(v + sidecarName), sidecar},
	}
	if b.isNew {
		files = append(files, keyBytes{b.staged(objectNamaste), namasteContent(objectNamaste)})
	}
	files = append(files,
		keyBytes{b.staged(inventoryName), inventory},
		keyBytes{b.staged(sidecarName), sidecar},
		keyBytes{markerName(b.object, b.version), marker(b.put)},
	)
	each := !b.d.disk.SyncsAll()
	for _, f := range files {
		if err := b.d.removeStaged(f.key); err != nil { // left by a try that failed here
			return err
		}
		if _, err := b.d.write(ctx, f.key, Bytes(f.bytes), each); err != nil {
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
func (b *driveBuild) syncFolders() error {
	seen := map[string]bool{}
	dirs := []string{b.staged(versionName(b.version))}
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
func (b *driveBuild) moveIn() error {
	disk := b.d.disk
	rename := func(from, to, folder string) error {
		if err := disk.Rename(from, to); err != nil {
			return err
		}
		return disk.SyncFolder(folder)
	}
	if b.isNew {
		if err := rename(stagingFolder+"/"+b.object, b.object, "."); err != nil {
			return err
		}
	} else {
		v := versionName(b.version)
		if err := rename(b.staged(v), b.object+"/"+v, b.object); err != nil {
			return err
		}
		for _, name := range []string{inventoryName, sidecarName} {
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
	err := disk.SyncFolder(stagingFolder)
	if errors.Is(err, fs.ErrNotExist) {
		// Whoever wrote a small file meanwhile took the empty folder away.
		err = disk.SyncFolder(path.Dir(stagingFolder))
	}
	return err
}
