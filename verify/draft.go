package verify

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/card"
	"linecamp/manifest/geo"
	"linecamp/manifest/tomlline"
)

// Draft is a site.toml proposed for a site, from what its photos say.
type Draft struct {
	Site, Pasture string
	Text          string // the whole file
}

// DraftBegins is how the text of every draft begins.
const DraftBegins = "# A draft by linecamp of "

// Drafts proposes a card for every site that has visits. What it declares is
// what the site's own history tells: a card as drafted changes no year's state
// and no finding. Where a part of it would, that part is put in as comments.
func Drafts(in YearsInput) (all []Draft) {
	for _, s := range in.Sites {
		if s.Site == "" || s.began() == "" {
			continue
		}
		all = append(all, Draft{s.Site, s.Pasture, draft(s, in.Now, in.Units)})
	}
	return all
}

// part is a piece of a card, with a name for the sentence that says why it is
// only a comment.
type part struct{ name, text string }

func draft(s SiteItems, now time.Time, units geo.Units) string {
	var b strings.Builder
	fmt.Fprintf(&b, DraftBegins+`%s, from what the photos of the site say.
# Correct it, and take out what is not to be declared. linecamp reads this file
# and never writes over it.

name = %s
`, today(now).Format(time.DateOnly), quote(s.Site))
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
func judged(s SiteItems, now time.Time, text string) string {
	c, faults := card.Decode(card.SiteFile, []byte(text))
	if len(faults) > 0 {
		return fmt.Sprint(faults)
	}
	// A pasture's card and a waypoint go on counting where this one is silent.
	if s.Card = c.Under(s.Card); c.Position != nil {
		s.Position = c.Position
	}
	in := YearsInput{Now: now, Sites: []SiteItems{s}}
	years := Years(in)
	for i := range years { // the days of a season are the card's to say
		years[i].Opens, years[i].Closes = "", ""
	}
	said := fmt.Sprint(years)
	for _, f := range Findings(in, years) {
		said += "\n" + f.Kind + " " + f.Visit + " " + strings.Join(f.Paths, ", ")
	}
	return said
}

// draftPosition is the middle of the photos' positions.
func draftPosition(s *SiteItems, units geo.Units) part {
	var fixes []geo.Position
	visits := map[string]bool{}
	for _, it := range s.Items {
		if it.File != nil && it.File.At != nil && it.Kind == manifest.KindPhoto && it.Of == "" {
			fixes = append(fixes, it.File.At.Position)
			visits[it.Visit] = true
		}
	}
	if len(visits) < visitsToTell {
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

func draftFirstYear(s *SiteItems) part {
	return part{"the first year", "first_year = " + s.began()[:4] + "   # of the first visit found here\n"}
}

// draftViews declares the views of the present habit.
func draftViews(s *SiteItems, now time.Time) part {
	var b strings.Builder
	years := byYear(*s)
	for _, v := range presentHabit(s, now).views {
		since := 0
		for i := len(years) - 1; i >= 0 && (since == 0 || years[i].has[v]); i-- {
			if years[i].has[v] {
				since = years[i].year
			}
		}
		fmt.Fprintf(&b, "\n[[view]]\nname  = %s\nsince = %d   # in every visited year since\n", quote(v), since)
	}
	return part{"the views", b.String()}
}

// draftExpect declares what the next visits are to bring home.
func draftExpect(s *SiteItems, now time.Time) part {
	h := presentHabit(s, now)
	if h.every == 0 {
		return part{}
	}
	var b strings.Builder
	fmt.Fprintf(&b, "\n[[expect]]\nsince = %d\nevery = %d   # as in the %s since then\n", h.since, h.every, Count(int64(h.years), "visited year"))
	if len(h.seasons) > 0 {
		fmt.Fprintf(&b, "seasons = [%s]\n", strings.Join(h.seasons, ", "))
	}
	if len(h.views) > 0 {
		quoted := make([]string, len(h.views))
		for i, v := range h.views {
			quoted[i] = quote(v)
		}
		fmt.Fprintf(&b, "views = [%s]\n", strings.Join(quoted, ", "))
	}
	fmt.Fprintf(&b, "note  = %v\n", h.note)
	return part{"what a visit is to bring home", b.String()}
}

// habit is what the newest visits of a site have in common.
type habit struct {
	since, years, every int // every is 0 where the visits tell no cadence
	seasons             []string
	views               []string
	note                bool
}

// presentHabit goes back from the newest visited year for as long as nothing of
// what it has is lacking and no visit was skipped.
func presentHabit(s *SiteItems, now time.Time) (h habit) {
	years := byYear(*s)
	years = slices.DeleteFunc(years, func(v visitYear) bool { return v.year > now.Year() })
	if len(years) < habitRun {
		return habit{}
	}
	last := years[len(years)-1]
	gaps := gapsOf(numbers(years))
	h.every = median(gaps[max(0, len(gaps)-sideGaps):])
	for _, v := range slices.Sorted(maps.Keys(last.has)) {
		if v != lackNote && v != lackAny {
			h.views = append(h.views, v)
		}
	}
	h.note = last.has[lackNote]
	from := len(years) - 1
	for from > 0 && gaps[from-1] == h.every && years[from-1].has[lackNote] == h.note &&
		!slices.ContainsFunc(h.views, func(v string) bool { return !years[from-1].has[v] }) {
		from--
	}
	h.since, h.years = years[from].year, len(years)-from
	if h.years < habitRun {
		return habit{}
	}
	t := newTimetable(s, years, now)
	for i, season := range t.seasons {
		if season.known && (len(t.seasons) == 1 || t.live(i, now.Year()+1)) {
			w := season.window(2001) // of no leap year
			h.seasons = append(h.seasons, fmt.Sprintf("%q", w.opens.Format("01-02")+" to "+w.closes.Format("01-02")))
		}
	}
	return h
}

// quote writes a name as TOML text.
func quote(s string) string { return tomlline.Quote(strings.ToValidUTF8(s, "\uFFFD")) }
