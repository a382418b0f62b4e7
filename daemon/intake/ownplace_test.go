package intake

import (
	"context"
	"errors"
	"maps"
	"slices"
	"testing"
)

// What goes where it lay, and what is left to the pictures: a folder's own names tell
// where they name a site of the archive and a date, and all of them where the folder is
// seen to have been a working folder.
func TestFilesGoWhereTheyLay(t *testing.T) {
	for name, c := range map[string]struct {
		card  []string // beside what is new
		new   string
		to    string // "" for left to the pictures
		where string // on the plan
	}{
		"a site's folder":                      {nil, "Windmill/Stake 3/2020-06-21/plot.jpg", "Windmill/Stake 3/2020-06-21/plot.jpg", "Windmill / Stake 3"},
		"a note there":                         {nil, "Windmill/Stake 3/2020-06-21/walk.txt", "Windmill/Stake 3/2020-06-21/walk.txt", "Windmill / Stake 3"},
		"no date":                              {nil, "Windmill/Stake 3/plot.jpg", "", ""},
		"a site of no archive":                 {nil, "Windmill/Stake 4/2020-06-21/plot.jpg", "", ""},
		"a camera's folder":                    {nil, "DCIM/100MEDIA/IMG_2020.JPG", "", ""},
		"once a working folder, no date":       {[]string{"Windmill/Stake 3/2019-06-21/plot.jpg"}, "Windmill/Stake 3/map.pdf", "Windmill/Stake 3/map.pdf", "the same place in your folder"},
		"once a working folder, a new site":    {[]string{"Windmill/Stake 3/2019-06-21/plot.jpg"}, "Windmill/Stake 4/2020-06-21/plot.jpg", "Windmill/Stake 4/2020-06-21/plot.jpg", "Windmill / Stake 4"},
		"once a working folder, no site":       {[]string{"Windmill/Stake 3/2019-06-21/plot.jpg"}, "list.txt", "list.txt", "the same place in your folder"},
		"what is known lies elsewhere":         {[]string{"DCIM/1.jpg=photo Windmill/Stake 3/2019-06-21/plot.jpg"}, "list.txt", "", ""},
		"most of what lies there is elsewhere": {[]string{"Windmill/Stake 3/2019-06-21/plot.jpg", "a/1.jpg=photo Windmill/Stake 3/2018-06-21/plot.jpg"}, "list.txt", "", ""},
	} {
		t.Run(name, func(t *testing.T) {
			folder, card := t.TempDir(), t.TempDir()
			put(t, folder, "Windmill/Stake 3/2017-06-21/plot.jpg", "Windmill/Stake 3/2018-06-21/plot.jpg", "Windmill/Stake 3/2019-06-21/plot.jpg")
			put(t, card, append(c.card, c.new+"=new")...)
			p := propose(t, card, archiveAt(t, folder, ""), Options{})
			var to, where string
			for _, v := range p.Visits {
				for _, f := range v.Files {
					if v.By == ByFolders && f.From == c.new {
						to, where = f.To, v.Where()
					}
				}
			}
			if to != c.to || where != c.where {
				t.Errorf("it goes to %q (%s), want %q (%s): %+v", to, where, c.to, c.where, p.Visits)
			}
			before := listed(t, folder)
			if err := p.File(t.Context()); err != nil {
				t.Fatal(err)
			}
			if after := listed(t, folder); c.to != "" && after[c.to] != listed(t, card)[c.new] || c.to == "" && len(after) != len(before) {
				t.Errorf("in the folder is %v", after)
			}
		})
	}
}

// A file that the folder has another of stays where it is, and so does one that came
// under its name meanwhile.
func TestNothingIsPutInAnothersPlace(t *testing.T) {
	folder, card := t.TempDir(), t.TempDir()
	put(t, folder, "Windmill/Stake 3/2019-06-21/plot.jpg", "Windmill/Stake 3/2019-06-21/walk.txt=here")
	put(t, card, "Windmill/Stake 3/2019-06-21/plot.jpg", "Windmill/Stake 3/2019-06-21/walk.txt=there", "Windmill/Stake 3/2019-06-21/late.txt=late")
	p := propose(t, card, archiveAt(t, folder, ""), Options{})
	put(t, folder, "Windmill/Stake 3/2019-06-21/late.txt=another")
	before := listed(t, folder)
	if err := p.File(t.Context()); err != nil {
		t.Fatal(err)
	}
	states := map[string]string{}
	for _, f := range p.Visits[0].Files {
		states[f.From] = f.State
		if f.Reason == "" {
			t.Errorf("%s: no reason is told", f.From)
		}
	}
	if after := listed(t, folder); after["Windmill/Stake 3/2019-06-21/late.txt"] != before["Windmill/Stake 3/2019-06-21/late.txt"] ||
		after["Windmill/Stake 3/2019-06-21/walk.txt"] != before["Windmill/Stake 3/2019-06-21/walk.txt"] || !p.Wants() {
		t.Errorf("%v: %v", states, after)
	}
}

// Bytes that lie twice on a card go once, where one of them lay, and what a camera wrote
// takes no name that such a file has.
func TestFilesThatGoWhereTheyLayKeepTheirNames(t *testing.T) {
	const own = "Windmill/Stake 3/2020-06-21/plot.jpg"
	for name, c := range map[string]struct {
		card []string
		o    Options
		goes map[string]string // from the card, to the folder
		left string
	}{
		"twice in one folder":     {[]string{own + "=new", "Windmill/Stake 3/2020-06-21/second.jpg=new"}, Options{}, map[string]string{own: own}, "Windmill/Stake 3/2020-06-21/second.jpg"},
		"once where nothing says": {[]string{"Backup/plot.jpg=new", own + "=new"}, Options{}, map[string]string{own: own}, "Backup/plot.jpg"},
		"a camera's picture": {[]string{"DCIM/plot.jpg=other", own + "=new"}, Options{Site: "Stake 3", Date: "2020-06-21"},
			map[string]string{own: own, "DCIM/plot.jpg": "Windmill/Stake 3/2020-06-21/plot-2.jpg"}, ""},
	} {
		t.Run(name, func(t *testing.T) {
			folder, card := t.TempDir(), t.TempDir()
			put(t, folder, "Windmill/Stake 3/2019-06-21/plot.jpg")
			put(t, card, c.card...)
			p := propose(t, card, archiveAt(t, folder, ""), c.o)
			goes := map[string]string{}
			for _, v := range p.Visits {
				for _, f := range v.Files {
					if f.Reason != "" || f.To == "" {
						t.Errorf("%s goes nowhere: %s%s", f.From, f.Reason, v.Reason)
					}
					goes[f.From] = f.To
				}
			}
			if !maps.Equal(goes, c.goes) {
				t.Errorf("%v, want %v", goes, c.goes)
			}
			if c.left != "" && (len(p.Left) != 1 || p.Left[0].Path != c.left || p.Left[0].Reason != "the same bytes as "+own) {
				t.Errorf("left are %+v", p.Left)
			}
		})
	}
}

// Its numbers are those of the plan that was shown, and what a person names has to be
// what the folders say.
func TestFilesThatGoWhereTheyLayAreNumbered(t *testing.T) {
	folder, card := t.TempDir(), t.TempDir()
	put(t, folder, "Windmill/Stake 3/2017-06-21/plot.jpg", "Windmill/Stake 5/2017-06-21/plot.jpg")
	put(t, card, "DCIM/2024-05-01 x.jpg=x", "Windmill/Stake 3/2020-06-21/plot.jpg", "Windmill/Stake 5/2021-06-21/plot.jpg")
	a := archiveAt(t, folder, "")
	shown := propose(t, card, a, Options{}).Shown()
	p := propose(t, card, a, Options{Visits: []int{2}, Shown: shown})
	if err := p.File(t.Context()); err != nil {
		t.Fatal(err)
	}
	if n, _ := p.Count(Filed); n != 1 || p.Visits[1].Files[0].State != Filed || p.Visits[1].Site != "Stake 3" {
		t.Fatalf("%+v", p.Visits)
	}
	a = archiveAt(t, folder, "")
	p = propose(t, card, a, Options{Visits: []int{3}, Shown: shown})
	if i := slices.IndexFunc(p.Visits, func(v Visit) bool { return v.Number == 3 }); i < 0 || p.Visits[i].Site != "Stake 5" || p.Visits[i].Files[0].State != Planned {
		t.Errorf("%+v", p.Visits)
	}
	c, err := ReadCard(t.Context(), card, p.o.Now, nil)
	if err != nil {
		t.Fatal(err)
	}
	for name, o := range map[string]Options{
		"another site": {Visits: []int{3}, Shown: shown, Site: "Stake 3"},
		"another date": {Visits: []int{3}, Shown: shown, Date: "2020-01-01"},
		"a view":       {Visits: []int{3}, Shown: shown, View: "landscape"},
		"filed":        {Visits: []int{2}, Shown: shown},
		"none":         {Visits: []int{9}, Shown: shown},
	} {
		if _, err := Propose(context.Background(), c, []*Archive{a}, o); !errors.Is(err, ErrAsked) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := Propose(context.Background(), c, []*Archive{a}, Options{Visits: []int{3}, Shown: shown, Site: "Stake 5", Date: "2021-06-21"}); err != nil {
		t.Error(err)
	}
}
