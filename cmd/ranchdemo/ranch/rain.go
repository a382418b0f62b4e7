package ranch

import "math"

// Rain is the invented record of the gauge at the tank: inches of rain and
// snow water from 1 October to the August visit, by year.
type Rain struct{ inches map[int]float64 }

// The record starts before the first visit, because grass remembers last year.
const rainFrom = FirstYear - 1

// rainfall invents the record: years around twelve inches, wet and dry ones in
// short runs, as the dry plains have them.
func rainfall(seed uint64, last int) Rain {
	d := Random(seed, "rain")
	r := Rain{inches: map[int]float64{}}
	run := 0.0
	for year := rainFrom; year <= max(last, FirstYear); year++ {
		run = 0.35*run + d.NormFloat64()*3.3
		in := min(max(12.3+run, 6.1), 19.8)
		r.inches[year] = math.Round(in*10) / 10
	}
	return r
}

// Inches is what the gauge read for the year, 0 where there is no reading.
func (r Rain) Inches(year int) float64 { return r.inches[year] }

// Usual is the mean of the first ten years, the figure people compare with.
func (r Rain) Usual() float64 {
	sum, n := 0.0, 0
	for year := rainFrom; year < rainFrom+10; year++ {
		if in, ok := r.inches[year]; ok {
			sum, n = sum+in, n+1
		}
	}
	return sum / float64(max(n, 1))
}

// Grass is what the rain made of a site: the share of ground under grass, and
// how green it stands in the middle of August. Three quarters this year's rain, one
// quarter last year's, and the site's own soil.
func (r Rain) Grass(s *Site, year int) (cover, green float64) {
	in := 0.75*r.inches[year] + 0.25*r.inches[year-1]
	cover = s.soil * (0.034*in + 0.05)
	cover = min(max(cover, 0.16), 0.72)
	green = min(max((r.inches[year]-7.5)/9, 0.04), 1)
	return cover, green
}

// Weather is the sky over one morning's pictures.
type Weather int

const (
	Clear Weather = iota
	Cumulus
	HighThin
	Overcast
	Storms
	Dust
)

// weather is drawn once per pasture and year: both sites of a pasture are seen
// on the same morning.
func weather(seed uint64, pasture string, year int) Weather {
	d := Random(seed, "weather", pasture, year).Float64()
	switch {
	case d < 0.24:
		return Clear
	case d < 0.58:
		return Cumulus
	case d < 0.70:
		return HighThin
	case d < 0.78:
		return Overcast
	case d < 0.92:
		return Storms
	default:
		return Dust
	}
}
