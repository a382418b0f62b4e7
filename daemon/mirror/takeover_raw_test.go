package mirror

import (
	"bytes"
	"fmt"
	"path/filepath"
	"testing"

	"linecamp/daemon/mend"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/manifest/store/s3test"
	"linecamp/verify"
	"linecamp/verify/rot"
)

// mends checks a copy in full and mends what it finds, as the commands do that the report
// of a round names, and returns what stays.
func (r *ranch) mends(c *copyOf) []mend.Unmended {
	r.t.Helper()
	log, err := r.cache.Seal()
	must(r.t, err)
	unlock, err := c.root.Lock(r.t.Context())
	if c.kind == "drive" {
		must(r.t, err)
		defer unlock()
	}
	in := mend.In{Archive: archiveName, Damage: r.damage(c), Seal: log, Expected: r.cache.Get, Aside: r.t.TempDir(), Folder: r.folder}
	for _, o := range r.copies {
		in.Copies = append(in.Copies, verify.Copy{Name: o.name, ID: o.id, Root: o.root})
	}
	rep, err := mend.Run(r.t.Context(), in)
	must(r.t, err)
	return rep.Unmended
}

// damage is what a full check of a copy finds.
func (r *ranch) damage(c *copyOf) []verify.Damage {
	r.t.Helper()
	log, err := r.cache.Seal()
	must(r.t, err)
	rep, err := rot.Check(r.t.Context(), verify.Copy{Name: c.name, ID: c.id, Root: c.root}, rot.Options{Allowance: -1, Seal: log, Workers: 2, Expected: r.cache.Get})
	must(r.t, err)
	return rep.Damage
}

// A copy was ahead of the one that is left, and a byte of its seal rotted. A person takes
// over, also with that copy in reach, and works on: whichever line does not read, what the
// copy had is taken in, and it is used on. What a mend puts in place of that seal is not in the way.
func TestTakeOverPastASealThatWasAhead(t *testing.T) {
	n := 0
	for _, kind := range []string{"drive", "bucket"} {
		for back := range 5 { // the line of the site's newest version is the last, and the first has both sites
			for _, cut := range []bool{false, true} { // the end of that line rots, so that it and the next are one
				if cut && back == 0 {
					continue
				}
				n++
				mended := []string{"not", "at once", "later"}[n%3]
				t.Run(fmt.Sprintf("%s, %d back, end %v, mended %s", kind, back, cut, mended), func(t *testing.T) {
					r := newRanch(t)
					r.add(s3test.Fake(t), kind, "shelf")
					ahead := r.copies[0]
					r.visit("North/Windmill", "2019-06-21")
					r.visit("South/Draw", "2019-06-21")
					r.wantCurrent(r.mirror())
					left := filepath.Join(t.TempDir(), "monitoring")
					must(t, copyTree(r.folder, left))
					r.reach(kind)
					for _, day := range []string{"2020-06-21", "2021-06-21", "2022-06-21"} {
						r.visit("North/Windmill", day)
						r.mirror()
					}
					log := logOf(t, ahead.root)
					text := log.Text(0, log.Len())
					lines := bytes.SplitAfter(text, []byte("\n"))
					at := len(bytes.Join(lines[:log.Len()-back], nil)) - 1 // where that line ends
					if !cut {
						at -= 70 // within the word of its version
					}
					text[at] ^= 0x20
					was, err := ahead.root.Stat(t.Context(), seal.File(0))
					must(t, err)
					_, err = ahead.root.Replace(t.Context(), seal.File(0), store.Bytes(text), &was)
					must(t, err)

					r.folder = left
					r.reach(kind, "shelf")
					o := r.takesOver(laptopID)
					ever := everCommitted(t, o.copies)
					if mended == "at once" {
						o.mends(ahead)
					}
					if mended == "later" { // ours has as many lines by then
						o.reach("shelf")
					}
					for _, day := range []string{"2020-06-22", "2021-06-22", "2022-06-22"} {
						o.write("North/Windmill/"+day+"/plot.jpg", "ours of "+day)
						if rep := o.mirror(); rep.Made == 0 {
							t.Fatalf("nothing is recorded: %+v", rep)
						}
					}
					if mended == "later" {
						o.reach(kind, "shelf")
						if left := o.mends(ahead); len(left) > 0 {
							t.Errorf("mend leaves %+v", left)
						}
					}
					for d, where := range everCommitted(t, o.copies) {
						ever[d] = where
					}
					o.wantMet(o.settles(), ever)
					for _, c := range o.copies {
						if d := o.damage(c); len(d) > 0 {
							t.Errorf("%s: a check finds %+v", c.name, d)
						}
					}
				})
			}
		}
	}
}
