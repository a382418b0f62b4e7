package mirror

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"linecamp/daemon/authority"
	"linecamp/daemon/authority/marks"
	"linecamp/daemon/reach"
	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/manifest/store/s3test"
)

const barnID = "44444444-4444-4444-8444-444444444444"

func logOf(t testing.TB, root store.Root) *seal.Seal {
	t.Helper()
	s, err := store.ReadSeal(context.Background(), root)
	must(t, err)
	return s
}

// parted is an office and a barn with two copies, shelf and loft, that parted: the barn took
// over with loft alone in reach and recorded there, and the office recorded on shelf.
func parted(t *testing.T, bucket bool) (office, barn *ranch) {
	office = newRanch(t, "shelf")
	if bucket {
		office.addBucket(s3test.Fake(t), "loft")
	} else {
		office.addDrive("loft")
	}
	office.write("North/Alder/2020-06-20/1.jpg", "first")
	office.write("North/Beech/2020-06-20/1.jpg", "other")
	office.wantCurrent(office.mirror())
	barn = office.beside(barnID, false)
	barn.folder = t.TempDir()
	barn.write("North/Alder/2020-06-20/1.jpg", "first")
	barn.write("North/Beech/2020-06-20/1.jpg", "other")
	barn.copies[0].away = true
	barn.takeOver("barn")
	barn.write("North/Alder/2021-06-20/barn.jpg", "barn")
	if rep := barn.mirror(); rep.Made != 1 {
		t.Fatalf("the barn records nothing: %+v", rep)
	}
	office.now = barn.now
	office.copies[1].away = true
	office.write("North/Alder/2021-06-20/office.jpg", "office")
	office.write("North/Cedar/2021-06-20/1.jpg", "new")
	if rep := office.mirror(); rep.Made != 2 {
		t.Fatalf("the office records nothing: %+v", rep)
	}
	office.copies[1].away = false
	return office, barn
}

// A machine whose history does not govern goes over to the other one, keeps its own
// log, and brings it to the copies; it makes nothing until a person has it take over,
// and then goes on at once.
func TestAMachineStepsDown(t *testing.T) {
	for _, bucket := range []bool{false, true} {
		t.Run(fmt.Sprint("bucket: ", bucket), func(t *testing.T) {
			office, barn := parted(t, bucket)
			a, b := office.copies[0], office.copies[1]
			was, governs := logOf(t, a.root), logOf(t, b.root)
			there := contents(t, a.root)
			for range 2 {
				rep := office.mirror()
				if rep.Made != 0 || rep.Copies[0].State != reach.Failed || rep.Copies[1].State != reach.Current {
					t.Fatalf("%+v", rep)
				}
				if said := fmt.Sprint(reasons(rep)); !strings.Contains(said, "another computer records this archive: barn") || !strings.Contains(said, "linecamp intake") {
					t.Errorf("it says %s", said)
				}
				if gone := rep.Copies[1].Gone; len(gone) > 0 {
					t.Errorf("it takes for gone: %+v", gone)
				}
			}
			kept, err := office.cache.Seal()
			must(t, err)
			if kept.Digest() != governs.Digest() {
				t.Errorf("the state folder has\n%s", kept.Text(0, kept.Len()))
			}
			if s := logOf(t, a.root); s.Digest() != was.Digest() {
				t.Errorf("shelf has\n%s", s.Text(0, s.Len()))
			}
			diff(t, "shelf", contents(t, a.root), there)
			var late []manifest.Digest
			for s, err := range store.LateLogs(t.Context(), b.root) {
				must(t, err)
				late = append(late, s.Digest())
			}
			if len(late) != 1 || late[0] != was.Digest() {
				t.Errorf("beside the seal of loft are %v", late)
			}

			// Nor while loft is away.
			b.away = true
			if rep := office.mirror(); rep.Made != 0 {
				t.Errorf("%+v", rep)
			}
			b.away = false

			// The barn goes on as if nothing had been.
			barn.now = office.now
			barn.write("North/Beech/2021-06-20/barn.jpg", "barn's")
			if rep := barn.mirror(); rep.Made != 1 || rep.Copies[1].State != reach.Current {
				t.Errorf("%+v", rep)
			}

			office.now = barn.now
			if taken := office.takeOver("office"); taken.Epoch != 3 || len(taken.Parted) != 1 || taken.Parted[0] != "shelf" {
				t.Errorf("%+v", taken)
			}
			ever := everCommitted(t, office.copies)
			rep := office.mirror()
			if rep.Made == 0 || rep.Copies[1].State != reach.Current || rep.Copies[0].State != reach.Current {
				t.Errorf("after taking over: %+v", rep)
			}
			if s := logOf(t, b.root); !s.Extends(governs) {
				t.Errorf("loft has\n%s", s.Text(0, s.Len()))
			}
			office.wantMet(office.settles(), ever)
			barn.now = office.now
			if rep := barn.mirror(); rep.Made != 0 {
				t.Errorf("the barn goes on: %+v", rep)
			}
		})
	}
}

// What was begun of the history that is left, or passed over, holds no site up in the
// one that goes on.
func TestMarksOfAHistoryThatIsLeftGo(t *testing.T) {
	office, _ := parted(t, false)
	shelf := office.copies[0]
	lists := []*marks.List{marks.Begun(office.led), marks.PassedOver(office.led)}
	for _, list := range lists {
		must(t, list.Add(marks.Mark{Copy: shelf.id, Slug: "north--beech", N: 2}))
	}
	office.mirror()
	for _, list := range lists {
		if all, err := list.All(); err != nil || len(all) > 0 {
			t.Errorf("still marked: %v %v", all, err)
		}
	}
}

// A version that was passed over on a drive is so no more once the drive has the sealed
// one: what stands in its place later is not set aside as that.
func TestAMarkOfAVersionPassedOverGoesWithTheSealedOne(t *testing.T) {
	r := newRanch(t, "shelf", "loft")
	r.write("North/Beech/2020-06-20/1.jpg", "first")
	r.wantCurrent(r.mirror())
	list := marks.PassedOver(r.led)
	later := marks.Mark{Copy: r.copies[1].id, Slug: "north--beech", N: 3}
	must(t, errors.Join(list.Add(marks.Mark{Copy: later.Copy, Slug: later.Slug, N: 2}), list.Add(later)))
	r.write("North/Beech/2021-06-20/1.jpg", "second")
	r.wantCurrent(r.mirror())
	if all, err := list.All(); err != nil || len(all) != 1 || all[0] != later {
		t.Errorf("marked: %v %v", all, err)
	}
}

// A version that stands where this computer began one, and made it elsewhere, may be another
// computer's: that gives way only once another copy has what it brought.
func TestAnothersVersionWhereOneWasPassedOver(t *testing.T) {
	office := newRanch(t, "shelf", "loft")
	shelf, loft := office.copies[0], office.copies[1]
	office.write("North/Beech/2020-06-20/1.jpg", "first")
	office.wantCurrent(office.mirror())
	must(t, marks.PassedOver(office.led).Add(marks.Mark{Copy: shelf.id, Slug: "north--beech", N: 2}))

	barn := office.beside(barnID, false)
	barn.folder, barn.machine = t.TempDir(), "barn"
	barn.copies[1].away = true
	barn.write("North/Beech/2021-06-20/1.jpg", "of the barn")
	barn.takeOver("barn")
	if rep := barn.mirror(); rep.Made != 1 {
		t.Fatalf("%+v", rep)
	}
	office.now = barn.now.Add(time.Hour)
	shelf.away = true
	office.author = newID // as on a computer that got the state folder
	office.takeOver("office")
	office.write("North/Beech/2021-06-20/2.jpg", "of the office")
	if rep := office.mirror(); rep.Made != 1 {
		t.Fatalf("%+v", rep)
	}
	shelf.away, loft.away = false, true
	there := contents(t, shelf.root)["north--beech/v2/inventory.json"]
	office.mirror()
	if is := contents(t, shelf.root)["north--beech/v2/inventory.json"]; is != there {
		t.Errorf("the barn's version gave way while no other copy in reach has it: %s, was %s", is, there)
	}
	loft.away = false
	office.mirror()
	office.wantOnlyCurrent(office.mirror())
	if !slices.Contains(slices.Collect(maps.Values(contents(t, loft.root))), manifest.Sum([]byte("of the barn"))) {
		t.Error("loft does not have what the barn recorded")
	}
}

func authorless(files map[string]manifest.Digest) map[string]manifest.Digest {
	delete(files, store.AuthorKey)
	return files
}

// With the copies of both histories in reach, a machine of either may take over, also
// one that knows neither, and goes on with the one that governs.
func TestTakeOverWithAnotherHistoryInReach(t *testing.T) {
	for _, who := range []string{"office", "barn", "new"} {
		t.Run(who, func(t *testing.T) {
			office, barn := parted(t, false)
			governs := logOf(t, office.copies[1].root)
			r := map[string]*ranch{"office": office, "barn": barn, "new": office}[who]
			r.now = office.now
			if who == "new" {
				office.loseState()
				office.author = "55555555-5555-4555-8555-555555555555"
			}
			r.copies[0].away = false
			taken := r.takeOver(who)
			if len(taken.Parted) != 1 || taken.Parted[0] != "shelf" {
				t.Errorf("%+v", taken)
			}
			kept, err := r.cache.Seal()
			must(t, err)
			if !kept.Extends(governs) {
				t.Errorf("it goes on with\n%s", kept.Text(0, kept.Len()))
			}
			for _, c := range r.copies {
				a, _, err := store.ReadAuthor(t.Context(), c.root)
				must(t, err)
				if a.Author != r.author || a.Epoch != 3 {
					t.Errorf("%s names %+v", c.name, a)
				}
			}
			r.write("North/Dogwood/2021-06-20/1.jpg", "after")
			if rep := r.mirror(); rep.Made == 0 || rep.Copies[1].State != reach.Current || rep.Copies[0].State != reach.Current {
				t.Errorf("%+v", rep)
			}
		})
	}
}

// Two machines that took over in one epoch, each with its own copy, do not stop each
// other: the seal tells which of them records.
func TestOneEpochTwice(t *testing.T) {
	office := newRanch(t, "shelf", "loft")
	office.write("North/Alder/2020-06-20/1.jpg", "first")
	office.wantCurrent(office.mirror())
	barn, shed := office.beside(barnID, false), office.beside("66666666-6666-4666-8666-666666666666", false)
	barn.copies[0].away, shed.copies[1].away = true, true
	barn.takeOver("barn")
	shed.now = barn.now
	shed.takeOver("shed") // a second later
	barn.copies[0].away, shed.copies[1].away = false, false
	for _, r := range []*ranch{barn, shed} {
		r.now = shed.now
		r.folder = t.TempDir()
		r.write("North/Alder/2020-06-20/1.jpg", "first")
		r.write("North/Beech/2020-06-20/1.jpg", r.author)
	}
	if rep := barn.mirror(); rep.Made != 0 || rep.Copies[0].State != reach.Current {
		t.Errorf("the earlier one: %+v", rep)
	}
	if rep := shed.mirror(); rep.Made != 1 || rep.Copies[0].State != reach.Current {
		t.Errorf("the later one: %+v", rep)
	}
}

// A copy whose author file names another machine in this one's epoch does not stop it:
// that one began a take-over there, and by the seal it is this one that records.
func TestAnAuthorFileOfThisEpochIsReplaced(t *testing.T) {
	r := newRanch(t, "shelf", "loft")
	r.write("North/Alder/2020-06-20/1.jpg", "first")
	r.wantCurrent(r.mirror())
	loft := r.copies[1]
	loft.away = true
	r.author = "55555555-5555-4555-8555-555555555555"
	r.takeOver("office")
	loft.away = false
	a, was, err := store.ReadAuthor(t.Context(), loft.root)
	must(t, err)
	a.Author, a.Machine, a.Epoch = barnID, "barn", 2
	_, err = store.WriteAuthor(t.Context(), loft.root, a, &was)
	must(t, err)
	r.write("North/Beech/2020-06-20/1.jpg", "new")
	rep := r.mirror()
	if rep.Made != 1 {
		t.Errorf("%+v", rep)
	}
	r.wantCurrent(rep)
	if a, _, err = store.ReadAuthor(t.Context(), loft.root); err != nil || a.Author != r.author {
		t.Errorf("loft names %+v, %v", a, err)
	}
}

// Two machines recorded without knowing of each other, and nobody took over. The
// later one steps down, and does not forget that when the other's copy is away.
func TestTheLaterOfTwoFirstRecordersStepsDown(t *testing.T) {
	office := newRanch(t, "shelf", "loft", "spare")
	barn := office.beside(barnID, false)
	office.write("North/Alder/2020-06-20/1.jpg", "first")
	for i, away := range []bool{false, true, true} {
		office.copies[i].away, barn.copies[i].away = away, i != 1
	}
	skip := func(i ...int) func(*In) {
		return func(in *In) {
			var some []Copy
			for _, i := range i {
				some = append(some, in.Copies[i])
			}
			in.Copies = some
		}
	}
	if rep := office.mirror(skip(0)); rep.Made != 1 {
		t.Fatalf("%+v", rep)
	}
	barn.now = office.now.Add(time.Hour)
	barn.folder = t.TempDir()
	barn.write("North/Beech/2020-06-20/1.jpg", "barn's")
	if rep, err := barn.try(t.Context(), skip(1)); err != nil || rep.Made != 1 {
		t.Fatalf("%+v %v", rep, err)
	}
	if _, err := barn.try(t.Context(), skip(1)); err != nil { // it knows that it is the one
		t.Fatal(err)
	}
	barn.copies[0].away, barn.copies[2].away = false, false
	if rep, err := barn.try(t.Context(), skip(0, 1, 2)); err != nil || rep.Made != 0 {
		t.Fatalf("it met the other: %+v %v", rep, err)
	}
	barn.copies[0].away = true
	barn.write("North/Beech/2021-06-20/1.jpg", "more")
	if rep, err := barn.try(t.Context(), skip(0, 1, 2)); err != nil || rep.Made != 0 {
		t.Fatalf("the other is away: %+v %v", rep, err)
	}
}

// A bit that flips in the seal of one copy has no machine step down, wherever it is.
func TestAFlippedBitHasNobodyStepDown(t *testing.T) {
	office := newRanch(t, "shelf", "loft")
	office.write("North/Alder/2020-06-20/1.jpg", "first")
	office.wantCurrent(office.mirror())
	office.author = newID
	office.takeOver("office")
	office.write("North/Beech/2020-06-20/1.jpg", "other")
	office.wantCurrent(office.mirror())
	b := office.copies[1]
	whole := logOf(t, b.root).Text(0, 99)
	if author, _ := logOf(t, b.root).Author(); author != newID {
		t.Fatalf("no line names who took over:\n%s", whole)
	}
	for i := 0; i < len(whole); i += 3 {
		rotten := append([]byte(nil), whole...)
		rotten[i] ^= 1
		was, err := b.root.Stat(t.Context(), seal.File(0))
		must(t, err)
		_, err = b.root.Replace(t.Context(), seal.File(0), store.Bytes(rotten), &was)
		must(t, err)
		rep := office.mirror()
		if rep.Copies[0].State != reach.Current || rep.Copies[1].State != reach.Failed {
			t.Fatalf("bit %d: %+v", i, rep)
		}
		if late, err := office.cache.LateSeals(); err != nil || len(late) > 0 {
			t.Fatalf("bit %d: it stepped down: %v", i, err)
		}
	}
}

// The lines of a take-over come to a copy by a third computer, which does not record and
// leaves the author file there alone. Who recorded before stops there all the same.
func TestATakeOverThatAThirdComputerBrought(t *testing.T) {
	office := newRanch(t, "shelf", "loft", "attic")
	shelf, loft, attic := office.copies[0], office.copies[1], office.copies[2]
	office.write("North/Alder/2020-06-20/1.jpg", "first")
	office.wantCurrent(office.mirror())
	barn, van := office.beside(barnID, false), office.beside(newID, false)
	barn.folder, van.folder = t.TempDir(), t.TempDir()

	shelf.away, loft.away = true, true // what the office alone knows is on the attic drive
	office.write("North/Beech/2020-06-20/1.jpg", "of the office")
	if rep := office.mirror(); rep.Made != 1 {
		t.Fatalf("%+v", rep)
	}
	barn.now = office.now
	barn.copies[0].away, barn.copies[2].away = true, true
	barn.takeOver("barn")
	barn.write("North/Cedar/2020-06-20/1.jpg", "of the barn")
	if rep := barn.mirror(); rep.Made != 1 {
		t.Fatalf("%+v", rep)
	}
	van.now = barn.now
	van.copies[2].away = true
	van.mirror()
	if author, _ := logOf(t, shelf.root).Author(); author != barnID {
		t.Fatalf("the van did not bring the line:\n%s", logOf(t, shelf.root).Text(0, 99))
	}
	if a, _, err := store.ReadAuthor(t.Context(), shelf.root); err != nil || a.Author != authorID {
		t.Fatalf("shelf names %+v, %v", a, err)
	}

	office.now = van.now
	shelf.away, attic.away = false, true
	office.write("North/Dogwood/2021-06-20/1.jpg", "new")
	if rep := office.mirror(); rep.Made != 0 {
		t.Errorf("it records beside the barn: %+v", rep)
	}
	if last, err := authority.LastAuthor(office.led, archiveID); err != nil || last.Author != barnID {
		t.Errorf("it takes %+v for who records, %v", last, err)
	}
	if kept, err := office.cache.Seal(); err != nil || !logOf(t, shelf.root).Extends(kept) {
		t.Errorf("it goes on with a history of its own: %v", err)
	}
}
