package mirror

import (
	"bytes"
	"context"
	"testing"
	"time"

	"linecamp/daemon/authority"
	"linecamp/daemon/identity"
	"linecamp/daemon/mirror/adopt"
	"linecamp/daemon/reach"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/manifest/store/s3test"
)

// tryTakeOver makes the machine the one that records, with the copies that are not away.
func (r *ranch) tryTakeOver(machine string, with ...func(*authority.Taker)) (authority.Taken, error) {
	r.t.Helper()
	r.now = r.now.Add(time.Second)
	ctx := context.Background()
	var copies []authority.Copy
	for _, c := range r.copies {
		is := authority.Copy{Name: c.name, ID: c.id}
		if !c.away {
			is.Root = c.root
			if c.kind == "drive" {
				unlock, err := c.root.Lock(ctx)
				must(r.t, err)
				defer unlock()
			}
		}
		copies = append(copies, is)
	}
	taker := authority.Taker{Archive: archiveID, Folder: r.state, Self: identity.State{Author: r.author, Machine: machine},
		Copies: copies, Notes: r.led, Seal: r.cache, Now: func() time.Time { return r.now }, Adopt: func(was, is *seal.Seal) error {
			return adopt.History(r.led, r.cache, archiveName, copies, was, is)
		}}
	for _, change := range with {
		change(&taker)
	}
	return authority.TakeOver(ctx, taker)
}

func (r *ranch) takeOver(machine string) authority.Taken {
	r.t.Helper()
	taken, err := r.tryTakeOver(machine)
	must(r.t, err)
	return taken
}

// killedTakeOver is a take-over that ends between the author files and its line.
func (r *ranch) killedTakeOver(machine string) {
	r.t.Helper()
	type killed struct{}
	defer func() {
		if v := recover(); v != (killed{}) {
			r.t.Fatalf("the take-over was not killed: %v", v)
		}
	}()
	_, err := r.tryTakeOver(machine, func(t *authority.Taker) { t.Now = func() time.Time { panic(killed{}) } })
	must(r.t, err)
}

// rotSeal changes bytes of the seal of a copy that has one file of it.
func rotSeal(t testing.TB, root store.Root, old, to string) {
	t.Helper()
	log := logOf(t, root).Text(0, 99)
	if bytes.Count(log, []byte(old)) != 1 {
		t.Fatalf("%q is not there once:\n%s", old, log)
	}
	was, err := root.Stat(t.Context(), seal.File(0))
	must(t, err)
	_, err = root.Replace(t.Context(), seal.File(0), store.Bytes(bytes.Replace(log, []byte(old), []byte(to), 1)), &was)
	must(t, err)
}

const newID = "66666666-6666-4666-8666-666666666666"

// A new computer takes over while the seal of one copy rotted where it names the epoch.
// The seal of the other copy goes on, also if the computer was stopped on the way.
func TestTakeOverPastARottenEpoch(t *testing.T) {
	for _, stopped := range []bool{false, true} {
		for _, epoch := range []string{"3", "6"} {
			r := newRanch(t, "shelf", "loft")
			r.write("North/Alder/2020-06-20/1.jpg", "first")
			r.wantCurrent(r.mirror())
			r.author = barnID
			r.takeOver("barn")
			r.wantCurrent(r.mirror())
			shelf, loft := r.copies[0], r.copies[1]
			whole := logOf(t, shelf.root)
			rotSeal(t, loft.root, barnID+" 2", barnID+" "+epoch)
			r.loseState()
			r.author = newID
			if stopped {
				r.killedTakeOver("new")
			}
			taken := r.takeOver("new")
			if len(taken.Parted) != 1 || taken.Parted[0] != "loft" {
				t.Errorf("stopped %v, %s: %+v", stopped, epoch, taken)
			}
			kept, err := r.cache.Seal()
			must(t, err)
			s := logOf(t, shelf.root)
			if author, _ := s.Author(); !s.Extends(whole) || author != newID || kept.Digest() != s.Digest() {
				t.Errorf("stopped %v, %s: shelf has\n%sthe state folder\n%s", stopped, epoch, s.Text(0, 99), kept.Text(0, 99))
			}
			rotten := logOf(t, loft.root).Digest()
			r.wantCurrent(r.mirror()) // nothing waits for a mend, and the lines that gave way travel
			if got := logOf(t, loft.root); got.Digest() != logOf(t, shelf.root).Digest() {
				t.Errorf("stopped %v, %s: loft has\n%s", stopped, epoch, got.Text(0, 99))
			}
			if _, err := store.LateFile(t.Context(), loft.root, rotten); err != nil {
				t.Errorf("stopped %v, %s: the lines that gave way: %v", stopped, epoch, err)
			}
		}
	}
}

// A computer takes over with a drive in reach whose seal rotted, and the drive is unplugged
// before the next round. What only that drive has is waited for: it is not out of reach for good.
func TestTakeOverPastARottenSealWaitsForItsDrive(t *testing.T) {
	r := newRanch(t, "shelf", "loft")
	shelf, loft := r.copies[0], r.copies[1]
	r.write("North/Alder/2020-06-20/1.jpg", "first")
	r.wantCurrent(r.mirror())
	shelf.away = true
	r.write("North/Alder/2021-06-20/1.jpg", "second")
	r.mirror()
	shelf.away = false
	must(t, store.WriteSeal(t.Context(), shelf.root, logOf(t, loft.root))) // it goes ahead of the content
	rotSeal(t, loft.root, ":30:00Z version linecamp:saltbush-draw:north--alder v1", ":30:08Z version linecamp:saltbush-draw:north--alder v1")
	r.loseState()
	r.author = newID
	r.takeOver("new")
	loft.away = true
	r.mirror()
	if log := logOf(t, shelf.root); bytes.Contains(log.Text(0, 99), []byte(" lost ")) {
		t.Errorf("it is taken for lost:\n%s", log.Text(0, 99))
	}
	loft.away = false
	r.mirror()
	r.wantCurrent(r.mirror())
	if log := logOf(t, shelf.root); bytes.Contains(log.Text(0, 99), []byte(" lost ")) {
		t.Errorf("it is taken for lost:\n%s", log.Text(0, 99))
	}
}

// A take-over that was stopped before its line has not happened: nothing is recorded until
// it is run again, which settles it, on every copy in reach.
func TestAStoppedTakeOverIsRunAgain(t *testing.T) {
	for _, before := range []string{"nobody took over before", "somebody took over before"} {
		t.Run(before, func(t *testing.T) {
			r := newRanch(t, "shelf", "loft")
			r.write("North/Alder/2020-06-20/1.jpg", "first")
			r.wantCurrent(r.mirror())
			if before == "somebody took over before" {
				r.author = barnID
				r.takeOver("barn")
				r.wantCurrent(r.mirror())
			}
			whole := logOf(t, r.copies[0].root)
			r.loseState()
			r.author = newID
			r.killedTakeOver("new")
			r.write("North/Beech/2020-06-20/1.jpg", "second")
			if rep := r.mirror(); rep.Made != 0 {
				t.Errorf("it records without its line: %+v", rep)
			}
			r.takeOver("new")
			rep := r.mirror()
			if rep.Made != 1 {
				t.Errorf("%+v", rep)
			}
			r.wantCurrent(rep)
			for _, c := range r.copies {
				s := logOf(t, c.root)
				if author, epoch := s.Author(); !s.Extends(whole) || author != newID || epoch < 2 {
					t.Errorf("%s has\n%s", c.name, s.Text(0, 99))
				}
			}
		})
	}
}

// A bucket in which nothing changed since this machine's last round is known by one look,
// and is of another history all the same when that turns out to govern.
func TestAQuietBucketOfAnotherHistory(t *testing.T) {
	office := newRanch(t)
	office.addBucket(s3test.Fake(t), "shelf")
	office.addBucket(s3test.Fake(t), "loft")
	shelf, loft := office.copies[0], office.copies[1]
	office.write("North/Alder/2020-06-20/1.jpg", "first")
	office.wantCurrent(office.mirror())
	barn := office.beside(barnID, false)
	barn.folder = t.TempDir()
	barn.write("North/Alder/2020-06-20/1.jpg", "first")
	barn.copies[0].away = true
	barn.takeOver("barn")
	barn.write("North/Dogwood/2021-06-20/barn.jpg", "barn")
	if rep := barn.mirror(); rep.Made != 1 {
		t.Fatalf("the barn records nothing: %+v", rep)
	}
	office.now = barn.now
	loft.away = true
	office.write("North/Alder/2021-06-20/office.jpg", "office")
	office.write("North/Cedar/2021-06-20/1.jpg", "new")
	office.write("North/Elder/2021-06-20/1.jpg", "new")
	if rep := office.mirror(); rep.Made != 3 {
		t.Fatalf("the office records nothing: %+v", rep)
	}
	office.mirror()
	loft.away = false
	was, there := logOf(t, shelf.root), authorless(contents(t, shelf.root))
	for range 2 {
		rep := office.mirror()
		if rep.Copies[1].State != reach.Current || rep.Made != 0 {
			t.Errorf("%+v", rep)
		}
		if rep.Copies[0].State == reach.Current {
			t.Errorf("shelf is called current: %+v", rep)
		}
		if s := logOf(t, shelf.root); s.Digest() != was.Digest() {
			t.Errorf("shelf has\n%s", s.Text(0, 99))
		}
		diff(t, "shelf", authorless(contents(t, shelf.root)), there)
	}
}

// An author file that names the highest epoch there is stops recording, and a take-over
// settles that, also a second one.
func TestTakeOverAtTheHighestEpoch(t *testing.T) {
	r := newRanch(t, "shelf", "loft")
	r.write("North/Alder/2020-06-20/1.jpg", "first")
	r.wantCurrent(r.mirror())
	a, was, err := store.ReadAuthor(t.Context(), r.copies[1].root)
	must(t, err)
	a.Author, a.Machine, a.Epoch = barnID, "barn", seal.MaxEpoch
	_, err = store.WriteAuthor(t.Context(), r.copies[1].root, a, &was)
	must(t, err)
	r.write("North/Beech/2020-06-20/1.jpg", "second")
	if rep := r.mirror(); rep.Made != 0 {
		t.Fatalf("%+v", rep)
	}
	r.takeOver("office")
	rep := r.mirror()
	if rep.Made != 1 {
		t.Errorf("%+v", rep)
	}
	r.wantCurrent(rep)
	r.author = newID
	r.takeOver("new")
	r.write("North/Cedar/2020-06-20/1.jpg", "third")
	if rep = r.mirror(); rep.Made != 1 {
		t.Errorf("%+v", rep)
	}
	r.wantCurrent(rep)
}
