package mirror

import (
	"context"
	"maps"
	"strings"
	"testing"

	"linecamp/manifest"
)

// oneVisit is so little that each visit of these days makes a version of its own.
const oneVisit = 100

// manyVisits are days whose second brings several visits to a site that is
// recorded and to a new one; a person changes some before the retry.
func manyVisits() (all [4]files) {
	plot := func(f files, visit string) { f[visit+"/plot.jpg"] = strings.Repeat("of "+visit+"\n", 3) }
	all[0] = files{}
	plot(all[0], "North/Windmill/2019-06-21")
	all[1] = maps.Clone(all[0])
	for _, visit := range []string{"North/Windmill/2017-06-21", "North/Windmill/2018-06-21", "North/Windmill/2020-06-21", "East/Tank/2018-06-22"} {
		plot(all[1], visit)
	}
	all[2] = maps.Clone(all[1])
	delete(all[2], "North/Windmill/2018-06-21/plot.jpg")
	move(all[2], "North/Windmill/2017-06-21/plot.jpg", "North/Windmill/2017-06-21/plot again.jpg")
	all[2]["East/Tank/2018-06-22/plot.jpg"] = "rewritten"
	all[3] = maps.Clone(all[2])
	plot(all[3], "North/Windmill/2021-06-21")
	return all
}

// severalVersions asserts that one round makes several versions of a site.
func (g *ground) severalVersions(t *testing.T) {
	t.Helper()
	w := g.begin(t, 1)
	w.open()
	rep, err := w.round(context.Background())
	must(t, err)
	seal, err := w.cache.Seal()
	must(t, err)
	heads := seal.Heads()
	if north, east := heads[manifest.ObjectID(archiveName, "north--windmill")], heads[manifest.ObjectID(archiveName, "east--tank")]; north != 4 || east != 1 || rep.Wants() {
		t.Fatalf("north has %d versions, east %d: %+v", north, east, rep)
	}
	w.end()
}

// At every operation of a round that makes three versions of one site.
func TestCrashAnywhereInSeveralVersions(t *testing.T) {
	t.Parallel()
	g := newGroundOf(t, manyVisits(), "shelf")
	g.live(t, 0)
	g.most = oneVisit
	g.severalVersions(t)
	g.everywhere(t, "shelf", 1, 100)
}

// At every request of such a round to a bucket that is the only copy.
func TestEveryRequestBreaksInSeveralVersions(t *testing.T) {
	t.Parallel()
	g := newGroundOf(t, manyVisits()).withBucket(t)
	g.live(t, 0)
	g.most = oneVisit
	g.severalVersions(t)
	g.everyRequest(t, 40, mirrored)
}

// At every request of a bucket that takes a file in parts: its beginning, each
// part, the look before its end, and its end. Afterwards no parts are left, which
// are paid for and which nobody sees.
func TestEveryRequestBreaksInParts(t *testing.T) {
	t.Parallel()
	const part = 16 << 10 // no manifest is as large
	var all [4]files
	all[0] = files{"North/Windmill/2019-06-21/plot.jpg": "small"}
	all[1] = maps.Clone(all[0])
	all[1]["North/Windmill/2020-06-21/plot.jpg"] = strings.Repeat("a large picture\n", 2*part/16+7)
	all[2] = maps.Clone(all[1]) // what a crash left of the first goes on under another digest
	all[2]["North/Windmill/2020-06-21/plot.jpg"] = strings.Repeat("a large picture, once more\n", 2*part/16)
	all[3] = maps.Clone(all[2])
	all[3]["North/Windmill/2021-06-21/plot.jpg"] = "small again"
	for name, drives := range map[string][]string{"the only copy": nil, "a catch-up": {"shelf"}} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			g := newGroundOf(t, all, drives...)
			g.part = part
			g.withBucket(t)
			g.live(t, 0)
			if len(drives) > 0 {
				g.live(t, 1, "bucket")
			}
			g.everyRequest(t, 20, func(w *world, ctx context.Context) (bool, error) {
				wants, err := mirrored(w, ctx)
				if err == nil && !wants && ctx.Err() == nil {
					w.noParts()
				}
				return wants, err
			})
		})
	}
}

func (w *world) noParts() {
	w.Helper()
	got, err := w.g.client.ListMultipartUploads(context.Background(), w.bucket, "", "", "", "", 100)
	must(w, err)
	for _, u := range got.Uploads {
		w.Errorf("parts of %s are left", u.Key)
	}
}
