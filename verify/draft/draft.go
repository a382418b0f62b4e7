// Package draft writes a card for each site, from what the site's photos say. Call
// [Cards].
package draft

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/card"
	"linecamp/manifest/geo"
	"linecamp/manifest/tomlline"
	"linecamp/manifest/words"
	"linecamp/verify/figures"
	"linecamp/verify/findings"
	"linecamp/verify/gather"
	"linecamp/verify/years"
)

// Card is a site.toml proposed for a site, from what its photos say.
type Card struct {
	Site, Pasture string
	Text          string // the whole file
}

// Begins is how the text of every draft begins.
const Begins = "# A draft by linecamp of "

// Cards proposes a card for every site that has visits. What it declares is
// what the site's own history tells: a card as drafted changes no year's state
// and no finding. Where a part of it would, that part is put in as comments.
func Cards(in gather.Input) (all []Card) {
	for _, s := range in.Sites {
		if s.Site == "" || s.Began() == "" {
			continue
		}
		all = append(all, Card{s.Site, s.Pasture, text(s, in.Now, in.Units)})
	}
	return all
}

// part is a piece of a card, with a name for the sentence that says why it is
// only a comment.
type part struct{ name, text string }

func text(s gather.SiteItems, now time.Time, units geo.Units) string {
	var b strings.Builder
	fmt.Fprintf(&b, Begins+`%s, from what the photos of the site say.
# Correct it, and take out what is not to be declared. linecamp reads this file
# and never writes over it.

name = %s
`, now.Format(time.DateOnly), quote(s.Site))
	if s.Pasture != "" && s.Card.Pasture == "" {
		fmt.Fprintf(&b, "pasture = %s   # both as the folders are called\n", quote(s.Pasture))
	}
	text := b.String()
	before := judged(s, now, "")
	for _, p := range []part{draftPosition(&s, units), draftFirstYear(&s), draftViews(&s, now), draftExpect(&s, now)} {
		switch {
		case p.text == "":
		case judged(s, now, text+p.text) == before:
			text += p.text
		default:
			text += fmt.Sprintf("\n# As comments, since declaring this would change what is found: %s.\n", p.name)
			for line := range strings.Lines(strings.TrimLeft(p.text, "\n")) {
				text += "# " + line
			}
		}
	}
	return text
}

// judged is all that would be said of a site with a card, as text to compare.
func judged(s gather.SiteItems, now time.Time, text string) string {
	c, faults := card.Decode(card.SiteFile, []byte(text))
	if len(faults) > 0 {
		return fmt.Sprint(faults)
	}
	// A pasture's card and a waypoint go on counting where this one is silent.
	if s.Card = c.Under(s.Card); c.Position != nil {
		s.Position = c.Position
	}
	in := gather.Input{Now: now, Sites: []gather.SiteItems{s}}
	years := years.Judge(in)
	for i := range years { // the days of a season are the card's to say
		years[i].Opens, years[i].Closes = "", ""
	}
	said := fmt.Sprint(years)
	for _, f := range findings.Of(in, years) {
		said += "\n" + f.Kind + " " + f.Visit + " " + strings.Join(f.Paths, ", ")
	}
	return said
}

// draftPosition is the middle of the photos' positions.
func draftPosition(s *gather.SiteItems, units geo.Units) part {
	var fixes []geo.Position
	visits := map[string]bool{}
	for _, it := range s.List() {
		if it.File != nil && it.File.At != nil && it.Kind == manifest.KindPhoto && it.Of == "" {
			fixes = append(fixes, it.File.At.Position)
			visits[it.Visit] = true
		}
	}
	if len(visits) < figures.VisitsToTell {
		return part{} // one visit's photos may have been filed in the wrong place
	}
	middle := geo.Middle(fixes)
	middle = geo.Position{Latitude: round5(middle.Latitude), Longitude: round5(middle.Longitude)}
	near := make([]float64, len(fixes))
	for i, p := range fixes {
		near[i] = geo.Distance(p, middle)
	}
	slices.Sort(near)
	return part{"the position", fmt.Sprintf("latitude  = %-12.5f # the middle of %d photos' positions; nine in ten lie within\nlongitude = %-12.5f # %s of it\n",
		middle.Latitude, len(fixes), middle.Longitude, units.Distance(math.Ceil(near[(len(near)-1)*9/10])))}
}

func round5(v float64) float64 { return math.Round(v*1e5) / 1e5 }

func draftFirstYear(s *gather.SiteItems) part {
	return part{"the first year", "first_year = " + s.Began()[:4] + "   # of the first visit found here\n"}
}

// draftViews declares the views of the present habit.
func draftViews(s *gather.SiteItems, now time.Time) part {
	var b strings.Builder
	for _, v := range years.PresentHabit(s, now).Views {
		fmt.Fprintf(&b, "\n[[view]]\nname  = %s\nsince = %d   # in every visited year since\n", quote(v), years.ViewSince(s, v))
	}
	return part{"the views", b.String()}
}

// draftExpect declares what the next visits are to bring home.
func draftExpect(s *gather.SiteItems, now time.Time) part {
	h := years.PresentHabit(s, now)
	if h.Every == 0 {
		return part{}
	}
	var b strings.Builder
	fmt.Fprintf(&b, "\n[[expect]]\nsince = %d\nevery = %d   # as in the %s since then\n", h.Since, h.Every, words.Count(int64(h.Years), "visited year"))
	if len(h.Seasons) > 0 {
		fmt.Fprintf(&b, "seasons = [%s]\n", strings.Join(h.Seasons, ", "))
	}
	if len(h.Views) > 0 {
		quoted := make([]string, len(h.Views))
		for i, v := range h.Views {
			quoted[i] = quote(v)
		}
		fmt.Fprintf(&b, "views = [%s]\n", strings.Join(quoted, ", "))
	}
	fmt.Fprintf(&b, "note  = %v\n", h.Note)
	return part{"what a visit is to bring home", b.String()}
}

// quote writes a name as TOML text.
func quote(s string) string { return tomlline.Quote(strings.ToValidUTF8(s, "\uFFFD")) }
