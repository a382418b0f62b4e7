package mirror

import (
	"bytes"
	"fmt"
	"strings"
	"testing"

	"linecamp/daemon/mirror/report"
	"linecamp/daemon/reach"
	"linecamp/manifest/store"
	"linecamp/manifest/store/s3test"
)

// rotAuthor changes the bytes of a copy's author file, wherever old is in it.
func rotAuthor(t testing.TB, c *copyOf, old, to string) []byte {
	t.Helper()
	b, was, err := store.ReadSmall(t.Context(), c.root, store.AuthorKey, store.MaxSmall)
	must(t, err)
	if !bytes.Contains(b, []byte(old)) {
		t.Fatalf("%q is not in\n%s", old, b)
	}
	b = bytes.Replace(b, []byte(old), []byte(to), 1)
	_, err = c.root.Replace(t.Context(), store.AuthorKey, store.Bytes(b), &was)
	must(t, err)
	return b
}

// rottenAuthors are ways in which an author file rots that this machine wrote.
var rottenAuthors = [][2]string{
	{"{", "z"}, {"{", ""}, {`"author"`, `"authos"`}, {`"machine"`, `"machinf"`}, {`"epoch"`, `"epoci"`},
	{authorID, "3" + authorID[1:]}, {authorID, authorID[:9] + "r" + authorID[10:]},
	{archiveID, "3" + archiveID[1:]}, {archiveID, "q" + archiveID[1:]},
}

// An author file that rotted stops nothing where this machine records: its round says so
// and writes the file again, whether or not somebody ever took over.
func TestAnAuthorFileThatRottedIsWrittenAgain(t *testing.T) {
	for _, arranged := range []string{"a drive", "a bucket", "both"} {
		for _, tookOver := range []bool{false, true} {
			for i, rot := range rottenAuthors {
				t.Run(fmt.Sprint(arranged, ", took over ", tookOver, ", ", i), func(t *testing.T) {
					r := newRanch(t)
					if arranged != "a bucket" {
						r.addDrive("shelf")
					}
					if arranged != "a drive" {
						r.addBucket(s3test.Fake(t), "loft")
					}
					r.write("North/Alder/2020-06-20/1.jpg", "first")
					r.author = newID
					if !tookOver {
						r.author = authorID
					}
					r.wantCurrent(r.mirror())
					if tookOver {
						r.author = authorID
						r.takeOver("office")
					}
					r.wantCurrent(r.mirror())
					was, _, err := store.ReadAuthor(t.Context(), r.copies[0].root)
					must(t, err)
					rotAuthor(t, r.copies[0], rot[0], rot[1])
					r.write("North/Beech/2020-06-20/1.jpg", "second")
					rep := r.mirror()
					if rep.Made != 1 || len(rep.Waiting) > 0 {
						t.Errorf("%+v", rep)
					}
					if note := rep.Copies[0].Note; !strings.Contains(note, "who records") {
						t.Errorf("it says %q", note)
					}
					r.wantCurrent(rep)
					is, _, err := store.ReadAuthor(t.Context(), r.copies[0].root)
					if is.Round = was.Round; err != nil || is != was {
						t.Errorf("it names %+v, %v; it named %+v", is, err, was)
					}
					r.write("North/Cedar/2020-06-20/1.jpg", "third")
					if rep := r.mirror(); rep.Made != 1 || rep.Copies[0].Note != "" {
						t.Errorf("the round after: %+v", rep)
					}
				})
			}
		}
	}
}

// newerAuthor makes a copy's author file one of a newer linecamp: it says more than this
// one knows, before, between and after what it does.
func newerAuthor(t testing.TB, c *copyOf) []byte {
	t.Helper()
	rotAuthor(t, c, `"archive"`, `"since": {"by": [1, "x"]}, "archive"`)
	rotAuthor(t, c, `"machine"`, `"machinf": "x", "machine"`)
	return rotAuthor(t, c, "\n}", ", \"fence\": null\n}")
}

// What a newer linecamp says in an author file is passed over: nothing rotted, and the file
// stays as it is until a round has something of its own to write there.
func TestAnAuthorFileOfANewerLinecampIsNoRot(t *testing.T) {
	for _, arranged := range []string{"a drive", "a bucket", "both"} {
		for _, tookOver := range []bool{false, true} {
			t.Run(fmt.Sprint(arranged, ", took over ", tookOver), func(t *testing.T) {
				r := newRanch(t)
				if arranged != "a bucket" {
					r.addDrive("shelf")
				}
				if arranged != "a drive" {
					r.addBucket(s3test.Fake(t), "loft")
				}
				r.write("North/Alder/2020-06-20/1.jpg", "first")
				r.wantCurrent(r.mirror())
				if tookOver {
					r.takeOver("office")
				}
				r.wantCurrent(r.mirror())
				var there [][]byte
				for _, c := range r.copies {
					there = append(there, newerAuthor(t, c))
				}
				for made := range 2 {
					if made > 0 {
						r.write("North/Beech/2020-06-20/1.jpg", "second")
					}
					rep := r.mirror()
					r.wantCurrent(rep)
					if rep.Made != made || len(rep.Waiting) > 0 {
						t.Errorf("%d versions to make: %+v", made, rep)
					}
					for i, c := range r.copies {
						b, _, err := store.ReadSmall(t.Context(), c.root, store.AuthorKey, store.MaxSmall)
						if named := c.kind != "drive" && made > 0; err != nil || rep.Copies[i].Note != "" || !named && !bytes.Equal(b, there[i]) {
							t.Errorf("%s: %q, %v\n%s", c.name, rep.Copies[i].Note, err, b)
						}
					}
				}
			})
		}
	}
}

// Another machine's author file says who records, whatever else it says, and a person may
// take over from there.
func TestANewerAuthorFileStopsAnother(t *testing.T) {
	r := newRanch(t, "shelf")
	r.write("North/Alder/2020-06-20/1.jpg", "first")
	r.mirror()
	r.mirror()
	r.beside(barnID, false).killedTakeOver("barn")
	there := newerAuthor(t, r.copies[0])
	r.write("North/Beech/2020-06-20/1.jpg", "second")
	if rep := r.wantAuthorLeft(r.copies[0], there); rep.Copies[0].State == reach.Failed || !strings.Contains(fmt.Sprint(reasons(rep)), "barn") {
		t.Errorf("it says %+v", rep)
	}
	r.takeOver("office")
	rep := r.mirror()
	if rep.Made != 1 {
		t.Errorf("after taking over: %+v", rep)
	}
	r.wantCurrent(rep)
}

// wantAuthorLeft wants a round to record nothing, and to leave an author file as it is.
func (r *ranch) wantAuthorLeft(c *copyOf, there []byte) report.Report {
	r.t.Helper()
	rep := r.mirror()
	if rep.Made != 0 {
		r.t.Errorf("it records: %+v", rep)
	}
	if b, _, err := store.ReadSmall(r.t.Context(), c.root, store.AuthorKey, store.MaxSmall); err != nil || !bytes.Equal(b, there) {
		r.t.Errorf("%s has %s, %v; it had %s", c.name, b, err, there)
	}
	return rep
}

// Where nothing tells that this machine records, an author file that rotted tells it neither:
// a person does.
func TestAnAuthorFileThatRottedNamesNobody(t *testing.T) {
	for _, state := range []string{"another's", "lost"} {
		t.Run(state, func(t *testing.T) {
			r := newRanch(t, "shelf")
			r.write("North/Alder/2020-06-20/1.jpg", "first")
			r.mirror()
			r.mirror()
			shelf := r.copies[0]
			o := r
			if state == "lost" {
				r.loseState()
			} else {
				o = r.beside(barnID, false)
			}
			there := rotAuthor(t, shelf, "{", "z")
			o.write("North/Beech/2020-06-20/1.jpg", "second")
			for range 2 {
				if said := fmt.Sprint(reasons(o.wantAuthorLeft(o.copies[0], there))); !strings.Contains(said, "--take-over") || !strings.Contains(said, "shelf") {
					t.Errorf("it says %s", said)
				}
			}
			o.takeOver("office")
			rep := o.mirror()
			if rep.Made != 1 {
				t.Errorf("after taking over: %+v", rep)
			}
			o.wantCurrent(rep)
		})
	}
}

// A take-over is heeded, whatever rotted on the copy beside: by the file of another copy,
// by the line of the seal, and where the seal is of another history.
func TestAnAuthorFileThatRottedHidesNoTakeOver(t *testing.T) {
	t.Run("the other copy names it", func(t *testing.T) {
		r := newRanch(t, "shelf", "loft")
		r.write("North/Alder/2020-06-20/1.jpg", "first")
		r.wantCurrent(r.mirror())
		r.wantCurrent(r.mirror())
		r.beside(barnID, false).killedTakeOver("barn")
		there := rotAuthor(t, r.copies[0], "{", "z")
		r.write("North/Beech/2020-06-20/1.jpg", "second")
		r.wantAuthorLeft(r.copies[0], there)
	})
	t.Run("its seal has the line", func(t *testing.T) {
		r := newRanch(t, "shelf")
		r.write("North/Alder/2020-06-20/1.jpg", "first")
		r.mirror()
		r.mirror()
		r.beside(barnID, false).takeOver("barn")
		there := rotAuthor(t, r.copies[0], "{", "z")
		r.write("North/Beech/2020-06-20/1.jpg", "second")
		r.wantAuthorLeft(r.copies[0], there)
	})
	t.Run("its seal is of another history", func(t *testing.T) {
		office, barn := parted(t, false)
		loft := office.copies[1]
		there := rotAuthor(t, loft, "{", "z")
		log := logOf(t, loft.root)
		office.write("North/Elder/2021-06-20/1.jpg", "more")
		rep := office.mirror()
		if rep.Copies[1].State != reach.Failed {
			t.Errorf("%+v", rep)
		}
		if b, _, err := store.ReadSmall(t.Context(), loft.root, store.AuthorKey, store.MaxSmall); err != nil || !bytes.Equal(b, there) {
			t.Errorf("loft has %s, %v", b, err)
		}
		if s := logOf(t, loft.root); s.Digest() != log.Digest() {
			t.Errorf("loft's seal is\n%s", s.Text(0, 99))
		}
		barn.now = office.now
		barn.copies[0].away = true
		barn.write("North/Fir/2021-06-20/1.jpg", "barn's")
		if rep := barn.mirror(); rep.Made != 1 || rep.Copies[1].State != reach.Current {
			t.Errorf("the barn: %+v", rep)
		}
	})
}

// A valid file of another author stops, also where it is as if this machine had never been.
func TestAnAuthorFileOfAnotherIsNoRot(t *testing.T) {
	for _, epoch := range []int{1, 2} {
		r := newRanch(t, "shelf", "loft")
		r.write("North/Alder/2020-06-20/1.jpg", "first")
		r.wantCurrent(r.mirror())
		r.wantCurrent(r.mirror())
		a, was, err := store.ReadAuthor(t.Context(), r.copies[0].root)
		must(t, err)
		a.Author, a.Epoch = barnID, epoch
		_, err = store.WriteAuthor(t.Context(), r.copies[0].root, a, &was)
		must(t, err)
		there, _, err := store.ReadSmall(t.Context(), r.copies[0].root, store.AuthorKey, store.MaxSmall)
		must(t, err)
		r.write("North/Beech/2020-06-20/1.jpg", "second")
		r.wantAuthorLeft(r.copies[0], there)
	}
}
