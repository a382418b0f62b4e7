package mirror

import (
	"slices"
	"strings"
	"testing"

	"linecamp/daemon/authority"
	"linecamp/daemon/mirror/late"
	"linecamp/daemon/mirror/lost"
	"linecamp/daemon/mirror/report"
	"linecamp/manifest/store"
	"linecamp/manifest/store/s3test"
)

// goesOnAtOnce wants the round after a take-over to record what is new of an old site and
// of a new one, and to tell what it goes on without.
func (r *ranch) goesOnAtOnce(tells bool) {
	r.t.Helper()
	r.write("North/Windmill/2021-06-21/after.jpg", "after the take-over")
	r.write("East/Tank/2021-06-21/after.jpg", "a new site after it")
	rep := r.mirror()
	if rep.Made < 2 || len(rep.Waiting) > 0 {
		r.t.Fatalf("not all goes on at once: %+v", rep)
	}
	if told := slices.ContainsFunc(rep.Asks, func(q report.Ask) bool {
		return strings.Contains(string(q), "North / Windmill") && strings.Contains(string(q), lost.Told) && strings.Contains(string(q), "out of reach when")
	}); told != tells {
		r.t.Errorf("told %v: %+v", told, rep.Asks)
	}
}

// Who takes over knows of a version, and nothing in reach has its bytes: the site goes on
// without it, also where this machine recorded before. When the copy with the bytes is back,
// they are taken in.
func TestATakeOverGoesOnWithoutBytesOutOfReach(t *testing.T) {
	for _, kinds := range [][]string{{"shelf", "barn"}, {"shelf", "bucket"}, {"bucket", "barn"}, {"bucket1", "bucket2"}} {
		for _, again := range []bool{false, true} {
			r := newRanch(t)
			r.add(s3test.Fake(t), kinds...)
			r.visit("North/Windmill", "2019-06-21")
			r.wantCurrent(r.mirror())
			if again {
				r.takeOver("office")
			}
			r.reach(kinds[1])
			r.visit("North/Windmill", "2020-06-20")
			r.write("North/Windmill/2020-06-20/only.jpg", "only there")
			if rep := r.mirror(); rep.Made != 1 {
				t.Fatalf("%+v", rep)
			}
			ever := everCommitted(t, r.copies)
			r.remove("North/Windmill/2020-06-20/only.jpg")
			r.reach(kinds[0])
			if taken := r.takeOver("office"); !taken.Already {
				t.Errorf("%v: %+v", kinds, taken)
			}
			r.goesOnAtOnce(true)
			r.reach(kinds...)
			r.wantMet(r.settles(), ever)
		}
	}
}

// Who takes over knows of a version, and the only copy in reach has another history's in
// its place: that one stands there, the site goes on from it, and what is out of reach is
// taken in when it is back. In a bucket it goes on in a further object.
func TestATakeOverGoesOnFromWhatStandsThere(t *testing.T) {
	for _, kinds := range [][]string{{"barn", "shelf"}, {"bucket", "shelf"}, {"barn", "bucket"}} {
		desk := twoApart(t, kinds, "North/Windmill")
		ever := everCommitted(t, desk.copies)
		desk.reach(kinds[1])
		desk.takeOver("desk")
		desk.goesOnAtOnce(kinds[1] == "shelf")
		desk.reach(kinds...)
		desk.wantMet(desk.settles(), ever)
	}
}

// The bucket that is left got all of a version but the sidecar that commits it. Its manifest
// is the one that the seal names, so the site goes on from it, and no other waits.
func TestATakeOverGoesOnFromAVersionAllButCommitted(t *testing.T) {
	srv := s3test.Fake(t)
	r := newRanch(t)
	r.add(srv, "bucket", "barn")
	bucket, barn := r.copies[0], r.copies[1]
	r.visit("North/Windmill", "2019-06-21")
	r.wantCurrent(r.mirror())
	r.reach("barn")
	r.visit("North/Windmill", "2020-06-20")
	r.mirror()
	keys := everyKey(t, bucket.root)
	for key, b := range everyKey(t, barn.root) {
		if strings.HasPrefix(key, "north--windmill/v2/") && !strings.HasSuffix(key, ".sha256") {
			keys[key] = b
		}
	}
	r.set(srv, bucket, keys)
	must(t, store.WriteSeal(t.Context(), bucket.root, logOf(t, barn.root)))
	ever := everCommitted(t, r.copies)
	r.reach("bucket")
	laptop := r.takesOver(laptopID)
	laptop.goesOnAtOnce(false)
	laptop.reach("bucket", "barn")
	laptop.wantMet(laptop.settles(), ever)
}

// This machine noted versions on a copy as another history's that are the archive's now: once
// they are read anew the note is gone, and what only a copy out of reach has is waited for no more.
func TestATakeOverForgetsWhatWasLoose(t *testing.T) {
	r := newRanch(t)
	r.add(s3test.Fake(t), "shelf", "barn")
	r.visit("North/Windmill", "2019-06-21")
	r.wantCurrent(r.mirror())
	r.reach("barn")
	r.visit("North/Windmill", "2020-06-20")
	r.write("North/Windmill/2020-06-20/only.jpg", "only there")
	r.mirror()
	ever := everCommitted(t, r.copies)
	r.remove("North/Windmill/2020-06-20/only.jpg")
	loose := late.Loose{CopyID: r.copies[0].id, Notes: r.led}
	must(t, loose.Load())
	must(t, loose.Add("north--windmill", 0))
	r.reach("shelf")
	r.takeOver("office")
	for _, c := range r.copies {
		must(t, authority.Unread(r.led, c.id))
	}
	r.goesOnAtOnce(true)
	r.reach("shelf", "barn")
	r.wantMet(r.settles(), ever)
}
