package mirror

import (
	"fmt"
	"os"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// forked is one way in which two machines come to record on their own: the office
// with one copy at hand, and the barn, which took over, with the others.
type forked struct {
	late    string // kind of the copy that the office had: d is a drive, s a bucket
	others  string // kinds of the others
	site    string // which both go on with
	also    string // the same for the barn, where it writes the name otherwise
	known   bool   // the site was recorded before they parted
	hinders string // what the late copy is like when it is met first
	steps   bool   // the office meets the others first, and learns that the barn took over
}

func (f forked) String() string {
	s := fmt.Sprintf("%s beside %s, %s", f.late, f.others, f.site)
	if f.also != f.site {
		s += " and " + f.also
	}
	if f.known {
		s += ", known"
	}
	if f.hinders != "" {
		s += ", " + f.hinders
	}
	if f.steps {
		s += ", the office comes first"
	}
	return strings.ReplaceAll(s, "/", " ")
}

func allForked() (all []forked) {
	for _, kinds := range []string{"d d", "d s", "d ds", "s d", "s s", "s ds"} {
		late, others, _ := strings.Cut(kinds, " ")
		for _, hinders := range []string{"", "alone", "takes no writes", "takes a few writes"} {
			for _, f := range []forked{
				{site: "East/Tank", also: "East/Tank"},
				{site: "East/Tank", also: "East/Tank", known: true},
				{site: "East/Tank", also: "east/tank"},
			} {
				f.late, f.others, f.hinders = late, others, hinders
				all = append(all, f)
				f.steps = true
				all = append(all, f)
			}
		}
	}
	return all
}

// Wherever the two histories lie, whoever meets the other first, and whatever the copy
// is like that is met: in the end every copy has all of both, and the site that both
// went on with goes on.
func TestEveryMeetingEndsCurrent(t *testing.T) {
	base := simBase(t)
	for i, f := range allForked() {
		if testing.Short() && i%5 > 0 {
			continue
		}
		t.Run(f.String(), func(t *testing.T) {
			dir, err := os.MkdirTemp(base, "linecamp-meeting-")
			must(t, err)
			defer os.RemoveAll(dir)
			synctest.Test(t, func(t *testing.T) { f.live(t, dir) })
		})
	}
}

func (f forked) live(t *testing.T, dir string) {
	s := newMeeting(t, dir, f.others+f.late)
	defer s.close()
	late := s.copies[len(f.others)]
	office, barn := s.machines[0], s.machines[1]
	accept := func(in *In) { in.Accept = &Acceptance{Who: "Ada", Why: "it is meant"} }
	round := func(m *machine) {
		s.now = s.now.Add(time.Hour)
		s.round(m, accept)
		s.lookAll()
	}
	others := func(kind func(*simCopy) string) {
		s.all()
		for _, c := range s.copies[:len(f.others)] {
			c.trouble.kind = kind(c)
		}
	}
	s.takeOver(office)
	s.lookAll()
	if f.known {
		s.photo(office, f.site+"/2018-06-21/plot.jpg", "known to both")
		round(office)
	}
	others(away)
	for i := range 2 { // one version each
		s.photo(office, fmt.Sprintf("%s/2019-06-21/plot.jpg", f.site), fmt.Sprint("of the office ", i))
		s.photo(office, fmt.Sprintf("%s/2019-06-21/office%d.jpg", f.site, i), fmt.Sprint("only of the office ", i))
		round(office)
	}
	s.all()
	late.trouble.kind = away(late)
	s.takeOver(barn)
	for i := range 2 {
		s.photo(barn, fmt.Sprintf("%s/2019-06-21/plot.jpg", f.also), fmt.Sprint("of the barn ", i))
		s.photo(barn, fmt.Sprintf("%s/2019-06-21/barn%d.jpg", f.also, i), fmt.Sprint("only of the barn ", i))
		round(barn)
	}
	s.all()
	switch f.hinders {
	case "alone":
		others(away)
	case "takes no writes":
		late.trouble.kind = map[string]string{"drive": "read-only", "s3": "denied"}[late.kind]
	case "takes a few writes":
		late.trouble = trouble{kind: map[string]string{"drive": "full", "s3": "denied"}[late.kind], at: 4}
	}
	if f.steps {
		round(office)
	}
	round(barn)
	round(barn)
	s.all()
	s.goesOnAlone(barn)
	if len(s.ever) < 8 {
		t.Errorf("only %d files were ever committed", len(s.ever))
	}
}
