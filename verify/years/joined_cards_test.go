package years

import (
	"fmt"
	"strings"
	"testing"

	"linecamp/manifest/card"
	"linecamp/verify/gather"
)

// What the earlier one's card declares holds until the later one begins.
func TestJoinedCards(t *testing.T) {
	view := func(name string, since, until int) card.View {
		return card.View{Name: name, Since: since, Until: until}
	}
	former := card.Card{FirstYear: 2004, Closed: []card.Closure{{From: "2006-01-01"}},
		Expect: []card.Expect{{Since: 2000, Every: 2}, {Since: 2015, Every: 5}},
		Views:  []card.View{view("plot", 0, 0), view("fence", 2006, 2008), view("gate", 2013, 0)}}
	present := card.Card{FirstYear: 2013, Closed: []card.Closure{{From: "2020-01-01"}},
		Expect: []card.Expect{{Since: 0, Every: 1}, {Since: 2010, Every: 3, Views: []string{"plot", "pond"}}, {Since: 2020, Every: 4}},
		Views:  []card.View{view("plot", 0, 0), view("creek", 0, 0), view("notch", 2002, 2012)}}
	bare := func(c card.Card) card.Card { return card.Card{Views: c.Views} }
	for _, tt := range []struct {
		why             string
		former, present card.Card
		began           string
		first           int
		want            string // of each year: every how many years, and the views
	}{
		{"both say all", former, present, "2013-06-21", 2004, "2005 2 plot, 2007 2 fence plot, 2012 2 plot, 2013 3 plot pond, 2019 3 plot pond, 2020 4 creek plot"},
		{"the former says nothing", card.Card{}, present, "2013-06-21", 0, "2005 1 creek notch plot, 2012 3 plot pond, 2013 3 plot pond, 2020 4 creek plot"},
		{"the present says nothing", former, card.Card{}, "2013-06-21", 2004, "2005 2 plot, 2007 2 fence plot, 2013 2 gate plot, 2015 5 gate plot"},
		{"the former has views alone", bare(former), present, "2013-06-21", 0, "2007 1 fence plot, 2012 3 plot, 2013 3 plot pond, 2020 4 creek plot"},
		{"the present has views alone", former, bare(present), "2013-06-21", 2004, "2007 2 fence plot, 2013 2 creek plot, 2015 5 creek plot"},
		{"the present one is not visited yet", former, present, "", 2004, "2005 1 creek notch plot, 2020 4 creek plot"},
		{"a first year of the whole stake", card.Card{}, card.Card{FirstYear: 2004}, "2013-06-21", 2004, ""},
		{"a first year of the present one", card.Card{}, card.Card{FirstYear: 2013}, "2013-06-21", 0, ""},
		{"a first year of the former", card.Card{FirstYear: 2004}, card.Card{}, "2013-06-21", 2004, ""},
	} {
		c := gather.Continued(tt.former, tt.present, tt.began)
		j := &judge{SiteItems: &gather.SiteItems{Card: c}}
		var got []string
		for part := range strings.SplitSeq(tt.want, ", ") {
			var year int
			if n, _ := fmt.Sscan(part, &year); n == 0 {
				continue
			}
			every := 0
			for _, e := range c.Expected(year) {
				every = e.Every
			}
			got = append(got, fmt.Sprint(year, " ", every, " ", strings.Join(j.declaredFor(year, nil).views, " ")))
		}
		if c.FirstYear != tt.first || strings.Join(got, ", ") != tt.want {
			t.Errorf("%s: since %d (%d), each year\n  %s\nwant\n  %s", tt.why, c.FirstYear, tt.first, strings.Join(got, ", "), tt.want)
		}
		if len(c.Closed) != len(tt.former.Closed)+len(tt.present.Closed) {
			t.Errorf("%s: closed %+v", tt.why, c.Closed)
		}
	}
	if fmt.Sprint(former.Views[0], present.Expect[1].Views) != "{plot <nil>  0 0} [plot pond]" {
		t.Error("a card that was given was changed", former.Views, present.Expect)
	}
}
