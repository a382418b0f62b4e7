package mirror

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"linecamp/daemon/attention"
	"linecamp/daemon/mirror/gone"
	"linecamp/daemon/mirror/late"
	"linecamp/daemon/mirror/report"
	"linecamp/daemon/reach"
	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/s3test"
	"linecamp/verify"
	"linecamp/verify/rot"
)

// metOnce is a machine that took another history in, so that both copies keep its log.
func metOnce(t *testing.T, srv *s3test.Server, first string) (o *ranch, log manifest.Digest) {
	t.Helper()
	r := newRanch(t)
	r.add(srv, first, "barn")
	r.visit("North/Windmill", "2019-06-21")
	r.wantCurrent(r.mirror())
	r.reach(first)
	o = r.takesOver(laptopID)
	r.reach("barn")
	r.write("North/Windmill/2021-06-21/plot.jpg", "theirs")
	r.mirror()
	log = logOf(t, r.copies[1].root).Digest()
	o.now = r.now
	o.reach(first, "barn")
	o.settles()
	if rep := o.mirror(); rep.Made != 0 || rep.Wants() {
		t.Fatalf("it is not settled: %+v", rep)
	}
	for _, c := range o.copies {
		if !keepsLog(t, c, log) {
			t.Fatalf("%s does not keep the log", c.name)
		}
	}
	return o, log
}

func keepsLog(t *testing.T, c *copyOf, log manifest.Digest) bool {
	_, err := store.LateFile(t.Context(), c.root, log)
	return err == nil
}

// checks has a full check of each copy in reach, remembers what it found as the daemon does,
// and returns all of it.
func (r *ranch) checks() (all []string) {
	r.t.Helper()
	for _, c := range r.copies {
		if c.away {
			continue
		}
		o := rot.Options{Allowance: -1, Memory: r.led, Expected: r.cache.Get, Workers: 1}
		var err error
		o.Seal, err = r.cache.Seal()
		must(r.t, err)
		o.Had, o.HadLines, o.HadLogs, err = gone.Had(r.led, c.id)
		must(r.t, err)
		found, err := rot.Check(r.t.Context(), verify.Copy{Name: c.name, ID: c.id, Root: c.root}, o)
		must(r.t, err)
		must(r.t, gone.Found(r.led, c.id, found))
		must(r.t, r.led.SetDamage(c.id, found.Damage))
		for _, d := range found.Damage {
			all = append(all, fmt.Sprint(c.name, " ", d.Kind, " ", d.Content))
		}
	}
	return all
}

func (r *ranch) wantDamage(want int) {
	r.t.Helper()
	if damage, err := r.led.Damage(); err != nil || len(damage) != want {
		r.t.Errorf("on record: %+v, %v", damage, err)
	}
}

// A log of another history that went from a copy, or rotted there, is damage that a check
// names, and the round after puts it there again. No round asks for it before.
func TestALogThatWentIsPutThereAgain(t *testing.T) {
	for _, first := range []string{"attic", "bucket"} {
		for _, kind := range []string{verify.Gone, verify.Altered} {
			t.Run(first+" "+kind, func(t *testing.T) {
				behind, asked := counted(t, s3test.Fake(t))
				r, log := metOnce(t, behind, first)
				c, key := r.copies[0], store.LateKey(log)
				asks := func(do func()) int32 {
					before := asked.Load()
					do()
					return asked.Load() - before
				}
				quiet := asks(func() { r.mirror() })
				checked := asks(func() { r.checks() })

				keys := everyKey(t, c.root)
				if delete(keys, key); kind == verify.Altered {
					keys[key] = []byte("rot\n")
				}
				r.set(behind, c, keys)
				if n := asks(func() { r.mirror() }); n != quiet || keepsLog(t, c, log) {
					t.Errorf("a round before the check makes %d requests, and one where all is well %d", n, quiet)
				}
				for range 2 { // a second check says no less
					var found []string
					n := asks(func() { found = r.checks() })
					if !slices.Equal(found, []string{first + " " + kind + " " + key}) {
						t.Errorf("found %q", found)
					}
					if n > checked {
						t.Errorf("the check makes %d requests, and one where all is well %d", n, checked)
					}
					r.wantDamage(1)
				}
				if rep := r.mirror(); !keepsLog(t, c, log) || rep.Made != 0 || rep.Copies[0].State != reach.Current {
					t.Errorf("it is not put there again: %+v", rep)
				}
				r.wantDamage(0)
				if found := r.checks(); len(found) > 0 {
					t.Errorf("found %q", found)
				}
				if n := asks(func() { r.mirror() }); n != quiet {
					t.Errorf("a round after that makes %d requests, and one before all that %d", n, quiet)
				}
			})
		}
	}
}

// A log that is on no copy any more is said until a person was told, and is no damage for ever. While a copy
// out of reach may have it, or one has it and it rotted, that is not said.
func TestALogThatIsNowhereIsSaidOnce(t *testing.T) {
	for _, first := range []string{"attic", "bucket"} {
		srv := s3test.Fake(t)
		r, log := metOnce(t, srv, first)
		key := store.LateKey(log)
		says := func(rep report.Report) (n int) {
			for _, a := range rep.Asks {
				if a.Kind() == attention.VersionsLost && strings.Contains(string(a), log.String()[:8]) {
					n++
				}
			}
			return n
		}
		loses := func(c *copyOf, left []byte) {
			keys := everyKey(t, c.root)
			if delete(keys, key); left != nil {
				keys[key] = left
			}
			r.set(srv, c, keys)
		}
		loses(r.copies[0], nil)
		r.reach(first)
		if found := r.checks(); len(found) != 1 || says(r.mirror()) != 0 {
			t.Errorf("%s: barn may have it; found %q", first, found)
		}
		r.wantDamage(1)

		loses(r.copies[1], []byte("rot\n"))
		r.reach(first, "barn")
		if found := r.checks(); len(found) != 2 || says(r.mirror()) != 0 {
			t.Errorf("%s: barn has it, rotten; found %q", first, found)
		}
		r.wantDamage(2)

		loses(r.copies[1], nil)
		if found := r.checks(); len(found) != 2 {
			t.Errorf("%s: found %q", first, found)
		}
		for range 2 { // the first is cut short before what it says is kept
			rep := r.mirror()
			if says(rep) != 1 {
				t.Errorf("%s: it is said %d times: %+v", first, says(rep), rep)
			}
			r.wantDamage(2)
			if found := r.checks(); len(found) != 2 {
				t.Errorf("%s: before it is told, a check found %q", first, found)
			}
		}
		for _, c := range r.copies {
			must(t, late.Told(r.led, c.id, func(string) bool { return true }))
		}
		r.wantDamage(0)
		if found := r.checks(); len(found) != 0 || says(r.mirror()) != 0 {
			t.Errorf("%s: it is said again; found %q", first, found)
		}
	}
}
