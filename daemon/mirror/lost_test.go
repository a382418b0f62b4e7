package mirror

import (
	"bytes"
	"context"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/minio/minio-go/v7"

	"linecamp/daemon/mirror/gone"
	"linecamp/daemon/reach"
	"linecamp/manifest/store"
	"linecamp/manifest/store/s3"
	"linecamp/manifest/store/s3test"
	"linecamp/verify"
)

func everyKey(t testing.TB, root store.Root) map[string][]byte {
	t.Helper()
	all := map[string][]byte{}
	for info, err := range root.List(context.Background(), "") {
		must(t, err)
		b, _, err := store.ReadSmall(context.Background(), root, info.Key, 1<<20)
		must(t, err)
		all[info.Key] = b
	}
	return all
}

// set has a copy hold just these keys, behind linecamp's back.
func (r *ranch) set(srv *s3test.Server, c *copyOf, keys map[string][]byte) {
	r.t.Helper()
	var client *minio.Core
	var err error
	if c.kind == "s3" {
		client, err = srv.Client()
		must(r.t, err)
	}
	now := everyKey(r.t, c.root)
	for key := range now {
		if _, stays := keys[key]; stays {
			continue
		}
		if c.kind == "s3" {
			must(r.t, client.RemoveObject(context.Background(), c.name, archiveName+"/"+key, minio.RemoveObjectOptions{}))
			continue
		}
		must(r.t, os.Remove(filepath.Join(c.path, key)))
		for dir := filepath.Dir(filepath.Join(c.path, key)); os.Remove(dir) == nil; dir = filepath.Dir(dir) {
		}
	}
	for key, b := range keys {
		if bytes.Equal(now[key], b) {
			continue
		}
		if c.kind == "s3" {
			_, err := client.PutObject(context.Background(), c.name, archiveName+"/"+key, bytes.NewReader(b), int64(len(b)), "", "", minio.PutObjectOptions{})
			must(r.t, err)
			continue
		}
		must(r.t, os.MkdirAll(filepath.Dir(filepath.Join(c.path, key)), 0o777))
		must(r.t, os.WriteFile(filepath.Join(c.path, key), b, 0o666))
	}
}

// The ways in which what a copy held goes: some is the key deleted, then is what
// it held before the last round.
var losses = map[string]func(key string, then map[string][]byte) (stays bool){
	"a site's folder": func(key string, _ map[string][]byte) bool {
		return !strings.HasPrefix(key, "north--windmill/")
	},
	"a site's newest version": func(key string, _ map[string][]byte) bool {
		return !strings.HasPrefix(key, "north--windmill/v2/")
	},
	"all but the top of a site": func(key string, _ map[string][]byte) bool {
		return !strings.HasPrefix(key, "north--windmill/v")
	},
	"every site": func(key string, _ map[string][]byte) bool {
		return strings.HasPrefix(key, "extensions/") || !strings.Contains(key, "/")
	},
	"the last round": func(key string, then map[string][]byte) bool {
		return then[key] != nil
	},
	"the last round and the seal": func(key string, then map[string][]byte) bool {
		return then[key] != nil && !isSeal(key)
	},
}

// What a copy held and holds no more is found by the next round, told, and sent
// again; what was remembered of it is taken back. That is so on a bucket and on a
// drive, and where the copy is the only one.
func TestWhatGoesFromACopyIsFoundToldAndSentAgain(t *testing.T) {
	for name, stays := range losses {
		for _, where := range []string{"a drive", "a bucket", "a bucket alone"} {
			t.Run(name+", on "+where, func(t *testing.T) {
				srv := s3test.Fake(t)
				r := newRanch(t)
				switch where {
				case "a drive":
					r.addDrive("hurt")
					r.addBucket(srv, "bucket")
				case "a bucket":
					r.addBucket(srv, "hurt")
					r.addDrive("shelf")
				default:
					r.addBucket(srv, "hurt")
				}
				c := r.copies[0]
				r.visit("North/Windmill", "2019-06-21")
				r.visit("East/Tank", "2019-06-21")
				r.wantCurrent(r.mirror())
				then := everyKey(t, c.root)
				r.visit("North/Windmill", "2020-06-21")
				r.visit("South/Draw", "2020-06-20")
				r.wantCurrent(r.mirror())

				keep := map[string][]byte{}
				for key, b := range everyKey(t, c.root) {
					if stays(key, then) {
						keep[key] = b
						if strings.HasPrefix(name, "the last round") {
							keep[key] = then[key]
						}
					}
				}
				r.set(srv, c, keep)
				had, _, _, err := gone.Had(r.led, c.id)
				must(t, err)
				if had["north--windmill"] != 2 {
					t.Fatalf("the copy is not known to have had version 2: %v", had)
				}

				rep := r.mirror()
				found := false
				for _, g := range rep.Copies[0].Gone {
					found = found || g.Object == "north--windmill" && g.Site == "North / Windmill" && g.To == 2 && g.Files > 0 && g.Again
				}
				if !found || !rep.Wants() {
					t.Errorf("it was not told: %+v", rep.Copies[0])
				}
				if c.kind == "drive" { // what was left of a site is there
					must(t, os.RemoveAll(filepath.Join(c.path, "extensions/linecamp-quarantine")))
				}
				r.wantCurrent(rep)
				r.holds(c)
				for range 2 {
					if rep := r.mirror(); rep.Wants() || len(rep.Copies[0].Gone) > 0 {
						t.Errorf("afterwards: %+v", rep)
					}
				}
			})
		}
	}
}

// What is gone and cannot be sent again stays told, and stays known as having
// been there, whatever becomes of the round.
func TestWhatIsGoneStaysToldUntilItIsThere(t *testing.T) {
	srv := s3test.Fake(t)
	r := newRanch(t)
	c := r.addBucket(srv, "hurt")
	r.visit("North/Windmill", "2019-06-21")
	r.wantCurrent(r.mirror())
	good := c.root
	all := everyKey(t, good)
	maps.DeleteFunc(all, func(key string, _ []byte) bool { return strings.HasPrefix(key, "north--windmill/") })
	r.set(srv, c, all)
	c.root = &denying{good.(*s3.Bucket)}
	for range 2 {
		rep := r.mirror()
		if g := rep.Copies[0].Gone; len(g) != 1 || g[0].Again || rep.Copies[0].State == reach.Current {
			t.Errorf("%+v", rep.Copies[0])
		}
		had, _, _, err := gone.Had(r.led, c.id)
		must(t, err)
		if had["north--windmill"] != 1 {
			t.Errorf("it is forgotten that the copy had it: %v", had)
		}
		held, err := r.led.Held(c.id, "north--windmill")
		must(t, err)
		for p, h := range held {
			if !h.Confirmed.IsZero() {
				t.Errorf("%s still counts as confirmed", p)
			}
		}
	}
	c.root = good
	rep := r.mirror()
	if g := rep.Copies[0].Gone; len(g) != 1 || !g[0].Again {
		t.Errorf("%+v", rep.Copies[0])
	}
	r.wantCurrent(rep)
}

// denying is a bucket that takes no version.
type denying struct{ *s3.Bucket }

func (d *denying) Begin(context.Context, string, int) (store.Build, error) {
	return nil, store.ErrDenied
}

// Single files that go from a bucket are put on record as damage, a page of the
// listing each round, and mend's list has what it needs.
func TestASingleFileThatGoesIsFoundPageByPage(t *testing.T) {
	srv := s3test.Fake(t)
	r := newRanch(t, "shelf")
	url, err := srv.Bucket(t.Context(), "bucket")
	must(t, err)
	root, err := s3.Open(t.Context(), s3.Options{URL: url + "/" + archiveName, Region: srv.Region, Access: srv.Access, Secret: srv.Secret, Fence: true, Page: 7})
	must(t, err)
	c := r.addRoot("bucket", "s3", url, root)
	for i := range 4 {
		r.visit(fmt.Sprintf("North/Stake %d", i), "2019-06-21")
		r.visit(fmt.Sprintf("North/Stake %d", i), "2020-06-21")
	}
	r.wantCurrent(r.mirror())
	all := everyKey(t, c.root)
	gone := map[string]bool{
		"north--stake-0/v1/content/2019-06-21/plot.jpg":  true,
		"north--stake-3/v1/content/2020-06-21/notes.txt": true,
		"north--stake-2/v1/inventory.json":               true,
		"north--stake-1/inventory.json":                  true, // derived: written again
	}
	for key := range gone {
		if all[key] == nil {
			t.Fatalf("there is no %s among %d keys", key, len(all))
		}
		delete(all, key)
	}
	r.set(srv, c, all)
	rounds, told := 0, 0
	for ; rounds < 2*len(all)/7; rounds++ {
		for _, g := range r.mirror().Copies[1].Gone {
			told++
			if g.Again || g.To != 0 || !strings.HasPrefix(g.Site, "North / Stake") {
				t.Errorf("%+v", g)
			}
		}
	}
	if told < 3 {
		t.Errorf("%d sites were told in %d rounds", told, rounds)
	}
	damage, err := r.led.Damage()
	must(t, err)
	for _, d := range damage {
		if d.Copy != c.id || d.Kind != verify.Gone || !gone[d.Object+"/"+d.Content] {
			t.Errorf("%+v", d)
		}
	}
	if len(damage) != 3 {
		t.Errorf("on record: %+v", damage)
	}
	if _, err := root.Stat(t.Context(), "north--stake-1/inventory.json"); err != nil {
		t.Error(err)
	}
	held, err := r.led.Held(c.id, "north--stake-0")
	must(t, err)
	if !held["v1/content/2019-06-21/plot.jpg"].Confirmed.IsZero() {
		t.Error("it still counts as confirmed")
	}
}

// Of a version, a bucket has all but the manifest, whose sidecar is there. The
// version is not there, whatever a state that is new makes of the sidecar.
func TestASidecarAloneIsNoVersion(t *testing.T) {
	r := newRanch(t, "shelf")
	srv := s3test.Fake(t)
	bucket := r.addBucket(srv, "bucket")
	r.visit("North/Windmill", "2019-06-21")
	r.wantCurrent(r.mirror())
	r.visit("North/Windmill", "2020-06-21")
	r.wantCurrent(r.mirror())
	keys := everyKey(t, bucket.root)
	delete(keys, "north--windmill/v2/inventory.json")
	delete(keys, "north--windmill/inventory.json")
	delete(keys, "north--windmill/inventory.json.sha256")
	r.set(srv, bucket, keys)
	r.loseState()
	if out := r.mirror().Copies[1]; out.State == reach.Current || out.Error == "" {
		t.Errorf("%+v", out)
	}
}
