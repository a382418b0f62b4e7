package mirror

import (
	"context"
	"fmt"
	"iter"
	"maps"
	"strings"
	"testing"

	"linecamp/manifest/store"
	"linecamp/manifest/store/s3test"
)

// In a bucket that was away when another machine took over, the machine before began a
// version of a site and never finished it. The version that has its number by the seal was made elsewhere
// and does not name what lies there, so that the bucket never takes it: nothing under a
// committed version is left out of its manifest. The site goes on in a further object.
func TestWhatAnotherMachineBeganInABucket(t *testing.T) {
	for _, others := range [][]string{{"shelf"}, {"bucket-b"}, {"shelf", "bucket-b"}} {
		for _, known := range []bool{false, true} {
			for _, oldFirst := range []bool{false, true} {
				t.Run(fmt.Sprintf("%s, known %v, the one before comes first %v", strings.Join(others, " and "), known, oldFirst), func(t *testing.T) {
					r := newRanch(t)
					r.add(s3test.Fake(t), append([]string{"bucket-a"}, others...)...)
					a := r.copies[0]
					r.visit("South/Draw", "2019-06-21")
					if known {
						r.visit("North/Windmill", "2019-06-21")
					}
					r.mirror()
					r.reach(others...)
					o := r.takesOver(laptopID)
					o.visit("North/Windmill", "2021-06-21")
					if rep := o.mirror(); rep.Made == 0 {
						t.Fatalf("after taking over nothing is recorded: %+v", rep)
					}
					ever := everCommitted(t, o.copies)
					r.reach("bucket-a")
					whole := a.root
					a.root = &failing{Root: whole, after: 2}
					r.visit("North/Windmill", "2020-06-21")
					if rep := r.mirror(); rep.Copies[0].State == "current" {
						t.Fatalf("nothing broke off: %+v", rep)
					}
					a.root = whole
					n, begun := 1, 0
					if known {
						n = 2
					}
					at := fmt.Sprintf("north--windmill/v%d/", n)
					for _, err := range whole.List(t.Context(), at+"content") {
						must(t, err)
						begun++
					}
					if begun == 0 {
						t.Fatal("nothing was begun there")
					}
					o.reach(append([]string{"bucket-a"}, others...)...)
					o.now = r.now
					if oldFirst {
						if rep := r.mirror(); rep.Copies[0].State != "behind" || rep.Made > 0 {
							t.Errorf("the machine that does not record: %+v", rep)
						}
						o.now = r.now
					}
					o.visit("South/Draw", "2022-06-21")
					if rep := o.mirror(); rep.Made == 0 {
						t.Errorf("nothing is recorded beside it: %+v", rep)
					}
					if _, err := whole.Stat(context.Background(), at+"inventory.json.sha256"); err == nil {
						t.Errorf("%s was committed around what lies there", at)
					}
					o.settles()
					o.wantMet(o.settles(), ever)
					o.loseState()
					o.wantMet(o.settles(), ever)
					if got := head(t, whole, "north--windmill-2"); got.Head() == 0 {
						t.Error("the site does not go on")
					}
					for _, c := range o.copies {
						path := ""
						if c.kind == "drive" {
							path = c.path
						}
						standard(t, c.name, path, c.root, keysOf(t, c))
					}
				})
			}
		}
	}
}

// keysOf are all files of a copy.
func keysOf(t *testing.T, c *copyOf) iter.Seq2[string, []byte] {
	all := map[string][]byte{}
	for info, err := range c.root.List(t.Context(), "") {
		must(t, err)
		b, _, err := store.ReadSmall(t.Context(), c.root, info.Key, 1<<20)
		must(t, err)
		all[info.Key] = b
	}
	return maps.All(all)
}
