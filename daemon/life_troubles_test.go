package daemon_test

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/minio/minio-go/v7"

	"linecamp/daemon"
)

// unreadable has all content of a site on a drive read no more, as after a head
// crash: links of the same length stand in its place.
func (l *life) unreadable(drive string) {
	site := filepath.Join(l.drive(drive), []string{"windmill--stake-3", "north-draw--post-1"}[l.rand.IntN(2)])
	if _, err := os.Stat(site); err != nil {
		return
	}
	l.must(filepath.WalkDir(site, func(p string, e fs.DirEntry, err error) error {
		if err != nil || !e.Type().IsRegular() || !strings.Contains(p, "/content/") {
			return err
		}
		b, err := os.ReadFile(p)
		if err != nil || len(b) > 4000 || len(b) == 0 {
			return err
		}
		l.broken[drive][p] = sha256.Sum256(b)
		return replace(p, len(b))
	}))
	l.say("%d files on %s cannot be read", len(l.broken[drive]), drive)
}

// stillBroken are the files of a copy that can still not be read.
func (l *life) stillBroken(k string) map[string]digest {
	for p := range l.broken[k] {
		if st, err := os.Lstat(p); err == nil && st.Mode().IsRegular() || err != nil && l.away[k] == "" {
			delete(l.broken[k], p) // mended, put back, or gone as a whole
			delete(l.found[k], p)
		}
	}
	return l.broken[k]
}

// verify reads everything back. What cannot be read is known from then on.
func (l *life) verify() {
	v, err := l.a.Verify(l.t.Context(), daemon.VerifyOptions{}, nil)
	l.must(err)
	l.say("verify: %s", strings.ReplaceAll(strings.TrimSpace(printed(v)), "\n", "\n    "))
	for _, k := range kinds[:2] {
		if l.away[k] != "" {
			continue
		}
		for p := range l.stillBroken(k) {
			l.found[k][p] = true
		}
		if len(l.broken[k]) > 0 && !v.Wants() {
			l.fatal("%d files of %s cannot be read, and verify is content", len(l.broken[k]), k)
		}
	}
	l.meet()
}

// meet notes whether what just ran was refused by the bucket.
func (l *life) meet() { l.denied = l.revoked.Load() == 0 }

func (l *life) plug(drive string) {
	l.say("%s is back", drive)
	l.must(os.Rename(l.away[drive], filepath.Dir(l.drive(drive))))
	delete(l.away, drive)
}

// empty deletes what lies below a prefix of the bucket.
func (l *life) empty(prefix string) {
	c, err := l.server.Client()
	l.must(err)
	for o := range c.Client.ListObjects(l.t.Context(), "monitoring", minio.ListObjectsOptions{Prefix: prefix, Recursive: true}) {
		l.must(o.Err)
		l.must(c.Client.RemoveObject(l.t.Context(), "monitoring", o.Key, minio.RemoveObjectOptions{}))
	}
}

// object is what lies under one key of the bucket.
type object struct {
	key  string
	body []byte
	meta map[string]string
}

// objects are all below a prefix of the bucket.
func (l *life) objects(prefix string) (all []object) {
	c, err := l.server.Client()
	l.must(err)
	for o := range c.Client.ListObjects(l.t.Context(), "monitoring", minio.ListObjectsOptions{Prefix: prefix, Recursive: true}) {
		l.must(o.Err)
		r, err := c.Client.GetObject(l.t.Context(), "monitoring", o.Key, minio.GetObjectOptions{})
		l.must(err)
		b, err := io.ReadAll(r)
		l.must(err)
		st, err := r.Stat()
		l.must(err)
		r.Close()
		all = append(all, object{o.Key, b, st.UserMetadata})
	}
	return all
}

func (l *life) fill(all []object) {
	c, err := l.server.Client()
	l.must(err)
	for _, o := range all {
		_, err := c.Client.PutObject(l.t.Context(), "monitoring", o.key, bytes.NewReader(o.body), int64(len(o.body)), minio.PutObjectOptions{UserMetadata: o.meta})
		l.must(err)
	}
}

// block puts a file where the next version of a site is to go on a drive, so that
// the last step of storing it is refused.
func (l *life) block(drive string) {
	site := filepath.Join(l.drive(drive), []string{"windmill--stake-3", "north-draw--post-1"}[l.rand.IntN(2)])
	for n := 1; ; n++ {
		at := filepath.Join(site, fmt.Sprint("v", n))
		if _, err := os.Lstat(at); err == nil {
			continue
		}
		if n > 1 {
			l.say("a file stands in the way on %s: v%d", drive, n)
			l.must(os.WriteFile(at, []byte("in the way"), 0o666))
			l.blocked = append(l.blocked, at)
		}
		return
	}
}

// twin runs two rounds from a copy of the state folder, which must record nothing:
// the one that it was copied from goes on.
func (l *life) twin() {
	l.twins++
	cfg := l.load()
	from, err := cfg.StateDir()
	l.must(err)
	cfg.State = filepath.Join(l.dir, fmt.Sprint("state of a twin ", l.twins))
	l.must(os.CopyFS(cfg.State, os.DirFS(from)))
	twin, err := daemon.Open(cfg, daemon.Options{Log: quiet(), Now: l.clock})
	l.must(err)
	defer twin.Close()
	for range 2 {
		l.now = l.now.Add(time.Hour)
		m, err := twin.Mirror(l.t.Context(), daemon.MirrorOptions{}, nil)
		l.must(err)
		l.say("a twin's mirror: %s", strings.ReplaceAll(strings.TrimSpace(printed(m)), "\n", "\n    "))
		if m.Made > 0 {
			l.fatal("a copy of the state folder recorded %d versions", m.Made)
		}
		if len(m.Attention) == 0 {
			l.fatal("a copy of the state folder says that all is well")
		}
	}
	l.denied = false // it met the bucket, and the other did not
}

// nowhere counts what was on some copy, and can be read neither there nor in the
// folder any more.
func (l *life) nowhere() int {
	there := l.inFolder()
	for _, k := range kinds {
		now := l.content(k)
		for _, d := range l.stillBroken(k) {
			delete(now, d)
		}
		for d := range now {
			there[d] = true
		}
	}
	gone := map[digest]bool{}
	for _, k := range kinds {
		for d := range l.had[k] {
			if !there[d] {
				gone[d] = true
			}
		}
	}
	return len(gone)
}
