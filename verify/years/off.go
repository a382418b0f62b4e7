package years

import (
	"slices"
	"time"

	"linecamp/manifest/card"
	"linecamp/verify/figures"
	"linecamp/verify/gather"
)

// Off is a visit far from its season.
type Off struct {
	Visit         string
	Days          int    // from the season's nearest day
	Opens, Closes string // the season
}

// OutOfSeason finds visits of a site whose items these are, more than so many days from every season of the site, where
// the season they were for has no other visit.
func OutOfSeason(s *gather.SiteItems, items []gather.Item, now time.Time, most int) (all []Off) {
	t := newTimetable(s, items, byYear(s, items), now)
	days := visitDays(items)
	for _, d := range days {
		if d.After(now) || len(s.Card.Expect) == 0 && t.close(d, most) {
			continue
		}
		best, least := window{}, -1
		for y := d.Year() - 1; y <= d.Year()+1; y++ {
			if len(declaredSeasons(t.card, y)) == 0 && (len(days) < figures.HabitDays || !t.seasons[0].known) {
				continue
			}
			for _, w := range t.others(y, d) {
				if n := w.from(d); least < 0 || n < least {
					best, least = w, n
				}
			}
		}
		if least <= most || slices.ContainsFunc(days, func(o time.Time) bool { return best.from(o) <= most }) {
			continue
		}
		opens, closes := best.days()
		all = append(all, Off{d.Format(time.DateOnly), least, opens, closes})
	}
	return all
}

func declaredSeasons(c *card.Card, year int) (all []card.Season) {
	for _, e := range c.Expected(year) {
		all = append(all, e.Seasons...)
	}
	return all
}
