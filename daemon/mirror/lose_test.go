package mirror

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"linecamp/daemon/authority"
	"linecamp/daemon/ledger"
	"linecamp/daemon/mirror/lost"
	"linecamp/daemon/mirror/report"
	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/manifest/store/drive"
	"linecamp/manifest/store/s3test"
)

// A version that the seal names and no copy has counts no more once a person's word
// stands behind its line and every copy was asked; else its site waits. A manifest
// that rotted is no loss.
func TestAVersionThatNoCopyHasCountsNoMore(t *testing.T) {
	gaveUp := func(in *In) { in.GivenUp = []string{"33333333-3333-4333-8333-000000000001"} }
	accept := func(in *In) { in.Accept = &Acceptance{Who: "Ada", Why: "it is gone"} }
	put := func(t *testing.T, loft *copyOf, name, text string) {
		must(t, os.MkdirAll(filepath.Join(loft.path, "north--windmill/v2"), 0o777))
		must(t, os.WriteFile(filepath.Join(loft.path, "north--windmill/v2", name), []byte(text), 0o666))
	}
	for name, c := range map[string]struct {
		prepare func(t *testing.T, r *ranch, loft *copyOf)
		in      func(*In)
		lost    bool
	}{
		"the copy that had it is given up": {in: gaveUp, lost: true},
		"a person says so":                 {in: accept, lost: true},
		"nobody said anything":             {in: func(*In) {}},
		"its manifest is rotten": {in: gaveUp, prepare: func(t *testing.T, _ *ranch, loft *copyOf) {
			put(t, loft, "inventory.json", "{rotten")
		}},
		"only its sidecar is there": {in: gaveUp, prepare: func(t *testing.T, _ *ranch, loft *copyOf) {
			put(t, loft, "inventory.json.sha256", "0123  inventory.json\n")
		}},
		"another copy is out of reach": {in: accept, prepare: func(t *testing.T, r *ranch, _ *copyOf) {
			barn := r.addDrive("barn")
			barn.away, barn.id = true, copyID(8)
			must(t, authority.MarkRead(r.led, barn.id))
		}},
		"the one out of reach was so at a take-over": {in: func(*In) {}, lost: true, prepare: func(t *testing.T, r *ranch, loft *copyOf) {
			barn := r.addDrive("barn")
			barn.away, barn.id = true, copyID(8)
			must(t, r.led.SetValue("excused "+barn.id, "yes"))
			log, err := store.ReadSeal(t.Context(), loft.root)
			must(t, err)
			log = log.Clone()
			must(t, log.Append(seal.Line{N: log.Len() + 1, At: r.now, What: seal.Author, Author: authorID, Epoch: 2, Why: "taken over"}))
			must(t, store.WriteSeal(t.Context(), loft.root, log))
		}},
	} {
		t.Run(name, func(t *testing.T) {
			r := newRanch(t, "shelf", "loft")
			shelf, loft := r.copies[0], r.copies[1]
			r.visit("North/Windmill", "2019-06-21")
			r.visit("North/Gully", "2019-06-21")
			r.wantCurrent(r.mirror())
			loft.away = true
			r.visit("North/Windmill", "2020-06-20")
			r.mirror()
			ahead, err := store.ReadSeal(t.Context(), shelf.root)
			must(t, err)
			must(t, store.WriteSeal(t.Context(), loft.root, ahead)) // it goes ahead of the content

			r.loseState()
			loft.away = false
			r.copies = []*copyOf{loft}
			if c.prepare != nil {
				c.prepare(t, r, loft)
			}
			r.visit("North/Windmill", "2021-06-21")
			r.visit("North/Draw", "2021-06-21")
			rep := r.mirror(c.in)
			log, err := store.ReadSeal(t.Context(), loft.root)
			must(t, err)
			dropped := slices.ContainsFunc(log.Lines(), func(l seal.Line) bool {
				return l.What == seal.Lost && l.Object == manifest.ObjectID(archiveName, "north--windmill") && l.Version == 2
			})
			told := slices.ContainsFunc(rep.Asks, func(q report.Ask) bool {
				return strings.Contains(string(q), "version 2 of North / Windmill, made on 2026-07-02") && strings.Contains(string(q), lost.Told)
			})
			if !c.lost {
				if dropped || told || rep.Made > 0 || !rep.Wants() {
					t.Fatalf("it counts as lost: %+v\n%s", rep, log.Text(0, log.Len()))
				}
				return
			}
			if !dropped || !told || rep.Made != 2 {
				t.Fatalf("its site does not go on: %+v\n%s", rep, log.Text(0, log.Len()))
			}
			if got := len(paths(head(t, loft.root, "north--windmill").State(2))); got != 9 {
				t.Errorf("the new version 2 has %d files, not 9", got)
			}
			if rep = r.mirror(); rep.Made != 0 || len(rep.Asks) > 0 || len(rep.Waiting) > 0 {
				t.Errorf("the next round: %+v", rep)
			}
		})
	}
}

// Of the versions that a bucket lacks, the round that brought the first ended before its
// sidecar. That one is taken as it is, the later one is lost, and the site goes on at once.
func TestAVersionThatLacksOnlyItsSidecarIsNotLost(t *testing.T) {
	r := newRanch(t, "shelf")
	srv := s3test.Fake(t)
	bucket := r.addBucket(srv, "bucket")
	for _, year := range []string{"2019", "2020", "2021"} {
		r.visit("North/Windmill", year+"-06-21")
		r.wantCurrent(r.mirror())
	}
	keys := everyKey(t, bucket.root)
	const site = "north--windmill/"
	second := keys[site+"v2/inventory.json"]
	for key := range keys {
		if strings.HasPrefix(key, site+"v3/") {
			delete(keys, key)
		}
	}
	delete(keys, site+"v2/inventory.json.sha256")
	keys[site+"inventory.json"], keys[site+"inventory.json.sha256"] = keys[site+"v1/inventory.json"], keys[site+"v1/inventory.json.sha256"]
	r.set(srv, bucket, keys)
	r.loseState()
	r.copies = []*copyOf{bucket}
	rep := r.mirror(func(in *In) { in.GivenUp = []string{"33333333-3333-4333-8333-000000000001"} })
	if rep.Made != 1 || len(rep.Asks) != 1 || !strings.Contains(string(rep.Asks[0]), "version 3 of North / Windmill") {
		t.Errorf("%+v", rep)
	}
	if inv := head(t, bucket.root, "north--windmill"); inv.Head() != 3 || !bytes.Equal(inv.Until(2).Encode(), second) || len(paths(inv.State(3))) != len(paths(inv.State(2)))+3 {
		t.Errorf("on record now:\n%s", inv.Encode())
	}
}

// At every operation of the round that takes a version for lost and goes on.
func TestCrashAnywhereWhereAVersionIsLost(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	g := newGroundOf(t, manyVisits(), "barn", "shelf")
	g.live(t, 0)
	g.live(t, 1, "barn")
	roots := map[string]*drive.Drive{}
	for i, name := range g.drives {
		d, err := drive.Open(filepath.Join(g.dir, name), copyID(i))
		must(t, err)
		defer d.Close()
		roots[name] = d
	}
	log, err := store.ReadSeal(ctx, roots["shelf"])
	must(t, err)
	log = log.Clone()
	must(t, log.Append(seal.Line{N: log.Len() + 1, At: g.now.UTC().Truncate(time.Second), What: seal.Author, Author: authorID, Epoch: 2, Why: "taken over"}))
	must(t, store.WriteSeal(ctx, roots["barn"], log))
	_, was, err := store.ReadAuthor(ctx, roots["barn"])
	must(t, err)
	_, err = store.WriteAuthor(ctx, roots["barn"], store.Author{Archive: archiveID, Author: authorID, Machine: "office", Epoch: 2}, &was)
	must(t, err)
	g.drives = []string{"barn"}
	state := filepath.Join(g.dir, "state")
	must(t, os.RemoveAll(state))
	led, err := ledger.Open(state)
	must(t, err)
	must(t, authority.MarkRead(led, copyID(0)))
	must(t, led.SetValue("working folder agreed with the record", "yes")) // what was edited counts as that
	must(t, led.Close())
	g.everywhere(t, "barn", 1, 60)
}
