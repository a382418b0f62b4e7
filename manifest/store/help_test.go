package store_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/drive"
	"linecamp/manifest/store/s3"
	"linecamp/manifest/store/s3test"
)

var (
	testTime = time.Date(2026, 7, 2, 2, 30, 0, 0, time.UTC)
	testID   = store.Identity{
		ArchiveID: "6f0c1f3e-9d0b-4c59-8a3f-0b6e3b1c7a11",
		Archive:   "saltbush-draw",
		CopyID:    "b81e62a0-6a4f-4b8c-b6c9-5b3a3b0f7d22",
		Created:   testTime,
	}
)

const (
	object     = "windmill--stake-3"
	otherCopy  = "0d9a4e4c-6c39-4d53-9a53-7f0e3f3f0f33"
	testAuthor = "2c4b7d10-1f0a-4c8e-9f52-3f1f6c0b8e44"
)

// A place is somewhere a root can be, with a back door for what happens to a
// copy behind linecamp's back.
type place struct {
	open   func() store.Root // the same root each time, as a new process would
	remove func(key string)
	write  func(key string, b []byte)
	read   func(key string) ([]byte, bool)
}

// drivePlace is a new folder.
func drivePlace(t testing.TB) *place {
	dir := t.TempDir()
	name := func(key string) string { return filepath.Join(dir, filepath.FromSlash(key)) }
	return &place{
		open: func() store.Root {
			d, err := drive.New(dir)
			must(t, err)
			t.Cleanup(func() { d.Close() })
			return d
		},
		remove: func(key string) { must(t, os.Remove(name(key))) },
		write: func(key string, b []byte) {
			must(t, os.MkdirAll(filepath.Dir(name(key)), 0o777))
			must(t, os.WriteFile(name(key), b, 0o666))
		},
		read: func(key string) ([]byte, bool) {
			b, err := os.ReadFile(name(key))
			return b, err == nil
		},
	}
}

var buckets atomic.Int64

// s3Place is a new bucket on a server; change may alter the options.
func s3Place(t testing.TB, srv *s3test.Server, change func(*s3.Options)) *place {
	ctx := t.Context()
	bucket := fmt.Sprintf("monitoring-%d", buckets.Add(1))
	url, err := srv.Bucket(ctx, bucket)
	must(t, err)
	raw, err := srv.Client()
	must(t, err)
	const prefix = "ranches/saltbush draw/"
	return &place{
		open: func() store.Root {
			o := s3.Options{URL: url + "/" + strings.TrimSuffix(prefix, "/"), Region: srv.Region, Access: srv.Access, Secret: srv.Secret, Fence: true}
			if change != nil {
				change(&o)
			}
			s, err := s3.Open(ctx, o)
			must(t, err)
			t.Cleanup(func() { s.Close() })
			return s
		},
		remove: func(key string) { must(t, raw.RemoveObject(ctx, bucket, prefix+key, removeOptions)) },
		write: func(key string, b []byte) {
			_, err := raw.Client.PutObject(ctx, bucket, prefix+key, bytes.NewReader(b), int64(len(b)), putOptions)
			must(t, err)
		},
		read: func(key string) ([]byte, bool) {
			body, _, _, err := raw.GetObject(ctx, bucket, prefix+key, getOptions)
			if err != nil {
				return nil, false
			}
			defer body.Close()
			b, err := io.ReadAll(body)
			return b, err == nil
		},
	}
}

// made is a root that setup has been through.
func (p *place) made(t testing.TB) store.Root {
	r := p.open()
	must(t, r.Init(t.Context(), testID))
	return r
}

// site is an object that grows, held in memory.
type site struct {
	inv     *manifest.Inventory
	content map[manifest.Digest][]byte
}

func newSite() *site {
	return &site{manifest.New(manifest.ObjectID("saltbush-draw", object)), map[manifest.Digest][]byte{}}
}

// next authors a version that holds these files, path → content.
func (s *site) next(t testing.TB, found map[string]store.Info, files map[string]string) *manifest.Draft {
	t.Helper()
	n := manifest.Next{
		Created: testTime.Add(time.Duration(s.inv.Head()) * time.Hour), Message: "round",
		User:   manifest.User{Name: "office", Address: "urn:uuid:" + testAuthor},
		State:  map[string]manifest.Digest{},
		Record: manifest.Record{Site: "Stake 3", Pasture: "Windmill", Paths: map[string]manifest.Entry{}},
		Found:  map[string]manifest.Digest{},
	}
	for p, text := range files {
		d := manifest.Sum([]byte(text))
		s.content[d] = []byte(text)
		n.State[p] = d
		n.Record.Paths[p] = manifest.Entry{Bytes: int64(len(text)), Modified: testTime, Kind: manifest.KindOther}
	}
	for p, i := range found {
		n.Found[p] = i.SHA256
	}
	draft, err := s.inv.Add(n)
	must(t, err)
	s.content[manifest.Sum(draft.Record)] = draft.Record
	return draft
}

// store puts a version's content, but for what is in without, and commits.
func (s *site) store(t testing.TB, r store.Root, draft *manifest.Draft, without ...string) {
	t.Helper()
	must(t, s.tryStore(t.Context(), r, draft, without...))
	s.inv = draft.Inventory
}

func (s *site) tryStore(ctx context.Context, r store.Root, draft *manifest.Draft, without ...string) error {
	unlock, err := r.Lock(ctx)
	if err != nil {
		return err
	}
	defer unlock()
	b, err := r.Begin(ctx, object, draft.Inventory.Head())
	if err != nil {
		return err
	}
	defer b.Close()
	for _, p := range slices.Sorted(maps.Keys(draft.New)) {
		if slices.Contains(without, p) {
			continue
		}
		if _, err := b.Put(ctx, p, store.Bytes(s.content[draft.New[p]])); err != nil {
			return err
		}
	}
	return b.Commit(ctx, draft.Encoded)
}

// intact checks that the root holds exactly the object's versions, with every
// byte, and nothing an inventory does not name.
func (s *site) intact(t testing.TB, r store.Root, without ...string) {
	t.Helper()
	ctx := t.Context()
	got, err := store.Head(ctx, r, object)
	must(t, err)
	if !bytes.Equal(got.Encode(), s.inv.Encode()) {
		t.Fatalf("head is version %d, want %d", got.Head(), s.inv.Head())
	}
	want := map[string][]byte{"0=ocfl_object_1.1": []byte("ocfl_object_1.1\n")}
	pair := func(folder string, inv *manifest.Inventory) {
		want[folder+"inventory.json"] = inv.Encode()
		want[folder+"inventory.json.sha256"] = manifest.Sidecar(inv.Encode())
	}
	pair("", s.inv)
	for n := 1; n <= s.inv.Head(); n++ {
		pair(fmt.Sprintf("v%d/", n), s.inv.Until(n))
		for p, d := range s.inv.Paths(n) {
			want[p] = s.content[d]
		}
	}
	for _, p := range without {
		delete(want, p)
	}
	for info, err := range r.List(ctx, object) {
		must(t, err)
		p := strings.TrimPrefix(info.Key, object+"/")
		b, ok := want[p]
		if !ok {
			t.Errorf("%s is there and nothing names it", p)
			continue
		}
		if have := readAll(t, r, info.Key); !bytes.Equal(have, b) {
			t.Errorf("%s holds %d bytes that are not the %d it should", p, len(have), len(b))
		}
		delete(want, p)
	}
	for p := range want {
		t.Errorf("%s is absent", p)
	}
}

func readAll(t testing.TB, r store.Root, key string) []byte {
	t.Helper()
	f, _, err := r.OpenFresh(t.Context(), key)
	must(t, err)
	defer f.Close()
	b, err := io.ReadAll(f)
	must(t, err)
	return b
}

// counted is content that counts how often it is read.
func counted(b []byte, opens *atomic.Int64) store.Content {
	c := store.Bytes(b)
	open := c.Open
	c.Open = func(ctx context.Context) (io.ReadCloser, error) {
		opens.Add(1)
		return open(ctx)
	}
	return c
}

func keys(t testing.TB, r store.Root, prefix string) []string {
	t.Helper()
	var out []string
	for info, err := range r.List(t.Context(), prefix) {
		must(t, err)
		out = append(out, info.Key)
	}
	return out
}

// symlink makes a symbolic link. Only on Windows may a person be without the right to.
func symlink(t testing.TB, target, at string) {
	t.Helper()
	err := os.Symlink(target, at)
	if err != nil && runtime.GOOS == "windows" {
		t.Fatal(err)
	}
	must(t, err)
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func wantErr(t testing.TB, err, want error) {
	t.Helper()
	if !errors.Is(err, want) {
		t.Fatalf("got error %v, want %v", err, want)
	}
}

var errAbsent = fs.ErrNotExist
